//! A month of a sump without any fault, as its instruments report it.

use super::instrument_status::{DAY, HOUR, PH, PUMP, THERMOMETER, bench};
use super::*;

/// A plain source of noise: a linear congruence (Knuth's MMIX constants, from
/// memory), its upper bits summed twelve at a time to nearly a normal variate.
struct Noise(u64);

impl Noise {
    fn share(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self, sigma: f64) -> f64 {
        let sum: f64 = (0..12).map(|_| self.share()).sum();
        sigma * (sum - 6.0)
    }
}

/// To the digits that an instrument sends.
fn digits(value: f64, step: f64) -> f64 {
    (value / step).round() * step
}

/// A month of two shifts on working days, with losses, additions, bubbles,
/// lost echoes and hand readings. Where `switch` is false nobody tells of the
/// pumps.
fn month(seed: u64, switch: bool) {
    let mut bench = bench();
    let mut noise = Noise(seed);
    let (mut volume, mut mass) = (0.9, 0.9 * 7.2);
    for m in 0..30 * DAY {
        let (day, hour) = (m / DAY, m / HOUR % 24);
        // The bench begins at six on a Monday.
        let runs = day % 7 < 5 && hour < 16;
        if switch && m % HOUR == 0 {
            bench.read(PUMP, minute(m), f64::from(u8::from(runs)));
        }
        if runs {
            // 1.5 % a working day evaporates, 0.5 % is carried off.
            volume -= 0.9 * 0.02 / (16.0 * 60.0);
            mass -= mass / volume * 0.9 * 0.005 / (16.0 * 60.0);
        }
        if runs && hour == 1 && m % HOUR == 0 && volume < 0.84 {
            (volume, mass) = (0.9, mass + (0.9 - volume) * 3.0);
        }
        let brix = mass / volume;
        let stirred = if runs { 1.0 } else { 0.1 };
        let bubble = if runs && noise.share() < 0.05 {
            -2.0
        } else {
            0.0
        };
        let seen = brix + noise.normal(0.03 * stirred) + bubble;
        bench.read(BRIX, minute(m), digits(seen, 0.01));
        let lost = runs && noise.share() < 0.005;
        let drained = if runs { 0.0 } else { 0.04 };
        let level = volume + drained + noise.normal(0.004 * stirred);
        bench.read(
            LEVEL,
            minute(m),
            if lost { 40.0 } else { digits(level, 0.001) },
        );
        let warm = if runs { 26.0 } else { 22.0 };
        let warm = warm + noise.normal(0.05);
        bench.read(THERMOMETER, minute(m), digits(warm, 0.1));
        bench.read(
            PH,
            minute(m),
            digits(9.1 + noise.normal(0.02 * stirred), 0.01),
        );
        if m % (7 * DAY) == 2 * HOUR {
            let by_hand = digits(brix + noise.normal(0.08), 0.1);
            bench.by_hand(&format!("week-{day}"), minute(m), by_hand);
        }
        for channel in [BRIX, LEVEL, THERMOMETER, PH] {
            let judged = bench.watch.instrument_judgement(usize::from(channel));
            assert_eq!(
                judged.reason, None,
                "channel {channel}, day {day}, {hour} h"
            );
        }
        bench.effects.clear();
    }
}

#[test]
fn a_month_of_usual_noise_tells_nothing() {
    for seed in 1..4 {
        month(seed, true);
        month(seed, false);
    }
}
