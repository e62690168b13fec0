//! Drift told by hand readings: the differences lie on one side and grow.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

/// So many differences in a row make a drift. Memory: two are chance.
const IN_A_ROW: usize = 3;
/// The newest must be at least this share of what a hand reading may differ:
/// a quarter of any three differences on one side grow by chance. Choice.
const WORTH_TELLING: f64 = 0.5;

/// An instrument held against a hand reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compared {
    /// When.
    pub time: Timestamp,
    /// Instrument less hand, in the quantity's unit.
    pub difference: f64,
}

/// A drift that hand readings show.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// The first of the comparisons that show it.
    pub since: Timestamp,
    /// The newest difference, instrument less hand, in the quantity's unit.
    pub difference: f32,
    /// Whether that is more than a hand reading may differ, or doubted beside that.
    pub beyond: bool,
}

impl Drift {
    /// The drift that comparisons since the probe was last touched show, oldest
    /// first. One difference beyond `tolerance`, or that is `doubted` for another
    /// reason, is enough; within it three on one side must grow.
    pub fn told_by(compared: &[Compared], tolerance: f64, doubted: bool) -> Option<Drift> {
        let newest = compared.last()?;
        let beyond = doubted || newest.difference.abs() > tolerance;
        let run = compared.iter().rev();
        let run: Vec<&Compared> = run
            .take_while(|one| one.difference * newest.difference > 0.0)
            .take(IN_A_ROW)
            .collect();
        let grows = run.len() == IN_A_ROW
            && run
                .windows(2)
                .all(|pair| pair[0].difference.abs() > pair[1].difference.abs())
            && newest.difference.abs() >= WORTH_TELLING * tolerance;
        let since = if grows { run.last()?.time } else { newest.time };
        (beyond || grows).then_some(Drift {
            since,
            difference: newest.difference as f32,
            beyond,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(differences: &[f64]) -> Option<Drift> {
        let compared: Vec<Compared> = (0..)
            .zip(differences)
            .map(|(day, &difference)| Compared {
                time: Timestamp::from_millis(day * 86_400_000),
                difference,
            })
            .collect();
        Drift::told_by(&compared, 0.3, false)
    }

    fn day(day: i64) -> Timestamp {
        Timestamp::from_millis(day * 86_400_000)
    }

    #[test]
    fn three_that_grow_on_one_side_are_a_drift() {
        let drift = told(&[0.2, -0.05, -0.1, -0.2]).unwrap();
        let want = Drift {
            since: day(1),
            difference: -0.2,
            beyond: false,
        };
        assert_eq!(drift, want);
    }

    #[test]
    fn what_is_no_drift() {
        assert_eq!(told(&[]), None);
        assert_eq!(told(&[0.1, 0.2]), None, "two are chance");
        assert_eq!(told(&[0.05, -0.1, 0.2]), None, "on both sides");
        assert_eq!(told(&[0.1, 0.25, 0.2]), None, "it no longer grows");
        assert_eq!(told(&[0.01, 0.02, 0.03]), None, "too small");
        assert_eq!(told(&[0.0, 0.1, 0.2]), None, "one is on no side");
    }

    #[test]
    fn one_beyond_tolerance_is_enough() {
        let drift = told(&[0.1, -0.31]).unwrap();
        assert!(drift.beyond && drift.since == day(1));
        let drift = told(&[0.1, 0.2, 0.31]).unwrap();
        assert!(drift.beyond && drift.since == day(0), "it began before");
    }
}
