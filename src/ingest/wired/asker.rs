//! Single requests to the slaves of a line, without channels and rounds: for a
//! first look at what is there.

use std::time::{Duration, Instant};

use crate::modbus::{Answer, Counts, Failure, Link, Request};
use crate::settings::{ModbusSettings, ModbusWay};

use super::master::{Line, SerialLine, TcpLine, write};
use super::port::OpenError;
use super::socket::ConnectError;
use super::wire::{AT_ONCE, Lost, Wire, read};

/// A line that noise keeps from a request for so long is told as a failure.
const BUSY_AFTER: Duration = Duration::from_secs(10);

/// Why nothing can be asked.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// The port does not open.
    #[error(transparent)]
    Port(#[from] OpenError),
    /// There is no connection.
    #[error(transparent)]
    Connect(#[from] ConnectError),
}

/// An open line of slaves that is asked one thing at a time.
pub struct Asker(Kind);

enum Kind {
    Serial(Open<SerialLine>),
    Tcp(Open<TcpLine>),
}

impl Asker {
    /// Opens the line.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub async fn open(settings: &ModbusSettings) -> Result<Self, AskError> {
        Ok(Asker(match settings.way.clone() {
            ModbusWay::Serial(port) => {
                Kind::Serial(Open::new(SerialLine(port), settings.clone()).await?)
            }
            ModbusWay::Tcp { host, port } => {
                Kind::Tcp(Open::new(TcpLine { host, port }, settings.clone()).await?)
            }
        }))
    }

    /// Sends one request and waits for what becomes of it. A line that was lost
    /// meanwhile is opened anew with the next one.
    ///
    /// # Errors
    /// When the line was lost and cannot be opened again.
    pub async fn ask(
        &mut self,
        slave: u8,
        request: Request,
    ) -> Result<Result<Answer, Failure>, AskError> {
        match &mut self.0 {
            Kind::Serial(open) => open.ask(slave, request).await,
            Kind::Tcp(open) => open.ask(slave, request).await,
        }
    }
}

/// A line and its state.
struct Open<L: Line> {
    line: L,
    settings: ModbusSettings,
    /// None once it was lost.
    wire: Option<L::Wire>,
    link: L::Link,
    counts: Counts,
    /// Times of the link are counted from here.
    start: Instant,
}

impl<L: Line> Open<L>
where
    AskError: From<L::Refusal>,
{
    async fn new(line: L, settings: ModbusSettings) -> Result<Self, AskError> {
        let wire = Some(line.open().await?);
        Ok(Open {
            link: line.link(&settings, Duration::ZERO),
            line,
            settings,
            wire,
            counts: Counts::default(),
            start: Instant::now(),
        })
    }

    async fn ask(
        &mut self,
        slave: u8,
        request: Request,
    ) -> Result<Result<Answer, Failure>, AskError> {
        let mut wire = match self.wire.take() {
            Some(wire) if !self.link.is_broken() => wire,
            lost => {
                // Closed before it is opened again.
                drop(lost);
                let wire = self.line.open().await?;
                self.link = self.line.link(&self.settings, self.start.elapsed());
                wire
            }
        };
        let Ok(outcome) = self.exchange(&mut wire, slave, request).await else {
            return Ok(Err(Failure::Closed));
        };
        self.wire = Some(wire);
        Ok(outcome)
    }

    async fn exchange(
        &mut self,
        wire: &mut L::Wire,
        slave: u8,
        request: Request,
    ) -> Result<Result<Answer, Failure>, Lost> {
        if !self.is_ready(wire).await? {
            return Ok(Err(Failure::Busy));
        }
        if L::Link::DISCARDS {
            self.counts.noise_bytes += wire.discard()? as u64;
        }
        let now = self.start.elapsed();
        let frame = self.link.ask(slave, request, now, &mut self.counts);
        write(wire, &frame).await?;
        let mut buffer = [0; AT_ONCE];
        while let Some(deadline) = self.link.deadline() {
            let came = wait(wire, &mut buffer, self.start + deadline).await?;
            let now = self.start.elapsed();
            let Some(len) = came else {
                return Ok(Err(self.link.give_up(now, &mut self.counts)));
            };
            let outcome = self
                .link
                .handle_input(&buffer[..len], now, &mut self.counts);
            if let Some(outcome) = outcome {
                return Ok(outcome);
            }
        }
        Ok(Err(Failure::Closed))
    }

    /// Waits until a request may be sent; false where noise keeps it waiting.
    async fn is_ready(&mut self, wire: &mut L::Wire) -> Result<bool, Lost> {
        let begun = self.start.elapsed();
        let mut buffer = [0; AT_ONCE];
        loop {
            let (now, ready_at) = (self.start.elapsed(), self.link.ready_at());
            if ready_at <= now {
                return Ok(true);
            }
            if now > begun + BUSY_AFTER + self.rest() {
                return Ok(false);
            }
            if let Some(len) = wait(wire, &mut buffer, self.start + ready_at).await? {
                let now = self.start.elapsed();
                // Nothing is outstanding, so that nothing comes of it but counts.
                let _ = self
                    .link
                    .handle_input(&buffer[..len], now, &mut self.counts);
            }
        }
    }

    /// The longest rest that is due without any noise.
    fn rest(&self) -> Duration {
        let millis = self.settings.latency.millis() + self.settings.pause.millis();
        Duration::from_millis(millis.unsigned_abs())
    }
}

/// Bytes, if any come before the deadline. What is there is taken before the
/// time is looked at.
async fn wait(
    wire: &mut impl Wire,
    buffer: &mut [u8],
    deadline: Instant,
) -> Result<Option<usize>, Lost> {
    tokio::select! {
        biased;
        len = read(wire, buffer) => len.map(Some),
        () = tokio::time::sleep_until(deadline.into()) => Ok(None),
    }
}
