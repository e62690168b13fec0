//! Whether most of the last periods say the same: one odd minute decides
//! nothing.

use serde::{Deserialize, Serialize};

use super::moment::Moment;

/// Weight of the newest period. Choice: about ten periods vote.
const WEIGHT: f32 = 0.1;
/// It holds once so large a share of them says so: the majority.
const HOLDS: f32 = 0.5;
/// It no longer does once so few still say so. Choice: far enough below.
const ENDS: f32 = 0.1;

/// The votes of the last periods, weighted exponentially.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Vote {
    share: f32,
    /// When the first of the periods that say so began to.
    began: Moment,
    holds: bool,
}

impl Vote {
    /// The period that ends at `time` votes.
    pub(super) fn cast(&mut self, time: Moment, yes: bool) {
        if yes && self.share < ENDS {
            self.began = time;
        }
        self.share += WEIGHT * (f32::from(u8::from(yes)) - self.share);
        self.holds = self.share > HOLDS || (self.holds && self.share >= ENDS);
    }

    /// Since when it holds.
    pub(super) fn since(&self) -> Option<Moment> {
        self.holds.then_some(self.began)
    }

    /// When the first of the periods that say so began to.
    pub(super) fn began(&self) -> Moment {
        self.began
    }

    /// The share of periods that say so, 0 to 1.
    pub(super) fn share(&self) -> f32 {
        self.share
    }

    /// Whether hardly a period says so.
    pub(super) fn is_calm(&self) -> bool {
        self.share < ENDS
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Timestamp;

    fn minute(m: i64) -> Moment {
        Moment::of(Timestamp::from_millis(m * 60_000))
    }

    #[test]
    fn a_majority_decides_and_says_since_when() {
        let mut vote = Vote::default();
        vote.cast(minute(1), true);
        assert!(!vote.is_calm() && vote.since().is_none());
        for m in 2..10 {
            vote.cast(minute(m), false);
        }
        assert!(vote.is_calm());
        let decided = (10..30).find(|&m| {
            vote.cast(minute(m), true);
            vote.since().is_some()
        });
        // 1 − 0.9ⁿ exceeds a half at the seventh.
        assert!(matches!(decided, Some(16 | 17)), "{decided:?}");
        assert_eq!(vote.since(), Some(minute(10)));
    }

    #[test]
    fn it_ends_when_hardly_any_says_so() {
        let mut vote = Vote::default();
        (0..40).for_each(|m| vote.cast(minute(m), true));
        let ended = (40..100).find(|&m| {
            vote.cast(minute(m), false);
            vote.since().is_none()
        });
        assert!(matches!(ended, Some(60..=62)), "{ended:?}");
    }
}
