//! The tabular CUSUM: adds up how far values lie beyond what chance allows, and
//! says when it is too much.
//!
//! Source: E. S. Page (1954), from memory; NIST/SEMATECH e-Handbook of
//! Statistical Methods, section 6.3.2.3, whose example is checked in
//! `tests/reference/nist_cusum.csv`. The fast initial response is that of
//! J. M. Lucas and R. B. Crosier (1982), from memory.

use serde::{Deserialize, Serialize};

use super::control::{ChartError, Control, require};

/// How a CUSUM begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum HeadStart {
    /// At nothing.
    #[default]
    None,
    /// Fast initial response: both sums begin at half of the decision interval,
    /// so that a process that begins off its target is found sooner.
    Half,
}

/// Settings of a CUSUM, checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CusumSetup {
    target: f64,
    reference: f64,
    decision: f64,
    head_start: HeadStart,
}

impl CusumSetup {
    /// The `target`; the `reference` value k, at least 0, usually half of the
    /// shift to be found; the `decision` interval h, above 0, usually four to
    /// five standard deviations. All in the value's unit.
    ///
    /// # Errors
    /// When one is not so, or not finite.
    pub fn new(
        target: f64,
        reference: f64,
        decision: f64,
        head_start: HeadStart,
    ) -> Result<Self, ChartError> {
        let some = reference >= 0.0;
        Ok(CusumSetup {
            target: require("the target", target, true, "finite")?,
            reference: require("the reference value", reference, some, "at least 0")?,
            decision: require("the decision interval", decision, decision > 0.0, "above 0")?,
            head_start,
        })
    }

    fn first(&self) -> Side {
        let sum = match self.head_start {
            HeadStart::None => 0.0,
            HeadStart::Half => 0.5 * self.decision,
        };
        Side { sum, run: 0 }
    }
}

/// One of the two sums.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Side {
    sum: f64,
    /// Values since the sum was last zero.
    run: u32,
}

impl Side {
    #[inline]
    fn step(&mut self, beyond: f64) {
        self.sum = (self.sum + beyond).max(0.0);
        self.run = if self.sum > 0.0 {
            self.run.saturating_add(1)
        } else {
            0
        };
    }
}

/// The memory of one CUSUM.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Cusum {
    /// High and low; none before the first value.
    sides: Option<(Side, Side)>,
}

impl Cusum {
    /// Takes in the next value. It goes on saying that the process is off its
    /// target until that is put right or the chart is begun anew. A value that
    /// is not finite is passed over.
    #[inline]
    pub fn step(&mut self, setup: &CusumSetup, x: f64) -> Control {
        let first = setup.first();
        let (high, low) = self.sides.get_or_insert((first, first));
        if x.is_finite() {
            high.step(x - setup.target - setup.reference);
            low.step(setup.target - setup.reference - x);
        }
        match (high.sum > setup.decision, low.sum > setup.decision) {
            (true, false) => Control::Above,
            (false, true) => Control::Below,
            (true, true) if high.sum >= low.sum => Control::Above,
            (true, true) => Control::Below,
            (false, false) => Control::Within,
        }
    }

    /// High and low sum, in the value's unit.
    pub fn sums(&self) -> (f64, f64) {
        self.sides
            .map_or((0.0, 0.0), |(high, low)| (high.sum, low.sum))
    }

    /// How many values ago the higher of the sums was last zero: about then the
    /// process left its target.
    pub fn began_ago(&self) -> u32 {
        self.larger().map_or(0, |(side, _)| side.run)
    }

    /// How far the process lies from its target, by the higher of the sums:
    /// ±(k + S / values since it was zero), in the value's unit. D. C.
    /// Montgomery, "Introduction to statistical quality control", from memory.
    /// Not to be asked within a head start.
    pub fn shift(&self, setup: &CusumSetup) -> Option<f64> {
        let (side, sign) = self.larger()?;
        (side.run > 0).then(|| sign * (setup.reference + side.sum / f64::from(side.run)))
    }

    /// The process was put right: begins as at first.
    pub fn restart(&mut self) {
        self.sides = None;
    }

