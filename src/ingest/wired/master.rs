//! One line of Modbus slaves as a source.

use std::time::{Duration, Instant};

use tokio::io::AsyncWriteExt;
use tokio::net::TcpStream;
use tokio_serial::SerialStream;

use crate::modbus::rtu::Timing;
use crate::modbus::{Link, Master, Output, RtuLink, RtuSetup, TcpLink, TcpSetup};
use crate::settings::{ModbusSettings, PortSettings};
use crate::units::Span;

use super::deliver::Deliver;
use super::desk::Desk;
use super::keep::{Attend, Left};
use super::port::{self, OpenError};
use super::socket::{self, ConnectError};
use super::state::State;
use super::wire::{AT_ONCE, Lost, Wire, read};

/// A request of a few bytes leaves at once, or never.
const WRITING: Duration = Duration::from_secs(2);

/// The two kinds of line that slaves are on.
pub(super) trait Line: Send {
    type Wire: Wire;
    type Link: Link + Send;
    type Refusal: std::fmt::Display + Send;

    fn open(&self) -> impl Future<Output = Result<Self::Wire, Self::Refusal>> + Send;

    /// The state of a line opened at `now`.
    fn link(&self, settings: &ModbusSettings, now: Duration) -> Self::Link;
}

/// A serial line.
#[derive(Debug)]
pub(super) struct SerialLine(pub(super) PortSettings);

impl Line for SerialLine {
    type Wire = SerialStream;
    type Link = RtuLink;
    type Refusal = OpenError;

    async fn open(&self) -> Result<SerialStream, OpenError> {
        port::open(&self.0)
    }

    fn link(&self, settings: &ModbusSettings, now: Duration) -> RtuLink {
        let setup = RtuSetup {
            timing: Timing::of(self.0.baud),
            timeout: duration(settings.timeout),
            latency: duration(settings.latency),
            pause: duration(settings.pause),
        };
        RtuLink::new(setup, now)
    }
}

/// A TCP connection.
#[derive(Debug)]
pub(super) struct TcpLine {
    pub(super) host: String,
    pub(super) port: u16,
}

impl Line for TcpLine {
    type Wire = TcpStream;
    type Link = TcpLink;
    type Refusal = ConnectError;

    async fn open(&self) -> Result<TcpStream, ConnectError> {
        socket::connect(&self.host, self.port).await
    }

    fn link(&self, settings: &ModbusSettings, now: Duration) -> TcpLink {
        let setup = TcpSetup {
            timeout: duration(settings.timeout),
            pause: duration(settings.pause),
        };
        TcpLink::new(setup, now)
    }
}

fn duration(span: Span) -> Duration {
    Duration::from_millis(span.millis().unsigned_abs())
}

/// A line of slaves and the channels that its registers serve.
pub(super) struct MasterSource<L: Line> {
    line: L,
    settings: ModbusSettings,
    desk: Desk,
    state: State,
    /// Lives on while the line comes and goes: it knows how each slave does.
    master: Option<Master<L::Link>>,
    /// Times of the master are counted from here.
    start: Instant,
}

impl<L: Line> MasterSource<L> {
    pub(super) fn new(line: L, settings: ModbusSettings, desk: Desk, state: State) -> Self {
        MasterSource {
            line,
            settings,
            desk,
            state,
            master: None,
            start: Instant::now(),
        }
    }

    /// The master, at a line opened just now.
    fn renewed(&mut self) -> Master<L::Link> {
        let now = self.start.elapsed();
        let link = self.line.link(&self.settings, now);
        match self.master.take() {
            Some(mut master) => {
                master.renew(link, now);
                master
            }
            None => {
                let poll = duration(self.settings.poll);
                Master::new(link, self.desk.reads().to_vec(), poll, now)
            }
        }
    }

    async fn serve(&mut self, wire: &mut L::Wire, master: &mut Master<L::Link>) -> Left {
        match self.exchange(wire, master).await {
            Ok(never) => match never {},
            Err(left) => left,
        }
    }

    /// Does as the master says.
    async fn exchange(
        &mut self,
        wire: &mut L::Wire,
        master: &mut Master<L::Link>,
    ) -> Result<std::convert::Infallible, Left> {
        let mut buffer = [0; AT_ONCE];
        loop {
            match master.poll(self.start.elapsed()) {
                Output::Discard => {
                    let bytes = wire.discard().map_err(Lost::from)?;
                    master.handle_discarded(bytes);
                }
                Output::Send(frame) => write(wire, &frame).await?,
                Output::Wait(until) => {
                    self.state.report().handle_requests(master.counts());
                    let until = self.start + until;
                    if let Some(len) = self.wait(wire, &mut buffer, until).await? {
                        self.state.heard();
                        master.handle_input(&buffer[..len], self.start.elapsed());
                    }
                }
                Output::Close => return Err(Lost::Useless.into()),
                Output::Registers { read, registers } => self.desk.registers(read, &registers),
                Output::Refused { read, exception } => self.desk.refused(read, exception),
                Output::Failed { read, failure } => self.desk.failed(read, failure),
                Output::Slave { slave, change } => self.desk.slave(slave, change),
            }
        }
    }

    /// Bytes, if any come before the deadline; meanwhile hands on what was
    /// gathered. What is there is taken before the time is looked at.
    async fn wait(
        &mut self,
        wire: &mut L::Wire,
        buffer: &mut [u8],
        deadline: Instant,
    ) -> Result<Option<usize>, Left> {
        let deliver = self.desk.deliver();
        loop {
            tokio::select! {
                biased;
                handed = deliver.hand_on(), if deliver.holds_any() => handed?,
                len = read(wire, buffer) => return Ok(Some(len?)),
                () = tokio::time::sleep_until(deadline.into()) => return Ok(None),
            }
        }
    }
}

pub(super) async fn write(wire: &mut impl Wire, frame: &[u8]) -> Result<(), Lost> {
    match tokio::time::timeout(WRITING, wire.write_all(frame)).await {
        Ok(written) => Ok(written?),
        Err(_) => Err(Lost::Stuck),
    }
}

impl<L: Line> Attend for MasterSource<L> {
    type Wire = L::Wire;
    type Refusal = L::Refusal;

    async fn open(&mut self) -> Result<L::Wire, L::Refusal> {
        self.line.open().await
    }

    async fn attend(&mut self, mut wire: L::Wire) -> Left {
        let mut master = self.renewed();
        let left = self.serve(&mut wire, &mut master).await;
        self.state.report().handle_requests(master.counts());
        self.master = Some(master);
        left
    }

    fn deliver(&mut self) -> &mut Deliver {
        self.desk.deliver()
    }

    fn state(&mut self) -> &mut State {
        &mut self.state
    }
}
