//! Sources with a wire of their own: serial ports with lines of text, serial
//! lines of Modbus slaves, Modbus over TCP.
//!
//! One task a wire. It opens the wire, reads until the wire is lost, closes it,
//! pauses and opens it anew, by its path each time, for ever.
//!
//! Promises: a wire that is not there, now or from the start, delays its own
//! readings and nothing else; a lost one is closed before it is opened again, as
//! the system would otherwise give the device another name; nothing is waited
//! for without bound; each change of state is logged once; what is dropped is
//! counted ([`WireCounts`]). Readings stand at their arrival: a wire has no
//! memory, so that there is nothing to acknowledge. Refuses: to write anything
//! but requests to read.

mod deliver;
mod desk;
mod keep;
mod lines;
mod master;
mod pause;
mod port;
mod socket;
mod state;
mod wire;

pub use state::{Frames, WireCounts};

use std::sync::Arc;

use tokio_util::sync::CancellationToken;

use super::intake::Intake;
use crate::line::LineCounts;
use crate::modbus::Counts;
use crate::settings::{ModbusWay, PortSettings, Settings};
use crate::units::Timestamp;

use deliver::Deliver;
use desk::Desk;
use keep::keep_open;
use lines::LineSource;
use master::{MasterSource, SerialLine, TcpLine};

/// One wire as a source.
pub struct WireSource {
    kind: Kind,
    counts: Arc<WireCounts>,
}

enum Kind {
    Rtu(MasterSource<SerialLine>),
    Tcp(MasterSource<TcpLine>),
    Lines(LineSource),
}

impl WireSource {
    /// Every wire of the settings; readings go to `intake`, with their arrival
    /// by `clock`.
    pub fn all(
        settings: &Settings,
        intake: &Intake,
        clock: &Arc<dyn Fn() -> Timestamp + Send + Sync>,
    ) -> Vec<Self> {
        let deliver = || Deliver::new(intake.clone(), Arc::clone(clock));
        let masters = 0..settings.modbus.len();
        let masters = masters.map(|place| WireSource::master(settings, place, deliver()));
        let lines = 0..settings.serial.len();
        let lines = lines.map(|place| WireSource::lines(settings, place, deliver()));
        masters.chain(lines).collect()
    }

    fn master(settings: &Settings, place: usize, deliver: Deliver) -> Self {
        let line = settings.modbus[place].clone();
        let name = format!("modbus.{}", line.name);
        let counts = WireCounts::new(name.into(), Frames::Modbus(Counts::default()));
        let desk = Desk::new(settings, place, deliver, Arc::clone(&counts));
        let kind = match line.way.clone() {
            ModbusWay::Serial(port) => {
                advise_on_name(&counts, &port);
                let wire = SerialLine(port);
                Kind::Rtu(MasterSource::new(wire, line, desk, Arc::clone(&counts)))
            }
            ModbusWay::Tcp { host, port } => {
                let wire = TcpLine { host, port };
                Kind::Tcp(MasterSource::new(wire, line, desk, Arc::clone(&counts)))
            }
        };
        WireSource { kind, counts }
    }

    fn lines(settings: &Settings, place: usize, deliver: Deliver) -> Self {
        let port = &settings.serial[place];
        let name = format!("serial.{}", port.name);
        let counts = WireCounts::new(name.into(), Frames::Lines(LineCounts::default()));
        advise_on_name(&counts, &port.port);
        let source = LineSource::new(settings, place, deliver, Arc::clone(&counts));
        WireSource {
            kind: Kind::Lines(source),
            counts,
        }
    }

    /// What it counts.
    pub fn counts(&self) -> &Arc<WireCounts> {
        &self.counts
    }

    /// Reads the wire until `stop`, or until nobody takes readings any more.
    pub async fn run(self, stop: CancellationToken) {
        match self.kind {
            Kind::Rtu(source) => keep_open(source, stop).await,
            Kind::Tcp(source) => keep_open(source, stop).await,
            Kind::Lines(source) => keep_open(source, stop).await,
        }
    }
}

/// Warns of a device that may have another name after the next start.
fn advise_on_name(counts: &WireCounts, port: &PortSettings) {
    if port::is_fleeting(&port.device) {
        tracing::warn!(
            wire = %counts.name, device = %port.device.display(),
            "the name depends on what was plugged in first, and may be another instrument's \
             tomorrow; take the one under /dev/serial/by-id/"
        );
    }
}
