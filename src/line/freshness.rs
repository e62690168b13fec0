//! Telling what comes in now from what lay waiting.
//!
//! A line stands at the time at which it is read. The system keeps some
//! kilobytes of a port that nobody reads, so that after a busy store, a stopped
//! process or a paused machine lines of long ago would stand at now. Their own
//! time is unknown, and so they are not read at all.

use std::time::Duration;

/// The input is looked at at least so often, whether anything came or not.
pub const LOOK_EVERY: Duration = Duration::from_millis(500);

/// What came between two looks further apart may be too old. Choice: twice
/// [`LOOK_EVERY`]; no alarm and no estimate looks at anything finer.
const HELD_UP: Duration = Duration::from_secs(1);

/// For so long after such a gap what comes in is old still. The system and the
/// adapter hold more bytes than one look empties, and hand them over as soon as
/// there is room. Choice: many times what that takes.
const SETTLES: Duration = Duration::from_millis(500);

/// Whether whoever reads a port keeps up with it. Times are counted from any
/// fixed moment.
#[derive(Debug)]
pub struct Freshness {
    looked: Duration,
    old_until: Duration,
}

impl Freshness {
    /// Of a port opened at `now`.
    pub fn new(now: Duration) -> Self {
        Freshness {
            looked: now,
            old_until: Duration::ZERO,
        }
    }

    /// The input was looked at; says whether what it gave is of about now. To be
    /// called after each look, and at least each [`LOOK_EVERY`].
    pub fn look(&mut self, now: Duration) -> bool {
        if now.saturating_sub(self.looked) > HELD_UP {
            self.old_until = now + SETTLES;
        }
        self.looked = now;
        now >= self.old_until
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ms(millis: u64) -> Duration {
        Duration::from_millis(millis)
    }

    #[test]
    fn what_comes_after_a_gap_is_old_until_it_has_settled() {
        let mut freshness = Freshness::new(ms(7_000));
        assert!(freshness.look(ms(7_500)) && freshness.look(ms(8_500)));
        let hour = 3_600_000;
        assert!(!freshness.look(ms(hour)) && !freshness.look(ms(hour + 499)));
        assert!(freshness.look(ms(hour + 500)) && freshness.look(ms(hour + 1_500)));
        assert!(!freshness.look(ms(hour + 2_501)));
    }
}
