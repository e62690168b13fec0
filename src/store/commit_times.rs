//! How long commits took, counted in steps.

use std::sync::atomic::AtomicU64;
use std::sync::atomic::Ordering::Relaxed;
use std::time::Duration;

/// Upper ends of the steps, µs. Choice: from a commit into a disk's cache to one
/// that a person notices.
const BOUNDS_US: [u64; 13] = [
    500, 1_000, 2_000, 5_000, 10_000, 20_000, 50_000, 100_000, 200_000, 500_000, 1_000_000,
    2_000_000, 5_000_000,
];

/// How long commits took since the start, readable from anywhere.
#[derive(Debug, Default)]
pub struct CommitTimes {
    counts: [AtomicU64; BOUNDS_US.len() + 1],
    sum_us: AtomicU64,
}

impl CommitTimes {
    /// One took so long.
    pub fn observe(&self, time: Duration) {
        let micros = u64::try_from(time.as_micros()).unwrap_or(u64::MAX);
        let step = BOUNDS_US.partition_point(|bound| *bound < micros);
        self.counts[step].fetch_add(1, Relaxed);
        self.sum_us.fetch_add(micros, Relaxed);
    }

    /// Upper end of each step in seconds, the last without end, and how many
    /// commits fell into it.
    pub fn steps(&self) -> Vec<(f64, u64)> {
        let bounds = BOUNDS_US.iter().map(|micros| *micros as f64 / 1e6);
        let bounds = bounds.chain([f64::INFINITY]);
        let counts = self.counts.iter().map(|count| count.load(Relaxed));
        bounds.zip(counts).collect()
    }

    /// All commits together, s.
    pub fn sum_s(&self) -> f64 {
        self.sum_us.load(Relaxed) as f64 / 1e6
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_commit_falls_into_the_first_step_that_holds_it() {
        let times = CommitTimes::default();
        for micros in [0, 500, 501, 20_000, 9_000_000] {
            times.observe(Duration::from_micros(micros));
        }
        let filled: Vec<_> = times.steps().into_iter().filter(|(_, n)| *n > 0).collect();
        assert_eq!(
            filled,
            [(0.0005, 2), (0.001, 1), (0.02, 1), (f64::INFINITY, 1)]
        );
        assert!((times.sum_s() - 9.021_001).abs() < 1e-9);
    }
}
