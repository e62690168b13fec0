//! Whether the last digit still changes.

use serde::{Deserialize, Serialize};

use crate::units::Span;

use super::moment::Moment;
use super::{Fluid, LONGEST_GAP};

/// For how long an instrument has sent the same digits while the fluid moved.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Stillness {
    digits: f64,
    /// Never: there are no digits yet.
    since: Moment,
    /// While the fluid moved, ms.
    moving_ms: u32,
}

impl Stillness {
    /// Takes in what the instrument sent, so long after its last reading; where
    /// that is not known, nothing is said of the time between.
    #[inline]
    pub(super) fn step(&mut self, time: Moment, passed: Span, digits: Option<f64>, fluid: Fluid) {
        let Some(digits) = digits else { return };
        if !self.is_at(digits) {
            *self = Stillness {
                digits,
                since: time,
                moving_ms: 0,
            };
        } else if fluid == Fluid::Moves {
            let passed = passed.min(LONGEST_GAP).millis();
            let passed = u32::try_from(passed).unwrap_or(0);
            self.moving_ms = self.moving_ms.saturating_add(passed);
        }
    }

    /// Whether these digits are the same as before.
    #[inline]
    pub(super) fn is_at(&self, digits: f64) -> bool {
        self.digits == digits && self.since != Moment::NEVER
    }

    /// Since when it stands still, if for so long while the fluid moved.
    pub(super) fn since(&self, frozen_after: Option<Span>) -> Option<Moment> {
        let moving = Span::from_millis(i64::from(self.moving_ms));
        let frozen = frozen_after.is_some_and(|after| moving >= after);
        frozen.then_some(self.since)
    }
}
