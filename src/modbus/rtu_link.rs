//! One request at a time on a serial line.
//!
//! A serial frame bears no number, so that the answer to one request looks like
//! the answer to the next where both ask one slave for as many registers. What
//! keeps them apart is time alone: a request is sent only when the answer to the
//! one before it has come, or cannot come any more. Hence after every failure,
//! and after the line was opened, the line rests for the longest time that a
//! slave may take, and what comes in meanwhile is dropped and counted. The rest
//! is counted from the moment the failure was seen, never from when the request
//! went out, so that a process that was held up rests no shorter.
//!
//! Frames are parted by silence and never by guessing at bytes. What does not
//! fit is dropped up to the next silence, and the answer may still come behind
//! it. Within a frame a pause is forgiven that an adapter can make, since they
//! hand bytes over in portions; a portion lost shows in the check.

use std::time::Duration;

use super::link::{Counts, Failure, Link};
use super::pdu::{Answer, REQUEST_LEN, Request};
use super::rtu::{self, AROUND, LONGEST, Timing};

/// For so long an adapter may keep bytes back. Memory: USB adapters gather for
/// up to 16 ms; twice that is our choice.
const ADAPTER_GAP: Duration = Duration::from_millis(32);

/// So many bytes an adapter may gather, whatever time that takes. Memory: a
/// packet of full-speed USB.
const ADAPTER_PORTION: usize = 64;

/// What is known of a line and of the slowest slave on it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RtuSetup {
    /// How long bytes take.
    pub timing: Timing,
    /// How long the beginning of an answer is waited for.
    pub timeout: Duration,
    /// The longest time that any slave may take to begin its answer, the
    /// adapter's delay with it.
    pub latency: Duration,
    /// Rest between an answer and the next request, where it is longer than the
    /// silence between frames.
    pub pause: Duration,
}

/// A serial line.
#[derive(Debug)]
pub struct RtuLink {
    setup: RtuSetup,
    state: State,
    /// Bytes since the last silence, at most [`LONGEST`].
    burst: Vec<u8>,
    /// All bytes since the last silence, those beyond the longest frame too.
    burst_len: usize,
    last_input: Duration,
}

#[derive(Debug)]
enum State {
    /// No request before this time.
    Resting { until: Duration },
    /// Waiting for an answer.
    Waiting {
        slave: u8,
        request: Request,
        deadline: Duration,
        /// Whether the burst cannot become the answer.
        spoilt: bool,
        /// The first thing that went wrong.
        fault: Option<Failure>,
    },
}

impl RtuLink {
    /// A line opened at `now`. It rests first: a request sent before it was
    /// opened may still be answered.
    pub fn new(setup: RtuSetup, now: Duration) -> Self {
        RtuLink {
            state: State::Resting {
                until: now + setup.rest_after(LONGEST),
            },
            setup,
            burst: Vec::with_capacity(LONGEST),
            burst_len: 0,
            last_input: now,
        }
    }

    fn keep(&mut self, bytes: &[u8], now: Duration) {
        let room = LONGEST - self.burst.len();
        self.burst
            .extend_from_slice(&bytes[..bytes.len().min(room)]);
        self.burst_len += bytes.len();
        self.last_input = now;
    }

    /// Drops the burst: a whole frame is an answer that came late.
    fn drop_burst(&mut self, counts: &mut Counts) {
        if self.burst_len == self.burst.len() && rtu::decode(&self.burst).is_ok() {
            counts.late_answers += 1;
        } else {
            counts.noise_bytes += self.burst_len as u64;
        }
        self.burst.clear();
        self.burst_len = 0;
    }

    /// Drops the burst before `now` where it ended without being an answer.
    fn end_burst(&mut self, now: Duration, counts: &mut Counts) {
        let gap = now.saturating_sub(self.last_input);
        let forgiven = match &mut self.state {
            State::Waiting { spoilt: true, .. } => self.setup.timing.silence(),
            _ => ADAPTER_GAP + self.setup.timing.on_wire(ADAPTER_PORTION),
        };
        if self.burst_len == 0 || gap < forgiven {
            return;
        }
        if let State::Waiting { spoilt, fault, .. } = &mut self.state {
            *spoilt = false;
            fault.get_or_insert(Failure::Cut);
        }
        self.drop_burst(counts);
    }

