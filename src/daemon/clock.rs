//! Where the time comes from: the only place that asks the system for it.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use crate::units::Timestamp;

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
    pub fn as_fn(&self) -> Arc<dyn Fn() -> Timestamp + Send + Sync> {
        let clock = self.clone();
        Arc::new(move || clock.now())
    }
}
