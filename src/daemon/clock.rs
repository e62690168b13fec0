//! Where the time comes from: the only place that asks the system for it.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use crate::units::Timestamp;

/// A clock as a function.
pub(super) type Telling = Arc<dyn Fn() -> Timestamp + Send + Sync>;

/// The clock that the daemon runs by.
#[derive(Debug, Clone)]
pub enum Clock {
    /// The system's.
    System,
    /// One that somebody else moves, in milliseconds since 1970.
    Simulated(Arc<AtomicI64>),
}

impl Clock {
    /// A simulated clock, standing at `start`.
    pub fn simulated(start: Timestamp) -> Self {
        Clock::Simulated(Arc::new(AtomicI64::new(start.millis())))
    }

    /// Moves a simulated clock; the system's is not ours to move.
    pub fn set(&self, time: Timestamp) {
        if let Clock::Simulated(millis) = self {
            millis.store(time.millis(), Ordering::Release);
        }
    }

    /// The time now.
    pub fn now(&self) -> Timestamp {
        match self {
            Clock::System => {
                let since = SystemTime::now()
                    .duration_since(UNIX_EPOCH)
                    .unwrap_or_default();
                Timestamp::from_millis(since.as_millis() as i64)
            }
            Clock::Simulated(millis) => Timestamp::from_millis(millis.load(Ordering::Acquire)),
        }
    }

    /// The clock as a function, for those who need nothing else of it.
    pub fn as_fn(&self) -> Telling {
        let clock = self.clone();
        Arc::new(move || clock.now())
    }

    /// The clock as a function that never goes back, for the times at which
    /// readings arrive: a clock that is set back stands still until it has
    /// caught up, so that no reading comes before one that came earlier.
    pub fn never_back(&self) -> Telling {
        let clock = self.clone();
        let newest = AtomicI64::new(clock.now().millis());
        Arc::new(move || {
            let now = clock.now().millis();
            Timestamp::from_millis(newest.fetch_max(now, Ordering::AcqRel).max(now))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_of_arrival_stand_still_while_the_clock_catches_up() {
        let at = |ms: i64| Timestamp::from_millis(1_700_000_000_000 + ms);
        let clock = Clock::simulated(at(0));
        let arrival = clock.never_back();
        let mut arrivals = Vec::new();
        for ms in [5_000, 1_000, 4_999, 5_001] {
            clock.set(at(ms));
            arrivals.push(arrival());
        }
        assert_eq!(arrivals, [at(5_000), at(5_000), at(5_000), at(5_001)]);
    }
}
