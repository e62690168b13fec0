//! A signal that moves faster than it should.

use serde::{Deserialize, Serialize};

use crate::alarm::Verdict;
use crate::units::{Quantity, Span};

/// It is over once the signal most likely moves slower than this share of the
/// limit. Choice: what a slope over a window is known to.
const BACK_AT: f64 = 0.75;

/// Which way a signal moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Direction {
    /// Down.
    Falling,
    /// Up.
    Rising,
}

impl Direction {
    /// Both.
    pub const ALL: [Direction; 2] = [Direction::Falling, Direction::Rising];

    /// The name used in conditions and settings.
    pub const fn name(self) -> &'static str {
        match self {
            Direction::Falling => "falling",
            Direction::Rising => "rising",
        }
    }

    /// A change as it counts in this direction.
    pub const fn of(self, change: f64) -> f64 {
        match self {
            Direction::Falling => -change,
            Direction::Rising => change,
        }
    }
}

/// From where on a signal moves too fast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RateRule {
    /// The signal.
    pub signal: Quantity,
    /// Which way.
    pub direction: Direction,
    /// Faster than this, above 0, in the signal's unit an hour.
    pub limit_per_hour: f64,
    /// The window that it is looked at over.
    pub over: Span,
}

impl RateRule {
    /// The unit of its limit.
    pub const fn unit(&self) -> &'static str {
        match self.signal {
            Quantity::Concentration => "%/h",
            Quantity::Ph => "pH/h",
            Quantity::Conductivity => "µS/cm/h",
            Quantity::Temperature => "K/h",
            Quantity::Volume => "L/h",
            _ => "1/h",
        }
    }
}

/// How fast a signal moves, in its unit an hour.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Speed {
    /// Most likely.
    pub likely: f64,
    /// Both ends of the interval that holds it in nine of ten cases, lowest
    /// first.
    pub between: (f64, f64),
}

/// Judges a speed against a limit above 0, in the same unit: told only where the
/// whole interval lies beyond, so that in nineteen of twenty cases it is so.
pub fn judge_rate(direction: Direction, limit: f64, speed: Option<Speed>) -> Verdict {
    let Some(Speed { likely, between }) = speed else {
        return Verdict::Unknown;
    };
    let slowest = direction.of(between.0).min(direction.of(between.1));
    if slowest > limit {
        Verdict::Outside
    } else if direction.of(likely) < BACK_AT * limit {
        Verdict::Inside
    } else {
        Verdict::Band
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_told_when_it_is_sure_and_over_when_it_is_slow() {
        let judge = |direction, likely: f64, half: f64| {
            let between = (likely - half, likely + half);
            judge_rate(direction, 0.5, Some(Speed { likely, between }))
        };
        let falling = |likely, half| judge(Direction::Falling, likely, half);
        assert_eq!(falling(-0.7, 0.1), Verdict::Outside);
        assert_eq!(falling(-0.7, 0.3), Verdict::Band, "not wholly beyond");
        assert_eq!(falling(-0.4, 0.05), Verdict::Band, "not over yet");
        assert_eq!(falling(-0.3, 0.5), Verdict::Inside);
        assert_eq!(falling(0.9, 0.1), Verdict::Inside, "the other way");
        let rising = |likely, half| judge(Direction::Rising, likely, half);
        assert_eq!(rising(0.7, 0.1), Verdict::Outside);
        assert_eq!(
            rising(0.5, 0.0),
            Verdict::Band,
            "the limit itself is inside"
        );
        assert_eq!(rising(-0.7, 0.1), Verdict::Inside);
        assert_eq!(judge_rate(Direction::Rising, 0.5, None), Verdict::Unknown);
    }
}
