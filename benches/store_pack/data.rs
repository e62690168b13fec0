//! Invented values, the same for whoever stores them.

use sumpward::engine::{Quality, Sample, SeriesIx};
use sumpward::units::{Span, Timestamp};

/// The first value's time, ms: 2026-03-02T06:10:00Z.
pub(crate) const START: i64 = 1_772_431_800_000;

/// One value a minute.
pub(crate) const STEP: i64 = 60_000;

#[derive(Debug, Clone, Copy)]
pub(crate) enum Kind {
    /// On the minute, two decimals, slow waves.
    Smooth,
    /// Up to two seconds off the minute, noise of some digits, and a delay that
    /// is never the same.
    Noisy,
}

impl Kind {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Kind::Smooth => "regular grid, smooth",
            Kind::Noisy => "jittered times, noise",
        }
    }

    /// The `n`-th value of a series.
    pub(crate) fn sample(self, series: usize, n: usize) -> Sample {
        let mut dice = Dice::new(series, n);
        let slow = n as f64 / (240.0 + series as f64);
        let wave = 5.0 + slow.sin() + 0.3 * (slow / 7.0).cos();
        let (noise, jitter, delay) = match self {
            Kind::Smooth => (0.0, 0, 0),
            Kind::Noisy => (
                (0..4).map(|_| dice.below(100) as f64 - 49.5).sum::<f64>() / 2_000.0,
                dice.below(4_001) as i64 - 2_000,
                5 + dice.below(36) as i64,
            ),
        };
        Sample {
            series: SeriesIx(series as u32),
            time: Timestamp::from_millis(START + STEP * n as i64 + jitter),
            value: ((wave + noise) * 100.0).round() / 100.0,
            quality: Quality::GOOD,
            delay: Span::from_millis(delay),
        }
    }
}

/// Numbers that look like chance, the same each time (SplitMix64).
struct Dice(u64);

impl Dice {
    fn new(series: usize, n: usize) -> Self {
        Dice(((series as u64) << 40) ^ n as u64)
    }

    fn below(&mut self, end: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % end
    }
}
