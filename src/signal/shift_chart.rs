//! A control chart that learns what is usual and then says when the values have
//! shifted: a tabular CUSUM with a run-in.
//!
//! Slack and decision interval are in standard deviations of one value. For
//! values that do not depend on each other 0.5 and 5 are usual (NIST/SEMATECH
//! e-Handbook, section 6.3.2.3, has 0.5 and 4 to 5); values of successive days
//! do depend on each other, so that a chart of them needs more slack.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

use super::control::Control;
use super::cusum::{Cusum, CusumSetup, HeadStart};

/// So many values in a row within the slack put a shifted process right.
/// Choice: one may be chance.
const PUT_RIGHT: u16 = 2;

/// How a chart is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShiftSetup {
    /// So many values are learned from, at least 2.
    pub run_in: u16,
    /// What is let pass, in standard deviations, at least 0.
    pub slack_sigmas: f64,
    /// The sum that is too much, in standard deviations, above 0.
    pub limit_sigmas: f64,
    /// The standard deviation is taken to be at least this, above 0, in the
    /// value's unit.
    pub least_sigma: f64,
    /// What the values are to be; none where that is learned too.
    pub target: Option<f64>,
    /// After so many values beyond what is usual that is taken to be usual, and
    /// learned anew.
    pub let_go_after: Option<u16>,
}

/// The memory of one chart: fixed.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ShiftChart {
    /// Values learned from, their mean, and the sum of their squared distances
    /// from it (B. P. Welford, 1962, from memory).
    count: u16,
    mean: f64,
    squares: f64,
    cusum: Cusum,
    /// When the high and the low sum left zero.
    left: [Option<Timestamp>; 2],
    shifted: Option<Shift>,
    /// Values within the slack in a row, and all, since it shifted.
    near: u16,
    stood: u16,
}

/// How far the values have shifted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Shift {
    /// By how much, in the value's unit.
    pub by: f64,
    /// What is let pass, in the value's unit.
    pub slack: f64,
    /// About since when.
    pub since: Timestamp,
}

impl ShiftChart {
    /// A chart of values whose mean and standard deviation are known.
    pub fn known(setup: &ShiftSetup, mean: f64, sigma: f64) -> Self {
        let count = setup.run_in.max(2);
        ShiftChart {
            count,
            mean,
            squares: sigma * sigma * f64::from(count - 1),
            ..ShiftChart::default()
        }
    }

    /// Takes in the next value. One that is not finite is passed over.
    pub fn step(&mut self, setup: &ShiftSetup, time: Timestamp, value: f64) {
        if !value.is_finite() {
            return;
        }
        if self.count < setup.run_in.max(2) {
            self.learn(value);
            return;
        }
        let sigma = self.sigma(setup);
        let center = setup.target.unwrap_or(self.mean);
        let slack = setup.slack_sigmas * sigma;
        let limit = setup.limit_sigmas * sigma;
        let Ok(chart) = CusumSetup::new(center, slack, limit, HeadStart::None) else {
            return;
        };
        let control = self.cusum.step(&chart, value);
        self.note_beginnings(time);
        let side = match control {
            Control::Above => Some(0),
            Control::Below => Some(1),
            Control::Within => None,
        };
        if let Some(side) = side {
            self.shifted = Some(Shift {
                by: self.cusum.shift(&chart).unwrap_or(value - center),
                slack,
                since: self.left[side].unwrap_or(time),
            });
        }
        if self.shifted.is_some() {
            let near = (value - center).abs() <= slack;
            self.look_back(setup, near);
        }
    }

    /// How far the values have shifted, where they have.
    pub fn shift(&self) -> Option<Shift> {
        self.shifted
    }

    /// Learns anew what is usual.
    pub fn begin_anew(&mut self) {
        *self = ShiftChart::default();
    }

    fn learn(&mut self, value: f64) {
        self.count += 1;
        let before = value - self.mean;
        self.mean += before / f64::from(self.count);
        self.squares += before * (value - self.mean);
    }

    fn sigma(&self, setup: &ShiftSetup) -> f64 {
        let variance = self.squares / f64::from(self.count.saturating_sub(1).max(1));
        variance.max(0.0).sqrt().max(setup.least_sigma)
    }

    fn note_beginnings(&mut self, time: Timestamp) {
        let (high, low) = self.cusum.sums();
        for (left, sum) in self.left.iter_mut().zip([high, low]) {
            *left = (sum > 0.0).then(|| left.unwrap_or(time));
        }
    }