    fn rest(&mut self, until: Duration) {
        self.state = State::Resting { until };
    }
}

impl RtuSetup {
    /// From a failure until no answer of so many bytes can come any more.
    fn rest_after(&self, bytes: usize) -> Duration {
        let silence = self.timing.silence().max(self.pause);
        self.latency + self.timing.on_wire(bytes) + silence
    }
}

/// What a burst is, seen from a request.
enum Seen {
    Beginning,
    Answer(Answer),
    Unfit(Failure),
}

fn look(burst: &[u8], slave: u8, request: Request) -> Seen {
    match burst.first() {
        Some(&found) if found != slave => return Seen::Unfit(Failure::OtherSlave { found }),
        Some(_) => {}
        None => return Seen::Beginning,
    }
    let whole = match request.expects(&burst[1..]) {
        Ok(Some(words)) => words + AROUND,
        Ok(None) => return Seen::Beginning,
        Err(error) => return Seen::Unfit(error.into()),
    };
    if burst.len() < whole {
        return Seen::Beginning;
    }
    if burst.len() > whole {
        return Seen::Unfit(Failure::Surplus);
    }
    let answer = rtu::decode(burst)
        .map_err(Failure::from)
        .and_then(|(_, words)| request.decode(words).map_err(Failure::from));
    match answer {
        Ok(answer) => Seen::Answer(answer),
        Err(failure) => Seen::Unfit(failure),
    }
}

impl Link for RtuLink {
    const DISCARDS: bool = true;

    fn ready_at(&self) -> Duration {
        match self.state {
            State::Resting { until } => until,
            State::Waiting { deadline, .. } => deadline,
        }
    }

    fn ask(&mut self, slave: u8, request: Request, now: Duration, counts: &mut Counts) -> Vec<u8> {
        if self.burst_len > 0 {
            self.drop_burst(counts);
        }
        let on_wire = |words| self.setup.timing.on_wire(words + AROUND);
        let wire = on_wire(REQUEST_LEN) + on_wire(request.answer_len());
        self.state = State::Waiting {
            slave,
            request,
            deadline: now + wire + self.setup.timeout,
            spoilt: false,
            fault: None,
        };
        rtu::encode(slave, &request.encode())
    }

    fn handle_input(
        &mut self,
        bytes: &[u8],
        now: Duration,
        counts: &mut Counts,
    ) -> Option<Result<Answer, Failure>> {
        let silence = self.setup.timing.silence();
        self.end_burst(now, counts);
        self.keep(bytes, now);
        match &mut self.state {
            State::Resting { until } => *until = (*until).max(now + silence),
            State::Waiting { spoilt: true, .. } => {}
            State::Waiting {
                slave,
                request,
                spoilt,
                fault,
                ..
            } => match look(&self.burst, *slave, *request) {
                Seen::Beginning => {}
                Seen::Unfit(failure) => {
                    *spoilt = true;
                    fault.get_or_insert(failure);
                }
                Seen::Answer(answer) => {
                    self.burst.clear();
                    self.burst_len = 0;
                    self.rest(now + silence.max(self.setup.pause));
                    return Some(Ok(answer));
                }
            },
        }
        None
    }

    fn deadline(&self) -> Option<Duration> {
        match self.state {
            State::Waiting { deadline, .. } => Some(deadline),
            State::Resting { .. } => None,
        }
    }

    fn give_up(&mut self, now: Duration, counts: &mut Counts) -> Failure {
        let mut failure = Failure::Silent;
        if self.burst_len > 0 {
            failure = Failure::Cut;
            self.drop_burst(counts);
        }
        let mut longest = LONGEST;
        if let State::Waiting { request, fault, .. } = self.state {
            failure = fault.unwrap_or(failure);
            longest = request.answer_len() + AROUND;
        }
        self.rest(now + self.setup.rest_after(longest));
        failure
    }

    fn is_broken(&self) -> bool {
        false
    }
}

#[cfg(test)]
mod tests;
