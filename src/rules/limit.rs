//! A signal against one of its four limits.

use crate::alarm::Verdict;

/// The four limits of a signal, named after OPC UA Part 9 (LimitAlarmType).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LimitLevel {
    /// Below this it is urgent.
    LowLow,
    /// Below this somebody must act.
    Low,
    /// Above this somebody must act.
    High,
    /// Above this it is urgent.
    HighHigh,
}

impl LimitLevel {
    /// The four, from the lowest up.
    pub const ALL: [LimitLevel; 4] = [
        LimitLevel::LowLow,
        LimitLevel::Low,
        LimitLevel::High,
        LimitLevel::HighHigh,
    ];

    /// Whether the limit is a lower one.
    pub const fn is_low(self) -> bool {
        matches!(self, LimitLevel::LowLow | LimitLevel::Low)
    }

    /// The name used in settings, topics and the journal.
    pub const fn name(self) -> &'static str {
        match self {
            LimitLevel::LowLow => "low_low",
            LimitLevel::Low => "low",
            LimitLevel::High => "high",
            LimitLevel::HighHigh => "high_high",
        }
    }
}

/// Judges a value: exactly on the limit is still inside; back inside only when
/// it is inside by at least `dead_band`.
#[inline]
pub fn judge_limit(
    level: LimitLevel,
    threshold: f64,
    dead_band: f64,
    value: Option<f64>,
) -> Verdict {
    let Some(value) = value else {
        return Verdict::Unknown;
    };
    let inside_by = if level.is_low() {
        value - threshold
    } else {
        threshold - value
    };
    if inside_by < 0.0 {
        Verdict::Outside
    } else if inside_by < dead_band {
        Verdict::Band
    } else {
        Verdict::Inside
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_itself_is_inside() {
        use LimitLevel::*;
        let judge = |level, x| judge_limit(level, 6.0, 0.25, Some(x));
        assert_eq!(judge(Low, 5.99), Verdict::Outside);
        assert_eq!(judge(Low, 6.0), Verdict::Band);
        assert_eq!(judge(Low, 6.25), Verdict::Inside);
        assert_eq!(judge(High, 6.01), Verdict::Outside);
        assert_eq!(judge(HighHigh, 5.9), Verdict::Band);
        assert_eq!(judge(High, 5.75), Verdict::Inside);
        assert_eq!(judge_limit(Low, 6.0, 0.25, None), Verdict::Unknown);
    }
}