    /// Whether it was put right, or has stood so long that it is usual.
    fn look_back(&mut self, setup: &ShiftSetup, near: bool) {
        self.near = if near { self.near + 1 } else { 0 };
        self.stood = self.stood.saturating_add(1);
        if self.near >= PUT_RIGHT {
            self.cusum.restart();
            self.left = [None; 2];
            self.shifted = None;
            (self.near, self.stood) = (0, 0);
        } else if setup.let_go_after.is_some_and(|after| self.stood > after) {
            self.begin_anew();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;
    use proptest::prelude::*;

    const SETUP: ShiftSetup = ShiftSetup {
        run_in: 20,
        slack_sigmas: 1.5,
        limit_sigmas: 5.0,
        least_sigma: 0.01,
        target: None,
        let_go_after: Some(20),
    };

    fn day(place: usize) -> Timestamp {
        Timestamp::from_millis(1_772_409_600_000) + Span::from_hours(24 * place as i64)
    }

    /// Values of some days: a wave about 9.2 with a standard deviation of 0.05.
    fn usual(place: usize) -> f64 {
        9.2 + 0.07 * (place as f64 * 1.3).sin()
    }

    fn learned() -> ShiftChart {
        let mut chart = ShiftChart::default();
        (0..20).for_each(|place| chart.step(&SETUP, day(place), usual(place)));
        chart
    }

    #[test]
    fn a_shift_is_told_by_its_size_and_beginning_and_the_usual_is_not() {
        let mut chart = learned();
        (20..80).for_each(|place| {
            chart.step(&SETUP, day(place), usual(place));
            assert_eq!(chart.shift(), None, "{place}");
        });
        // Down by 0.25, five standard deviations.
        let told = (80..100).find(|place| {
            chart.step(&SETUP, day(*place), usual(*place) - 0.25);
            chart.shift().is_some()
        });
        assert!(told.is_some_and(|told| told <= 83), "{told:?}");
        let shift = chart.shift().unwrap();
        assert!((shift.by + 0.25).abs() < 0.1, "{shift:?}");
        assert!(
            shift.since >= day(79) && shift.since <= day(82),
            "{shift:?}"
        );
    }

    #[test]
    fn two_values_within_the_slack_put_it_right() {
        let mut chart = learned();
        (20..25).for_each(|place| chart.step(&SETUP, day(place), 8.8));
        assert!(chart.shift().is_some());
        chart.step(&SETUP, day(25), 9.2);
        assert!(chart.shift().is_some(), "one may be chance");
        chart.step(&SETUP, day(26), 9.2);
        assert_eq!(chart.shift(), None);
        chart.step(&SETUP, day(27), 9.2);
        assert_eq!(chart.shift(), None);
    }

    #[test]
    fn what_stands_for_long_is_learned_as_usual() {
        let mut chart = learned();
        (20..45).for_each(|place| chart.step(&SETUP, day(place), usual(place) - 0.4));
        assert_eq!(chart.shift(), None, "it is learned anew");
        (45..90).for_each(|place| {
            chart.step(&SETUP, day(place), usual(place) - 0.4);
            assert_eq!(chart.shift(), None);
        });
    }

    #[test]
    fn a_target_is_held_against_and_not_learned() {
        let setup = ShiftSetup {
            target: Some(9.0),
            let_go_after: None,
            ..SETUP
        };
        let mut chart = ShiftChart::default();
        (0..60).for_each(|place| chart.step(&setup, day(place), usual(place)));
        assert!(chart.shift().is_some_and(|shift| shift.by > 0.1));
    }

    #[test]
    fn values_without_scatter_are_let_move_by_the_least() {
        let mut chart = ShiftChart::default();
        (0..20).for_each(|place| chart.step(&SETUP, day(place), 9.2));
        (20..40).for_each(|place| chart.step(&SETUP, day(place), 9.21));
        assert_eq!(chart.shift(), None, "a digit is nothing");
        (40..44).for_each(|place| chart.step(&SETUP, day(place), 9.3));
        assert!(chart.shift().is_some());
    }

    proptest! {
        #[test]
        fn goes_on_from_its_memory(xs in prop::collection::vec(8f64..10.0, 1..80), cut in 0usize..80) {
            let (mut whole, mut parts) = (ShiftChart::default(), ShiftChart::default());
            for (place, &x) in xs.iter().enumerate() {
                if place == cut {
                    let text = serde_json::to_string(&parts).unwrap();
                    parts = serde_json::from_str(&text).unwrap();
                }
                whole.step(&SETUP, day(place), x);
                parts.step(&SETUP, day(place), x);
            }
            prop_assert_eq!(whole, parts);
        }
    }
}