    fn larger(&self) -> Option<(Side, f64)> {
        let (high, low) = self.sides?;
        Some(if high.sum >= low.sum {
            (high, 1.0)
        } else {
            (low, -1.0)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Rows of the handbook's example: i, x, high and low as printed, high and
    /// low exact, cumulative sum.
    fn reference() -> Vec<[f64; 7]> {
        let rows = include_str!("../../tests/reference/nist_cusum.csv").lines();
        let rows = rows.filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
        rows.map(|line| {
            let mut cells = line.split(',').map(|cell| cell.parse().unwrap());
            std::array::from_fn(|_| cells.next().unwrap())
        })
        .collect()
    }

    fn handbook(head_start: HeadStart) -> CusumSetup {
        CusumSetup::new(325.0, 0.3175, 4.1959, head_start).unwrap()
    }

    #[test]
    fn every_row_of_the_handbooks_example() {
        let setup = handbook(HeadStart::None);
        let mut cusum = Cusum::default();
        let mut sum = 0.0;
        let rows = reference();
        assert_eq!(rows.len(), 20);
        for [i, x, high_printed, low_printed, high, low, cumulative] in rows {
            let said = cusum.step(&setup, x);
            let expected = if i < 14.0 {
                Control::Within
            } else {
                Control::Above
            };
            assert_eq!(said, expected, "row {i}");
            let found = cusum.sums();
            assert!((found.0 - high).abs() < 1e-9, "row {i}: {found:?}");
            assert!((found.1 - low).abs() < 1e-9, "row {i}: {found:?}");
            assert!((found.0 - high_printed).abs() < 0.0051, "row {i}");
            assert!((found.1 - low_printed).abs() < 0.0051, "row {i}");
            sum += x - 325.0;
            assert!((sum - cumulative).abs() < 1e-9, "row {i}");
        }
        // The sum left zero with row 13, eight values ago; by then the mean had
        // moved by k + 19.035 / 8.
        assert_eq!(cusum.began_ago(), 8);
        let shift = cusum.shift(&setup).unwrap();
        assert!((shift - (0.3175 + 19.035 / 8.0)).abs() < 1e-9, "{shift}");
    }

    #[test]
    fn a_head_start_finds_sooner_what_begins_off_its_target() {
        let steps = |head_start| {
            let mut cusum = Cusum::default();
            let setup = handbook(head_start);
            (1..).find(|_| cusum.step(&setup, 326.0) == Control::Above)
        };
        // 0.6825 a step: seven to reach 4.1959, four from 2.09795.
        assert_eq!(steps(HeadStart::None), Some(7));
        assert_eq!(steps(HeadStart::Half), Some(4));
    }

    #[test]
    fn a_head_start_dies_away_on_target() {
        let mut cusum = Cusum::default();
        let setup = handbook(HeadStart::Half);
        assert!((0..20).all(|_| cusum.step(&setup, 325.0) == Control::Within));
        assert_eq!((cusum.sums(), cusum.began_ago()), ((0.0, 0.0), 0));
    }

    #[test]
    fn falls_are_found_and_a_restart_forgets_them() {
        let setup = handbook(HeadStart::None);
        let mut cusum = Cusum::default();
        let said: Vec<_> = (0..7).map(|_| cusum.step(&setup, 324.0)).collect();
        assert_eq!(said.last(), Some(&Control::Below));
        assert!((cusum.shift(&setup).unwrap() + 1.0).abs() < 1e-9);
        cusum.restart();
        assert_eq!(cusum, Cusum::default());
        assert_eq!(cusum.shift(&setup), None);
    }

    #[test]
    fn what_cannot_be_drawn_is_refused() {
        let new = |k, h| CusumSetup::new(0.0, k, h, HeadStart::None);
        assert!(new(-0.1, 1.0).is_err() && new(0.5, 0.0).is_err());
        assert!(new(f64::NAN, 1.0).is_err());
        assert!(CusumSetup::new(f64::NAN, 0.5, 4.0, HeadStart::None).is_err());
    }

    proptest! {
        #[test]
        fn goes_on_from_its_memory(xs in prop::collection::vec(320f64..330.0, 1..40), cut in 0usize..40) {
            let setup = handbook(HeadStart::Half);
            let (mut whole, mut parts) = (Cusum::default(), Cusum::default());
            for (i, &x) in xs.iter().enumerate() {
                if i == cut {
                    let text = serde_json::to_string(&parts).unwrap();
                    parts = serde_json::from_str(&text).unwrap();
                }
                prop_assert_eq!(whole.step(&setup, x), parts.step(&setup, x));
            }
            prop_assert_eq!(whole, parts);
        }

        #[test]
        fn the_two_sides_mirror_each_other(xs in prop::collection::vec(-5f64..5.0, 1..60)) {
            let setup = CusumSetup::new(0.0, 0.5, 4.0, HeadStart::None).unwrap();
            let (mut plain, mut turned) = (Cusum::default(), Cusum::default());
            for &x in &xs {
                plain.step(&setup, x);
                turned.step(&setup, -x);
            }
            let (high, low) = plain.sums();
            prop_assert_eq!(turned.sums(), (low, high));
        }
    }
}
