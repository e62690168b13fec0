//! What a 4–20 mA loop says: a value on a straight line, and whether the
//! instrument vouches for it.

use serde::{Deserialize, Serialize};

use crate::units::{Current, Span, Timestamp};

/// For so long a current in an undefined band leaves the judgement as it was,
/// counted from the first such current. Own rule; memory: control systems
/// commonly delay the decision by about 4 s.
pub const UNDEFINED_HOLD: Span = Span::from_secs(4);

/// What a loop current means after NAMUR NE 43. The names of the two undefined
/// bands are ours; the recommendation leaves them open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum LoopState {
    /// At most 3.6 mA: the instrument reports a failure, or the loop is broken.
    FailureLow,
    /// Between 3.6 and 3.8 mA: neither failure nor measurement.
    UndefinedLow,
    /// From 3.8 to below 4 mA: below the range, the value still holds.
    Underrange,
    /// From 4 to 20 mA: measuring.
    Measuring,
    /// Above 20 to 20.5 mA: above the range, the value still holds.
    Overrange,
    /// Between 20.5 and 21 mA: neither failure nor measurement.
    UndefinedHigh,
    /// At least 21 mA: the instrument reports a failure, or a short circuit.
    FailureHigh,
}

impl LoopState {
    /// The band that a current lies in.
    pub fn of(current: Current) -> Self {
        match current.milliamperes() {
            i if i <= 3.6 => LoopState::FailureLow,
            i if i < 3.8 => LoopState::UndefinedLow,
            i if i < 4.0 => LoopState::Underrange,
            i if i <= 20.0 => LoopState::Measuring,
            i if i <= 20.5 => LoopState::Overrange,
            i if i < 21.0 => LoopState::UndefinedHigh,
            _ => LoopState::FailureHigh,
        }
    }

    /// Whether the current stands for a measured value (3.8 to 20.5 mA).
    pub fn measures(self) -> bool {
        matches!(
            self,
            LoopState::Underrange | LoopState::Measuring | LoopState::Overrange
        )
    }

    /// The name in settings and machine-readable output.
    pub const fn name(self) -> &'static str {
        match self {
            LoopState::FailureLow => "failure_low",
            LoopState::UndefinedLow => "undefined_low",
            LoopState::Underrange => "underrange",
            LoopState::Measuring => "measuring",
            LoopState::Overrange => "overrange",
            LoopState::UndefinedHigh => "undefined_high",
            LoopState::FailureHigh => "failure_high",
        }
    }
}

/// The range that an instrument is set to, in the unit of what it measures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoopRange {
    at_4_ma: f64,
    at_20_ma: f64,
}

/// Why two numbers are not the range of an instrument.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "the loop's range runs from {at_4_ma} to {at_20_ma}; give two different numbers, the values at 4 mA and at 20 mA"
)]
pub struct LoopRangeError {
    /// The value at 4 mA that was given.
    pub at_4_ma: f64,
    /// The value at 20 mA that was given.
    pub at_20_ma: f64,
}

impl LoopRange {
    /// From the values at 4 mA and at 20 mA; the second may be the lower one.
    ///
    /// # Errors
    /// When they are equal or not finite.
    pub fn new(at_4_ma: f64, at_20_ma: f64) -> Result<Self, LoopRangeError> {
        if (at_20_ma - at_4_ma).is_finite() && at_4_ma != at_20_ma {
            Ok(LoopRange { at_4_ma, at_20_ma })
        } else {
            Err(LoopRangeError { at_4_ma, at_20_ma })
        }
    }

    /// The value that a current stands for, whatever its [`LoopState`]: the
    /// value at 4 mA plus (I − 4 mA)/16 mA of the range.
    pub fn value(self, current: Current) -> f64 {
        let share = (current.milliamperes() - 4.0) / 16.0;
        self.at_4_ma + share * (self.at_20_ma - self.at_4_ma)
    }
}

/// What a current says of its instrument, and what its value may be used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoopJudgement {
    /// It measures: the value may be used.
    Measured,
    /// In an undefined band, for a short while: the value is of nothing that was
    /// measured, and the last one that was holds on.
    Held,
    /// It reports a failure: there is no value.
    Failed,
}

