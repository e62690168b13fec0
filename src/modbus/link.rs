//! What the serial line and TCP have in common, seen from the master.

use std::time::Duration;

use serde::Serialize;

use super::pdu::{Answer, AnswerError, Exception, Request};
use super::rtu::FrameError;
use super::tcp::StreamError;

/// One request at a time and its answer, on one kind of line. Times are counted
/// from any fixed moment; they never go backwards.
pub trait Link {
    /// Whether what has come in and was not looked at is to be thrown away
    /// before a request.
    const DISCARDS: bool;

    /// From when on a request may be sent; while one is outstanding it says
    /// nothing.
    fn ready_at(&self) -> Duration;

    /// The bytes of a request; from now on its answer is waited for. None may
    /// be outstanding.
    fn ask(&mut self, slave: u8, request: Request, now: Duration, counts: &mut Counts) -> Vec<u8>;

    /// Takes what came in. At most one outcome, that of the request
    /// outstanding; everything else is counted. A request whose deadline has
    /// passed is given up before.
    fn handle_input(
        &mut self,
        bytes: &[u8],
        now: Duration,
        counts: &mut Counts,
    ) -> Option<Result<Answer, Failure>>;

    /// Until when the answer is waited for; `None` without a request.
    fn deadline(&self) -> Option<Duration>;

    /// Gives the request outstanding up, and says why there was no answer.
    fn give_up(&mut self, now: Duration, counts: &mut Counts) -> Failure;

    /// Whether the connection has to be made anew.
    fn is_broken(&self) -> bool;
}

/// Why a request brought no answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Failure {
    /// Nothing came in time.
    #[error("no answer; check power, wiring, slave number and line settings, or raise timeout")]
    Silent,
    /// Something came that was cut off.
    #[error("its answer ended early; a loose wire, or a timeout that is too short")]
    Cut,
    /// More came than the answer has.
    #[error("there were bytes around its answer; noise, or two slaves with one number")]
    Surplus,
    /// The frame was damaged.
    #[error(transparent)]
    Frame(#[from] FrameError),
    /// Another slave spoke.
    #[error("slave {found} answered in its place; noise, or a second master on the line")]
    OtherSlave {
        /// The slave that answered.
        found: u8,
    },
    /// What it said is no answer to what was asked.
    #[error("what came is not its answer: {0}")]
    Answer(#[from] AnswerError),
    /// The stream cannot be understood any more.
    #[error(transparent)]
    Stream(#[from] StreamError),
    /// The line was never silent long enough for a request.
    #[error(
        "the line is never silent; another master on it, a chattering device or the wrong baud rate"
    )]
    Busy,
    /// The line was closed while the answer was waited for.
    #[error("the line was lost before it answered")]
    Closed,
}

/// What a master counts. Bytes and frames that nobody waited for are dropped,
/// and never unseen.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Requests sent.
    pub requests: u64,
    /// Answers with registers.
    pub answers: u64,
    /// Answers that were exceptions.
    pub exceptions: u64,
    /// Requests that nothing came for.
    pub timeouts: u64,
    /// Requests that something came for, but not their answer.
    pub faults: u64,
    /// Whole frames dropped since nobody waited for them any more: answers that
    /// came late.
    pub late_answers: u64,
    /// Bytes dropped that were no frame.
    pub noise_bytes: u64,
}

impl Counts {
    pub(super) fn outcome(&mut self, outcome: &Result<Answer, Failure>) {
        let count = match outcome {
            Ok(Answer::Registers(_)) => &mut self.answers,
            Ok(Answer::Exception(Exception(_))) => &mut self.exceptions,
            Err(Failure::Silent) => &mut self.timeouts,
            Err(_) => &mut self.faults,
        };
        *count += 1;
    }
}
