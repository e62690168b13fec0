//! Exponential smoothing of readings that come at irregular times.

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

/// A first-order low-pass filter: y ← y + (1 − e^(−Δt/τ)) (x − y). At a regular
/// interval Δt it is the usual EWMA with α = 1 − e^(−Δt/τ).
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub struct Smoother {
    last: Option<(Timestamp, f64)>,
}

impl Smoother {
    /// Takes in the next reading, not older than the one before; returns the
    /// smoothed value. `tau` is the time constant; zero passes `x` through.
    #[inline]
    pub fn step(&mut self, tau: Span, time: Timestamp, x: f64) -> f64 {
        let y = match self.last {
            Some((before, y)) if tau > Span::ZERO => {
                let dt = (time - before).secs_f64().max(0.0);
                y + (1.0 - (-dt / tau.secs_f64()).exp()) * (x - y)
            }
            _ => x,
        };
        self.last = Some((time, y));
        y
    }

    /// The smoothed value, if there was a reading yet.
    pub fn value(&self) -> Option<f64> {
        self.last.map(|(_, y)| y)
    }

    /// Forgets everything: the signal starts anew.
    pub fn clear(&mut self) {
        self.last = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn agrees_with_the_check_table() {
        let interval = Span::from_secs(60);
        let tau = Span::from_millis((-60_000.0 / 0.7f64.ln()).round() as i64);
        let mut smoother = Smoother::default();
        let mut rows = 0;
        for line in include_str!("../../tests/reference/filters_small.csv").lines() {
            let cells: Vec<&str> = line.split(',').collect();
            let Ok(i) = cells[0].parse::<i64>() else {
                continue;
            };
            let time = Timestamp::from_millis(i * interval.millis());
            let y = smoother.step(tau, time, cells[1].parse().unwrap());
            let expected: f64 = cells[7].parse().unwrap();
            // τ is a whole number of milliseconds, hence not 1e-8.
            assert!((y - expected).abs() < 1e-5, "row {i}: {y} {expected}");
            rows += 1;
        }
        assert_eq!(rows, 24);
    }

    proptest! {
        #[test]
        fn stays_between_what_it_saw(xs in prop::collection::vec(-100f64..100.0, 1..50), tau in 0i64..1_000_000) {
            let mut smoother = Smoother::default();
            let (lo, hi) = xs.iter().fold((f64::MAX, f64::MIN), |(l, h), &x| (l.min(x), h.max(x)));
            for (i, &x) in xs.iter().enumerate() {
                let y = smoother.step(Span::from_millis(tau), Timestamp::from_millis(i as i64 * 7000), x);
                prop_assert!(y >= lo - 1e-9 && y <= hi + 1e-9);
            }
        }
    }
}
