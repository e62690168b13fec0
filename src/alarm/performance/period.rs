//! The time over which figures are taken.

use serde::Serialize;

use crate::units::{Span, Timestamp};

/// From a time on to before another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Period {
    /// The first time that belongs to it.
    pub from: Timestamp,
    /// The first that no longer does; not before `from`.
    pub to: Timestamp,
}

impl Period {
    /// From `from` to before `to`; of no length where they stand the other way
    /// round.
    pub fn new(from: Timestamp, to: Timestamp) -> Self {
        Period {
            from,
            to: to.max(from),
        }
    }

    /// Whether it holds this time.
    pub fn has(self, time: Timestamp) -> bool {
        (self.from..self.to).contains(&time)
    }

    /// How long it is.
    pub fn length(self) -> Span {
        self.to - self.from
    }

    /// Its length in `step`s.
    pub fn in_steps(self, step: Span) -> f64 {
        self.length().millis() as f64 / step.millis() as f64
    }

    /// Into how many parts of this length it falls, counted from its beginning;
    /// the last may be shorter.
    pub fn parts(self, step: Span) -> u64 {
        self.length()
            .millis()
            .unsigned_abs()
            .div_ceil(step.millis().unsigned_abs())
    }

    /// The part that holds this time of the period.
    pub fn part(self, time: Timestamp, step: Span) -> i64 {
        (time - self.from).millis().div_euclid(step.millis())
    }

    /// How much of the time from `from` to `until` lies in it.
    pub fn overlap(self, from: Timestamp, until: Timestamp) -> Span {
        (until.min(self.to) - from.max(self.from)).max(Span::ZERO)
    }
}
