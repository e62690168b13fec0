//! The master of one line: what to ask, when, and whose answer came. Without
//! any I/O; time is an argument, counted from any fixed moment.
//!
//! Whoever owns the line does as [`Master::poll`] says until it says
//! [`Output::Wait`], then waits for bytes or for that time, whichever comes
//! first, hands bytes to [`Master::handle_input`] and polls again. Bytes that
//! are handed over after the time of a request are no answer to it any more,
//! whenever they came: a process that was held up cannot know, and what it takes
//! for a value of now may be hours old.

use std::collections::VecDeque;
use std::time::Duration;

use super::link::{Counts, Failure, Link};
use super::pdu::{Answer, Exception};
use super::plan::Read;
use super::schedule::{Change, Next, Schedule};

/// A line that noise keeps from a request for so long is told as a failure.
const BUSY_AFTER: Duration = Duration::from_secs(10);

/// Waited at most where there is nothing to wait for.
const LONG: Duration = Duration::from_secs(3600);

/// What the master wants done, or tells.
#[derive(Debug, Clone, PartialEq)]
pub enum Output {
    /// Throw away what has come in and was not handed over, and say how much it
    /// was with [`Master::handle_discarded`].
    Discard,
    /// Write these bytes.
    Send(Vec<u8>),
    /// Registers came.
    Registers {
        /// Place of the request in the plan.
        read: usize,
        /// As many as it asks for.
        registers: Vec<u16>,
    },
    /// The slave refused a request.
    Refused {
        /// Place of the request in the plan.
        read: usize,
        /// Why.
        exception: Exception,
    },
    /// A request brought no answer.
    Failed {
        /// Place of the request in the plan.
        read: usize,
        /// Why.
        failure: Failure,
    },
    /// A slave was lost, or is back.
    Slave {
        /// The slave.
        slave: u8,
        /// Which of both.
        change: Change,
    },
    /// Close the connection, make a new one and go on with [`Master::renew`].
    Close,
    /// Nothing to do before this time, unless bytes come.
    Wait(Duration),
}

/// The master of a line.
#[derive(Debug)]
pub struct Master<L> {
    link: L,
    reads: Vec<Read>,
    schedule: Schedule,
    /// The request outstanding.
    asked: Option<usize>,
    /// What is to be said before anything else; a few at most.
    told: VecDeque<Output>,
    /// Whether input was thrown away, and none came since.
    discarded: bool,
    /// Since when noise keeps a request waiting that is due.
    kept_waiting: Option<Duration>,
    counts: Counts,
}

impl<L: Link> Master<L> {
    /// Asks for everything in `reads` once in each `interval`, over `link`.
    pub fn new(link: L, reads: Vec<Read>, interval: Duration, now: Duration) -> Self {
        Master {
            link,
            schedule: Schedule::new(reads.iter().map(|read| read.slave), interval, now),
            reads,
            asked: None,
            told: VecDeque::new(),
            discarded: false,
            kept_waiting: None,
            counts: Counts::default(),
        }
    }

    /// Goes on over a line newly opened. What was outstanding on the old one has
    /// failed.
    pub fn renew(&mut self, link: L, now: Duration) {
        if let Some(read) = self.asked.take() {
            self.conclude(read, Err(Failure::Closed), now);
        }
        self.link = link;
        self.discarded = false;
        self.kept_waiting = None;
    }

    /// What has been counted so far.
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// The requests, in the order that the outputs name them in.
    pub fn reads(&self) -> &[Read] {
        &self.reads
    }

    /// Takes bytes that came in. Handed over late, they are an answer that came
    /// late: dropped and counted, and the line rests as after every failure.
    pub fn handle_input(&mut self, bytes: &[u8], now: Duration) {
        if bytes.is_empty() {
            return;
        }
        self.discarded = false;
        self.give_up_late(now);
        let outcome = self.link.handle_input(bytes, now, &mut self.counts);
        if let Some(outcome) = outcome
            && let Some(read) = self.asked.take()
        {
            self.conclude(read, outcome, now);
        }
    }

    /// So many bytes were thrown away as [`Output::Discard`] wanted.
    pub fn handle_discarded(&mut self, bytes: usize) {
        self.counts.noise_bytes += bytes as u64;
    }

    /// The next thing to do or to know at this time.
    pub fn poll(&mut self, now: Duration) -> Output {
        self.give_up_late(now);
        if let Some(output) = self.told.pop_front() {
            return output;
        }
        if self.link.is_broken() {
            return Output::Close;
        }
        match self.link.deadline() {
            Some(deadline) => Output::Wait(deadline),
            None => self.go_on(now),
        }
    }

    /// Gives up the request outstanding where its time is over.
    fn give_up_late(&mut self, now: Duration) {
        if let (Some(deadline), Some(read)) = (self.link.deadline(), self.asked)
            && deadline <= now
        {
            self.asked = None;
            let failure = self.link.give_up(now, &mut self.counts);
            self.conclude(read, Err(failure), now);
        }
    }

    /// Without a request outstanding.
    fn go_on(&mut self, now: Duration) -> Output {
        let read = match self.schedule.next(now) {
            Next::Ask(read) => read,
            Next::At(time) => return Output::Wait(time),
            Next::Never => return Output::Wait(now + LONG),
        };
        let ready_at = self.link.ready_at();
        if ready_at > now {
            return self.kept_waiting(read, ready_at, now);
        }
        if L::DISCARDS && !self.discarded {
            self.discarded = true;
            return Output::Discard;
        }
        self.discarded = false;
        self.kept_waiting = None;
        self.asked = Some(read);
        self.counts.requests += 1;
        let Read { slave, request, .. } = self.reads[read];
        Output::Send(self.link.ask(slave, request, now, &mut self.counts))
    }

    fn kept_waiting(&mut self, read: usize, ready_at: Duration, now: Duration) -> Output {
        let since = *self.kept_waiting.get_or_insert(ready_at);
        if now < since + BUSY_AFTER {
            return Output::Wait(ready_at);
        }
        self.kept_waiting = None;
        self.conclude(read, Err(Failure::Busy), now);
        self.told.pop_front().unwrap_or(Output::Wait(ready_at))
    }

    /// What became of a request.
    fn conclude(&mut self, read: usize, outcome: Result<Answer, Failure>, now: Duration) {
        self.counts.outcome(&outcome);
        let change = match &outcome {
            Ok(_) => self.schedule.answered(read, now),
            Err(_) => self.schedule.failed(read, now),
        };
        self.told.push_back(match outcome {
            Ok(Answer::Registers(registers)) => Output::Registers { read, registers },
            Ok(Answer::Exception(exception)) => Output::Refused { read, exception },
            Err(failure) => Output::Failed { read, failure },
        });
        if let Some(change) = change {
            let slave = self.reads[read].slave;
            self.told.push_back(Output::Slave { slave, change });
        }
    }
}

#[cfg(test)]
mod tests;
