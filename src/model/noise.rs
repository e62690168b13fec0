//! How much a series of points scatters, learned from the points themselves.

use serde::{Deserialize, Serialize};

/// Points over which a change of the scatter is learned.
const POINTS: f64 = 300.0;
/// A difference counts for at most so many times the mean one: steps and spikes
/// are no scatter.
const MOST: f64 = 3.5;
/// The scatter is never taken for less than this share of what it was taken
/// for to begin with: points that do not move say nothing about their error.
const LEAST: f64 = 0.2;

/// Mean size of the difference of neighbours. For independent, normally
/// distributed errors of deviation σ it is 2σ/√π.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Noise {
    start: f64,
    mean_difference: f64,
    last: Option<f64>,
}

impl Noise {
    /// To begin with, points are taken to err by `deviation`.
    pub(super) fn new(deviation: f64) -> Self {
        Noise {
            start: deviation,
            mean_difference: deviation * 2.0 / std::f64::consts::PI.sqrt(),
            last: None,
        }
    }

    /// Takes in the next point.
    pub(super) fn step(&mut self, value: f64) {
        if let Some(last) = self.last.replace(value) {
            let difference = (value - last).abs().min(MOST * self.mean_difference);
            self.mean_difference += (difference - self.mean_difference) / POINTS;
        }
    }

    /// The next point has no neighbour.
    pub(super) fn interrupt(&mut self) {
        self.last = None;
    }

    /// Variance of one point.
    pub(super) fn variance(&self) -> f64 {
        let deviation = self.mean_difference * std::f64::consts::PI.sqrt() / 2.0;
        deviation.max(LEAST * self.start).powi(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn learns_the_scatter_and_is_not_misled_by_steps() {
        // Sums of twelve even numbers out of a simple congruential generator.
        let mut seed = 1_u64;
        let mut even = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
            (seed >> 40) as f64 / (1_u64 << 24) as f64
        };
        let mut noise = Noise::new(3.0);
        for i in 0..4000 {
            let error = (0..12).map(|_| even()).sum::<f64>() - 6.0;
            let step = if i % 100 < 50 { 0.0 } else { 40.0 };
            noise.step(100.0 + step + error);
        }
        let deviation = noise.variance().sqrt();
        assert!((deviation - 1.0).abs() < 0.12, "{deviation}");
    }
}
