//! The EWMA control chart: finds small lasting shifts that no single reading
//! shows.
//!
//! Source: S. W. Roberts (1959), from memory; NIST/SEMATECH e-Handbook of
//! Statistical Methods, section 6.3.2.4, whose example is checked in
//! `tests/reference/nist_ewma.csv`. The handbook prints limits worked out with
//! a rounded factor (47.4115); exact ones differ in the fourth decimal.

use serde::{Deserialize, Serialize};

use super::control::{ChartError, Control, require};

/// Settings of an EWMA chart, checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EwmaSetup {
    lambda: f64,
    target: f64,
    sigma: f64,
    k: f64,
}

impl EwmaSetup {
    /// Weight `lambda` of the newest value, above 0 up to 1 (0.2 to 0.3 is
    /// usual); the `target`; the standard deviation `sigma` of one value about
    /// it, above 0; limits at `k` standard deviations of the average, above 0
    /// (3 is usual).
    ///
    /// # Errors
    /// When one is not so, or not finite.
    pub fn new(lambda: f64, target: f64, sigma: f64, k: f64) -> Result<Self, ChartError> {
        let weight = lambda > 0.0 && lambda <= 1.0;
        Ok(EwmaSetup {
            lambda: require("the weight", lambda, weight, "above 0 and at most 1")?,
            target: require("the target", target, true, "finite")?,
            sigma: require("the standard deviation", sigma, sigma > 0.0, "above 0")?,
            k: require("the factor of the limits", k, k > 0.0, "above 0")?,
        })
    }

    /// Lower and upper limit of the average after many values:
    /// target ∓ k σ √(λ / (2 − λ)).
    pub fn asymptotic_limits(&self) -> (f64, f64) {
        self.limits_with(1.0)
    }

    /// The limits where `share` of the final variance is reached.
    fn limits_with(&self, share: f64) -> (f64, f64) {
        let half = self.k * self.sigma * (self.lambda / (2.0 - self.lambda) * share).sqrt();
        (self.target - half, self.target + half)
    }
}

/// The memory of one EWMA chart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EwmaChart {
    /// None before the first value: it begins at the target.
    average: Option<f64>,
    /// (1 − λ)^2i after i values.
    rest: f64,
}

impl Default for EwmaChart {
    fn default() -> Self {
        EwmaChart {
            average: None,
            rest: 1.0,
        }
    }
}

impl EwmaChart {
    /// Takes in the next value and judges the average by its exact limits. A
    /// value that is not finite is passed over.
    #[inline]
    pub fn step(&mut self, setup: &EwmaSetup, x: f64) -> Control {
        if x.is_finite() {
            let before = self.average(setup);
            self.average = Some(before + setup.lambda * (x - before));
            self.rest *= (1.0 - setup.lambda) * (1.0 - setup.lambda);
        }
        self.judge(setup)
    }

    /// The average as it stands.
    pub fn average(&self, setup: &EwmaSetup) -> f64 {
        self.average.unwrap_or(setup.target)
    }

    /// Lower and upper limit of the average now, after i values:
    /// target ∓ k σ √(λ / (2 − λ) (1 − (1 − λ)^2i)). They are narrower than the
    /// asymptotic ones, so that an early shift is not overlooked.
    pub fn limits(&self, setup: &EwmaSetup) -> (f64, f64) {
        setup.limits_with(1.0 - self.rest)
    }

    fn judge(&self, setup: &EwmaSetup) -> Control {
        let (low, high) = self.limits(setup);
        match self.average(setup) {
            average if average > high => Control::Above,
            average if average < low => Control::Below,
            _ => Control::Within,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Rows of the handbook's example: i, x, printed and exact average.
    fn reference() -> Vec<[f64; 4]> {
        let rows = include_str!("../../tests/reference/nist_ewma.csv").lines();
        let rows = rows.filter(|line| line.starts_with(|c: char| c.is_ascii_digit()));
        rows.map(|line| {
            let mut cells = line.split(',').map(|cell| cell.parse().unwrap());
            std::array::from_fn(|_| cells.next().unwrap())
        })
        .collect()
    }

    fn handbook() -> EwmaSetup {
        EwmaSetup::new(0.3, 50.0, 2.0539, 3.0).unwrap()
    }

    #[test]
    fn every_row_of_the_handbooks_example() {
        let mut chart = EwmaChart::default();
        let rows = reference();
        assert_eq!(rows.len(), 20);
        for [i, x, printed, exact] in rows {
            // The exact limits are narrower at first, and no point is outside.
            assert_eq!(chart.step(&handbook(), x), Control::Within, "row {i}");
            let average = chart.average(&handbook());
            assert!((average - exact).abs() < 5.1e-7, "row {i}: {average}");
            assert!((average - printed).abs() < 0.0051, "row {i}: {average}");
        }
    }

    #[test]
    fn asymptotic_limits_are_the_handbooks() {
        let (low, high) = handbook().asymptotic_limits();
        assert!((low - 47.411_568).abs() < 5e-7 && (high - 52.588_432).abs() < 5e-7);
        assert!((low - 47.4115).abs() < 1e-4 && (high - 52.5884).abs() < 1e-4);
    }

    #[test]
    fn limits_widen_from_those_of_one_value_to_the_asymptotic_ones() {
        let mut chart = EwmaChart::default();
        chart.step(&handbook(), 50.0);
        let (_, high) = chart.limits(&handbook());
        // Of λ times one value: k λ σ.
        assert!((high - (50.0 + 3.0 * 0.3 * 2.0539)).abs() < 1e-12);
        for _ in 0..200 {
            chart.step(&handbook(), 50.0);
        }
        assert_eq!(chart.limits(&handbook()), handbook().asymptotic_limits());
    }

    #[test]
    fn a_lasting_shift_of_one_sigma_is_found_on_its_side() {
        for (side, shift) in [(Control::Above, 2.0539), (Control::Below, -2.0539)] {
            let mut chart = EwmaChart::default();
            let found = (0..100).find(|_| chart.step(&handbook(), 50.0 + shift) == side);
            assert!(found.is_none(), "one sigma reaches 1 of 1.26 sigmas only");
            let found = (0..10).find(|_| chart.step(&handbook(), 50.0 + 2.0 * shift) == side);
            assert!(found.is_some());
        }
    }

    #[test]
    fn what_cannot_be_drawn_is_refused() {
        for (lambda, sigma, k) in [
            (0.0, 1.0, 3.0),
            (1.1, 1.0, 3.0),
            (0.3, 0.0, 3.0),
            (0.3, 1.0, f64::NAN),
        ] {
            let error = EwmaSetup::new(lambda, 0.0, sigma, k).unwrap_err();
            assert!(error.to_string().contains("must be"), "{error}");
        }
        assert!(EwmaSetup::new(0.3, f64::INFINITY, 1.0, 3.0).is_err());
    }

    proptest! {
        #[test]
        fn goes_on_from_its_memory(xs in prop::collection::vec(-1e3f64..1e3, 1..40), cut in 0usize..40) {
            let setup = handbook();
            let (mut whole, mut parts) = (EwmaChart::default(), EwmaChart::default());
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
        fn what_is_no_number_changes_nothing(x in -1e3f64..1e3) {
            let mut chart = EwmaChart::default();
            chart.step(&handbook(), x);
            let before = chart;
            chart.step(&handbook(), f64::NAN);
            prop_assert_eq!(chart, before);
        }
    }
}
