//! Sources with a wire of their own: serial ports with lines of text, serial
//! lines of Modbus slaves, Modbus over TCP.
//!
//! One task a wire. It opens the wire, reads until the wire is lost, closes it,
//! pauses and opens it anew, by its path each time, for ever.
//!
//! Promises: a wire that is not there, now or from the start, delays its own
//! readings and nothing else; a lost one is closed before it is opened again, as
//! the system would otherwise give the device another name; nothing is waited
//! for without bound; each change of state is told once, in the log and in the
//! wire's [`SourceReport`]; what is dropped is counted there. Readings stand at
//! their arrival: a wire has no memory, so that there is nothing to acknowledge,
//! and it is read on while the store fails. Refuses: to write anything but
//! requests to read.

mod asker;
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

pub use asker::{AskError, Asker};
pub use port::{OpenError, open as open_port};
pub use socket::ConnectError;
pub use wire::Lost;

use std::collections::BTreeSet;
use std::sync::Arc;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use super::intake::Intake;
use super::report::{MasterStatus, Said, SourceName, SourceReport, WireStatus};
use crate::line::LineCounts;
use crate::settings::{ModbusWay, Origin, PortSettings, Settings};
use crate::units::Timestamp;

use deliver::Deliver;
use desk::Desk;
use keep::keep_open;
use lines::LineSource;
use master::{MasterSource, SerialLine, TcpLine};
use state::State;

/// One wire as a source.
pub struct WireSource {
    kind: Kind,
    report: Arc<SourceReport>,
}

enum Kind {
    Rtu(MasterSource<SerialLine>),
    Tcp(MasterSource<TcpLine>),
    Lines(LineSource),
}

/// What every wire is made with.
struct Around<'a> {
    settings: &'a Settings,
    intake: &'a Intake,
    clock: &'a Arc<dyn Fn() -> Timestamp + Send + Sync>,
    changes: &'a Arc<Notify>,
}

impl WireSource {
    /// Every wire of the settings; readings go to `intake`, with their arrival
    /// by `clock`, and `changes` is woken when a report has something new.
    pub fn all(
        settings: &Settings,
        intake: &Intake,
        clock: &Arc<dyn Fn() -> Timestamp + Send + Sync>,
        changes: &Arc<Notify>,
    ) -> Vec<Self> {
        let around = Around {
            settings,
            intake,
            clock,
            changes,
        };
        let masters = (0..settings.modbus.len()).map(|place| around.master(place));
        let lines = (0..settings.serial.len()).map(|place| around.lines(place));
        masters.chain(lines).collect()
    }

    /// What it says of itself.
    pub fn report(&self) -> &Arc<SourceReport> {
        &self.report
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

impl Around<'_> {
    fn master(&self, place: usize) -> WireSource {
        let line = self.settings.modbus[place].clone();
        let address = match &line.way {
            ModbusWay::Serial(port) => port.device.display().to_string(),
            ModbusWay::Tcp { host, port } => format!("{host}:{port}"),
        };
        let source = SourceName {
            kind: "modbus",
            name: Arc::clone(&line.name),
            address,
        };
        let slaves = self.slaves(place);
        let master = MasterStatus::new(slaves, (self.clock)());
        let report = self.report(source, Said::Modbus(master));
        let deliver = self.deliver(&report);
        let desk = Desk::new(self.settings, place, deliver, Arc::clone(&report));
        let state = self.state(&report);
        let kind = match line.way.clone() {
            ModbusWay::Serial(port) => {
                advise_on_name(&report, &port);
                Kind::Rtu(MasterSource::new(SerialLine(port), line, desk, state))
            }
            ModbusWay::Tcp { host, port } => {
                let wire = TcpLine { host, port };
                Kind::Tcp(MasterSource::new(wire, line, desk, state))
            }
        };
        WireSource { kind, report }
    }

    fn lines(&self, place: usize) -> WireSource {
        let port = &self.settings.serial[place];
        let source = SourceName {
            kind: "serial",
            name: Arc::clone(&port.name),
            address: port.port.device.display().to_string(),
        };
        let report = self.report(source, Said::Lines(LineCounts::default()));
        advise_on_name(&report, &port.port);
        let (deliver, state) = (self.deliver(&report), self.state(&report));
        let source = LineSource::new(self.settings, place, deliver, state);
        WireSource {
            kind: Kind::Lines(source),
            report,
        }
    }

    /// The slaves of a line that channels want something of.
    fn slaves(&self, line: usize) -> BTreeSet<u8> {
        let routes = self.settings.routes.iter();
        let slaves = routes.filter_map(|route| match route.origin {
            Origin::Register { source, slave, .. } if source == line => Some(slave),
            _ => None,
        });
        slaves.collect()
    }

    fn report(&self, source: SourceName, said: Said) -> Arc<SourceReport> {
        let report = SourceReport::new(
            source,
            Arc::default(),
            self.settings.admission,
            Arc::clone(self.changes),
            (self.clock)(),
        );
        Arc::new(report.with_wire(WireStatus::new(said)))
    }

    fn deliver(&self, report: &Arc<SourceReport>) -> Deliver {
        let clock = Arc::clone(self.clock);
        Deliver::new(self.intake.clone(), clock, Arc::clone(report))
    }

    fn state(&self, report: &Arc<SourceReport>) -> State {
        State::new(Arc::clone(report), Arc::clone(self.clock))
    }
}

/// Warns of a device that may have another name after the next start.
fn advise_on_name(report: &SourceReport, port: &PortSettings) {
    if port::is_fleeting(&port.device) {
        tracing::warn!(
            wire = %report.source, device = %port.device.display(),
            "the name depends on what was plugged in first, and may be another instrument's \
             tomorrow; take the one under /dev/serial/by-id/"
        );
    }
}