/// Judges the currents of an instrument, one after the other.
///
/// A current that measures and one that means failure speak for themselves. In
/// the bands between them, which the recommendation leaves open, the judgement
/// stays as it was for [`UNDEFINED_HOLD`]; then it is failure. Before any
/// judgement it is failure, and after a failure it stays one.
///
/// Own rule: what is held after a measurement is that measurement, and not what
/// the undefined current would stand for. An instrument neither vouches for such
/// a current nor goes beyond 3.8 and 20.5 mA while it measures, so that the
/// current is most likely on its way to failure; where the instrument is asked
/// less often than the hold lasts, one such value would count until the next.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LoopWatch {
    measured: bool,
    undefined_since: Option<Timestamp>,
}

impl LoopWatch {
    /// Takes a current in, in the order of time.
    pub fn step(&mut self, time: Timestamp, current: Current) -> LoopJudgement {
        match LoopState::of(current) {
            LoopState::UndefinedLow | LoopState::UndefinedHigh => {
                let since = *self.undefined_since.get_or_insert(time);
                match self.measured && time - since < UNDEFINED_HOLD {
                    true => LoopJudgement::Held,
                    false => LoopJudgement::Failed,
                }
            }
            state => {
                self.measured = state.measures();
                self.undefined_since = None;
                match self.measured {
                    true => LoopJudgement::Measured,
                    false => LoopJudgement::Failed,
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NAMUR NE 43 thresholds with scaled values; see the head of the file.
    const TABLE: &str = include_str!("../../tests/reference/ne43_4_20mA.csv");

    #[test]
    fn agrees_with_ne_43() {
        let mut reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .from_reader(TABLE.as_bytes());
        let mut seen = std::collections::BTreeSet::new();
        for row in reader.records() {
            let row = row.unwrap();
            let [current, low, high, want] = [0, 1, 2, 3].map(|i| row[i].parse::<f64>().unwrap());
            let current = Current::from_milliamperes(current);
            let got = LoopRange::new(low, high).unwrap().value(current);
            assert!((got - want).abs() < 1e-9, "{row:?} gave {got}");
            let state = LoopState::of(current);
            assert_eq!(row[4].split(' ').next().unwrap(), state.name(), "{row:?}");
            assert_eq!(
                state.measures(),
                row[4].starts_with("measuring") || row[4].contains("(valid")
            );
            seen.insert(state);
        }
        assert_eq!(seen.len(), 7, "every band has a row");
    }

    #[test]
    fn a_range_may_fall_but_not_stand_still() {
        let falling = LoopRange::new(30.0, 0.0).unwrap();
        assert_eq!(falling.value(Current::from_milliamperes(8.0)), 22.5);
        let told = LoopRange::new(5.0, 5.0).unwrap_err().to_string();
        assert!(told.contains("from 5 to 5"), "{told}");
        assert!(LoopRange::new(f64::NAN, 1.0).is_err());
        assert!(LoopRange::new(f64::MIN, f64::MAX).is_err());
    }

    #[test]
    fn an_undefined_band_holds_the_judgement_for_a_while() {
        let mut watch = LoopWatch::default();
        let mut at = |millis: i64, milliamperes: f64| {
            let time = Timestamp::from_millis(millis);
            watch.step(time, Current::from_milliamperes(milliamperes))
        };
        use LoopJudgement::{Failed, Held, Measured};
        // Nothing vouches for the first one.
        assert_eq!(at(0, 3.7), Failed);
        assert_eq!(at(1_000, 12.0), Measured);
        assert_eq!([at(2_000, 3.7), at(5_999, 20.8)], [Held, Held]);
        assert_eq!(at(6_000, 3.7), Failed, "4 s have passed");
        assert_eq!(at(7_000, 3.8), Measured);
        // Up from a failure it stays one until the instrument measures.
        assert_eq!([at(8_000, 3.6), at(9_000, 3.7)], [Failed, Failed]);
        assert_eq!([at(10_000, 4.0), at(11_000, 21.0)], [Measured, Failed]);
    }
}
