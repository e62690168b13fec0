//! When which request is next.
//!
//! Each request comes at its time in the round. A slave that fails is asked
//! less and less often, with one request, until it answers again; the others
//! go on as before.

use std::time::Duration;

/// The first pause after a failure.
const FIRST_PAUSE: Duration = Duration::from_secs(1);

/// The longest pause between two tries of a slave that does not answer.
const LONGEST_PAUSE: Duration = Duration::from_secs(60);

/// After so many failures in a row a slave is called lost. A single damaged
/// frame is nothing to tell anybody.
const LOST_AFTER: u32 = 3;

/// A change in a slave that is worth telling.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// It failed several times in a row.
    Lost,
    /// It answers again.
    Back,
}

/// What there is to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Next {
    /// This request, by its place in the plan.
    Ask(usize),
    /// Nothing before this time.
    At(Duration),
    /// Nothing ever: there is no request.
    Never,
}

/// The times of the requests of one line.
#[derive(Debug)]
pub(super) struct Schedule {
    interval: Duration,
    /// One a request: when it is due, and the place of its slave.
    due: Vec<(Duration, usize)>,
    slaves: Vec<Slave>,
}

/// How a slave does.
#[derive(Debug)]
struct Slave {
    number: u8,
    failures: u32,
    /// Not to be asked before this time.
    from: Duration,
}

impl Schedule {
    /// Every request of these slaves is due at `now`, and then once in each
    /// `interval`.
    pub(super) fn new(
        slaves: impl IntoIterator<Item = u8>,
        interval: Duration,
        now: Duration,
    ) -> Self {
        let mut schedule = Schedule {
            interval: interval.max(Duration::from_millis(1)),
            due: Vec::new(),
            slaves: Vec::new(),
        };
        for number in slaves {
            let known = schedule.slaves.iter().position(|s| s.number == number);
            let place = known.unwrap_or_else(|| {
                schedule.slaves.push(Slave {
                    number,
                    failures: 0,
                    from: now,
                });
                schedule.slaves.len() - 1
            });
            schedule.due.push((now, place));
        }
        schedule
    }

    /// The request that has been due for the longest time, or when there is
    /// one.
    pub(super) fn next(&self, now: Duration) -> Next {
        let times = self.due.iter().map(|(due, slave)| {
            let from = self.slaves[*slave].from;
            // Of those that a pause held back, the one due longest comes first,
            // so that a request that a slave never answers starves no other.
            ((*due).max(from), *due)
        });
        match times.enumerate().min_by_key(|(_, times)| *times) {
            Some((request, (at, _))) if at <= now => Next::Ask(request),
            Some((_, (at, _))) => Next::At(at),
            None => Next::Never,
        }
    }

    /// The slave gave an answer to this request, be it an exception.
    pub(super) fn answered(&mut self, request: usize, now: Duration) -> Option<Change> {
        let slave = self.asked(request, now);
        let was_lost = slave.failures >= LOST_AFTER;
        slave.failures = 0;
        was_lost.then_some(Change::Back)
    }

    /// The slave gave no answer to this request, or a bad one.
    pub(super) fn failed(&mut self, request: usize, now: Duration) -> Option<Change> {
        let slave = self.asked(request, now);
        let pause = FIRST_PAUSE.saturating_mul(1 << slave.failures.min(16));
        slave.failures = slave.failures.saturating_add(1);
        slave.from = now + pause.min(LONGEST_PAUSE);
        (slave.failures == LOST_AFTER).then_some(Change::Lost)
    }

    /// Sets the time at which the request is due again: the next one of its
    /// round that is not past.
    fn asked(&mut self, request: usize, now: Duration) -> &mut Slave {
        let (due, slave) = &mut self.due[request];
        let rounds = now.saturating_sub(*due).as_nanos() / self.interval.as_nanos() + 1;
        let rounds = u32::try_from(rounds).unwrap_or(u32::MAX);
        *due += self.interval.saturating_mul(rounds);
        &mut self.slaves[*slave]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ROUND: Duration = Duration::from_secs(10);

    fn at(secs: u64) -> Duration {
        Duration::from_secs(secs)
    }

    #[test]
    fn each_request_comes_once_a_round() {
        let mut schedule = Schedule::new([1, 1, 2], ROUND, at(5));
        for want in [0, 1, 2] {
            assert_eq!(schedule.next(at(6)), Next::Ask(want));
            schedule.answered(want, at(6));
        }
        assert_eq!(schedule.next(at(6)), Next::At(at(15)));
        // Rounds that could not be kept are left out.
        assert_eq!(schedule.next(at(40)), Next::Ask(0));
        schedule.answered(0, at(40));
        schedule.answered(1, at(40));
        schedule.answered(2, at(40));
        assert_eq!(schedule.next(at(40)), Next::At(at(45)));
    }

    #[test]
    fn a_dead_slave_is_asked_less_often_and_the_others_as_before() {
        let mut schedule = Schedule::new([1, 1, 2], at(1), at(0));
        let mut asked = [0; 3];
        for second in 0..600 {
            while let Next::Ask(request) = schedule.next(at(second)) {
                asked[request] += 1;
                if request == 2 {
                    schedule.answered(request, at(second));
                } else {
                    schedule.failed(request, at(second));
                }
            }
        }
        assert_eq!(asked[2], 600);
        // 1, 2, 4 … 60 s: 7 tries in the first two minutes, then one a minute.
        let tries = asked[0] + asked[1];
        assert!((14..=16).contains(&tries), "{tries} tries");
        assert!(asked[0] > 0 && asked[1] > 0, "{asked:?}");
    }

    #[test]
    fn lost_and_back_are_told_once() {
        let mut schedule = Schedule::new([1], ROUND, at(0));
        assert_eq!(schedule.failed(0, at(1)), None);
        assert_eq!(schedule.answered(0, at(2)), None);
        let told: Vec<_> = (0..5).map(|n| schedule.failed(0, at(3 + n))).collect();
        assert_eq!(told, [None, None, Some(Change::Lost), None, None]);
        assert_eq!(schedule.answered(0, at(9)), Some(Change::Back));
        assert_eq!(schedule.answered(0, at(10)), None);
    }

    #[test]
    fn a_line_without_requests_rests() {
        let schedule = Schedule::new([], ROUND, at(0));
        assert_eq!(schedule.next(at(100)), Next::Never);
    }
}
