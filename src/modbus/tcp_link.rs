//! One request at a time on a TCP connection.
//!
//! Each request bears a number that its answer repeats, so that a late answer
//! is known by it, dropped and counted; nothing needs to be waited for.

use std::time::Duration;

use super::link::{Counts, Failure, Link};
use super::pdu::{Answer, Request};
use super::tcp::{self, Frame};

/// After so many requests in a row without a single byte the connection is made
/// anew: the far end may be gone without a word.
const SILENT_REQUESTS: u32 = 3;

/// What is known of the far end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TcpSetup {
    /// How long an answer is waited for.
    pub timeout: Duration,
    /// Rest between an answer, or a failure, and the next request.
    pub pause: Duration,
}

/// A connection.
#[derive(Debug)]
pub struct TcpLink {
    setup: TcpSetup,
    transaction: u16,
    asked: Option<Asked>,
    ready_at: Duration,
    /// Bytes of a frame that is not all there, and those behind it.
    begun: Vec<u8>,
    /// Requests in a row that no byte came for.
    silent: u32,
    /// The stream cannot be understood any more.
    broken: bool,
}

#[derive(Debug, Clone, Copy)]
struct Asked {
    unit: u8,
    request: Request,
    deadline: Duration,
}

impl TcpLink {
    /// A connection made at `now`.
    pub fn new(setup: TcpSetup, now: Duration) -> Self {
        TcpLink {
            setup,
            transaction: 0,
            asked: None,
            ready_at: now,
            begun: Vec::new(),
            silent: 0,
            broken: false,
        }
    }

    fn done(&mut self, now: Duration) {
        self.asked = None;
        self.ready_at = now + self.setup.pause;
    }
}

/// What a frame says to the request outstanding; `None` where it belongs to
/// another one.
fn answer(
    frame: Frame<'_>,
    transaction: u16,
    asked: Option<Asked>,
) -> Option<Result<Answer, Failure>> {
    let asked = asked?;
    if frame.transaction != transaction {
        return None;
    }
    Some(if frame.unit == asked.unit {
        asked.request.decode(frame.words).map_err(Failure::from)
    } else {
        Err(Failure::OtherSlave { found: frame.unit })
    })
}

impl Link for TcpLink {
    const DISCARDS: bool = false;

    fn ready_at(&self) -> Duration {
        self.ready_at
    }

    fn ask(&mut self, slave: u8, request: Request, now: Duration, _: &mut Counts) -> Vec<u8> {
        self.transaction = self.transaction.wrapping_add(1);
        self.asked = Some(Asked {
            unit: slave,
            request,
            deadline: now + self.setup.timeout,
        });
        tcp::encode(self.transaction, slave, &request.encode())
    }

    fn handle_input(
        &mut self,
        bytes: &[u8],
        now: Duration,
        counts: &mut Counts,
    ) -> Option<Result<Answer, Failure>> {
        self.silent = 0;
        self.begun.extend_from_slice(bytes);
        let mut outcome = None;
        let mut taken = 0;
        loop {
            match tcp::decode(&self.begun[taken..]) {
                Ok(Some((frame, len))) => {
                    match answer(frame, self.transaction, self.asked) {
                        Some(said) => {
                            outcome = Some(said);
                            self.done(now);
                        }
                        None => counts.late_answers += 1,
                    }
                    taken += len;
                }
                Ok(None) => break,
                Err(error) => {
                    counts.noise_bytes += (self.begun.len() - taken) as u64;
                    taken = self.begun.len();
                    self.broken = true;
                    if self.asked.take().is_some() {
                        outcome = Some(Err(error.into()));
                    }
                }
            }
        }
        self.begun.drain(..taken);
        outcome
    }

    fn deadline(&self) -> Option<Duration> {
        self.asked.map(|asked| asked.deadline)
    }

    fn give_up(&mut self, now: Duration, _: &mut Counts) -> Failure {
        self.silent = self.silent.saturating_add(1);
        self.done(now);
        if self.begun.is_empty() {
            Failure::Silent
        } else {
            Failure::Cut
        }
    }

    fn is_broken(&self) -> bool {
        self.broken || self.silent >= SILENT_REQUESTS
    }
}

#[cfg(test)]
mod tests;
