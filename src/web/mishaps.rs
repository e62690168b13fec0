//! What goes wrong with those who ask: counted, and told in the log at a
//! limited rate, each kind by itself.

use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// A kind of mishap is told at most so often.
const TELL_EVERY: Duration = Duration::from_secs(60);

/// What went wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mishap {
    /// More wanted in than are heard at once.
    Crowded,
    /// A connection could not be taken on.
    NotLetIn,
    /// A head did not come within its time.
    SlowHead,
    /// A body did not come within its time.
    SlowBody,
    /// A body is longer than any that is taken.
    LongBody,
    /// What came is no request, or its head is too large.
    Unreadable,
    /// An answer was not ready within its time.
    LateAnswer,
    /// An answer ended on a fault of the program.
    Fault,
    /// A link is none of ours, or was changed.
    BadLink,
}

impl Mishap {
    /// All of them, in their order.
    pub const ALL: [Mishap; 9] = [
        Mishap::Crowded,
        Mishap::NotLetIn,
        Mishap::SlowHead,
        Mishap::SlowBody,
        Mishap::LongBody,
        Mishap::Unreadable,
        Mishap::LateAnswer,
        Mishap::Fault,
        Mishap::BadLink,
    ];

    /// Its name among figures.
    pub const fn name(self) -> &'static str {
        match self {
            Mishap::Crowded => "crowded",
            Mishap::NotLetIn => "not_let_in",
            Mishap::SlowHead => "slow_head",
            Mishap::SlowBody => "slow_body",
            Mishap::LongBody => "long_body",
            Mishap::Unreadable => "unreadable",
            Mishap::LateAnswer => "late_answer",
            Mishap::Fault => "fault",
            Mishap::BadLink => "bad_link",
        }
    }

    const fn words(self) -> &'static str {
        match self {
            Mishap::Crowded => {
                "turned away, as many as are heard at once are there; something asks too often, or holds connections open"
            }
            Mishap::NotLetIn => "a connection could not be taken on by the system",
            Mishap::SlowHead => "cut, its request did not come within the time for it",
            Mishap::SlowBody => "cut, the body of its request did not come within the time for it",
            Mishap::LongBody => "refused, the body of its request is too long",
            Mishap::Unreadable => "cut, what came is no request of HTTP/1, or too large a head",
            Mishap::LateAnswer => "given up, no answer was ready in time (a disk that refuses?)",
            Mishap::Fault => "broken off by a fault of this program; see above and report it",
            Mishap::BadLink => "refused, its link is not one that we wrote, or was changed",
        }
    }
}

/// The counts of one server.
#[derive(Debug, Clone, Default)]
pub struct Mishaps(Arc<[One; Mishap::ALL.len()]>);

#[derive(Debug, Default)]
struct One {
    count: AtomicU64,
    told_at: Mutex<Option<Instant>>,
}

impl Mishaps {
    /// How often this has happened.
    pub fn count(&self, mishap: Mishap) -> u64 {
        self.0[mishap as usize].count.load(Relaxed)
    }

    /// It has happened once more. No address and nothing of the request is
    /// told: a link would open what it opens for whoever reads the log.
    pub fn tell(&self, mishap: Mishap) {
        if let Some(count) = self.take(mishap, Instant::now()) {
            tracing::warn!(count, "somebody who asked for a page: {}", mishap.words());
        }
    }

    /// Counts it; gives the count where it is to be told.
    fn take(&self, mishap: Mishap, now: Instant) -> Option<u64> {
        let one = &self.0[mishap as usize];
        let count = one.count.fetch_add(1, Relaxed) + 1;
        let mut told_at = one.told_at.lock().unwrap_or_else(PoisonError::into_inner);
        let is_due = told_at.is_none_or(|told| now.duration_since(told) >= TELL_EVERY);
        is_due.then(|| {
            *told_at = Some(now);
            count
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_is_told_once_a_minute_and_counted_always() {
        let mishaps = Mishaps::default();
        let now = Instant::now();
        assert_eq!(mishaps.take(Mishap::SlowHead, now), Some(1));
        assert_eq!(mishaps.take(Mishap::SlowHead, now), None);
        assert_eq!(mishaps.take(Mishap::LongBody, now), Some(1));
        assert_eq!(mishaps.take(Mishap::SlowHead, now + TELL_EVERY), Some(3));
        assert_eq!(mishaps.count(Mishap::SlowHead), 3);
        for (place, mishap) in Mishap::ALL.into_iter().enumerate() {
            assert_eq!(mishap as usize, place, "{}", mishap.name());
        }
    }
}
