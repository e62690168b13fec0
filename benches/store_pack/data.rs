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
    /// As the engine keeps what it works out: on the minute, concentrations to three
    /// decimals and volumes to two, whose last digits are noise.
    Estimated,
    /// Levels that come in tenths of a millimetre and are kept in metres, on the minute
    /// with noise: a floating-point number or two beside the decimal one.
    Converted,
}

impl Kind {
    pub(crate) const ALL: [Kind; 4] = [Kind::Smooth, Kind::Noisy, Kind::Estimated, Kind::Converted];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Kind::Smooth => "regular grid, smooth",
            Kind::Noisy => "jittered times, noise",
            Kind::Estimated => "estimates: concentrations and volumes",
            Kind::Converted => "converted: levels in metres that came in millimetres",
        }
    }

    /// The `n`-th value of a series.
    pub(crate) fn sample(self, series: usize, n: usize) -> Sample {
        let mut dice = Dice::new(series, n);
        let slow = n as f64 / (240.0 + series as f64);
        let wave = 5.0 + slow.sin() + 0.3 * (slow / 7.0).cos();
        // Of standard deviation 1, nearly.
        let noise = (0..4).map(|_| dice.below(100) as f64 - 49.5).sum::<f64>() / 57.7;
        let to = |decimals: i32, value: f64| {
            let scale = 10f64.powi(decimals);
            (value * scale).round() / scale
        };
        let value = match self {
            Kind::Smooth => to(2, wave),
            Kind::Noisy => to(2, wave + 0.029 * noise),
            Kind::Estimated if series.is_multiple_of(2) => to(3, wave + 0.02 * noise),
            Kind::Estimated => to(2, 700.0 + 20.0 * wave + 0.6 * noise),
            Kind::Converted => to(1, 400.0 + 20.0 * wave + 0.5 * noise) * 0.001,
        };
        let (jitter, delay) = match self {
            Kind::Noisy => (dice.below(4_001) as i64 - 2_000, 5 + dice.below(36) as i64),
            _ => (0, 0),
        };
        Sample {
            series: SeriesIx(series as u32),
            time: Timestamp::from_millis(START + STEP * n as i64 + jitter),
            value,
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
