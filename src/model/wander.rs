//! How far the concentration wanders within hours, learned from the points
//! themselves.
//!
//! Of an error that forgets itself within τ, and of one that each point has for
//! itself, the second difference of three means of an hour, L apart,
//! d = h₁ − 2h₂ + h₃, has the variance
//!
//! ```text
//! var(d) = σw²·(6 − 8e^(−L/τ) + 2e^(−2L/τ)) + σ²·(1/n₁ + 4/n₂ + 1/n₃)
//! ```
//!
//! (worked out here; that an hour's mean wanders a little less than a point is
//! left out). What changes evenly cancels in it, and so does what the losses
//! are known to do. The scatter σ of a point is known from its neighbours: what
//! d has beyond it is the wandering. Until there is enough of it the setting
//! is believed.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

use super::state::WANDER_HOURS;

/// Means are of so long.
const SLOT: Span = Span::from_hours(1);
/// One that lasted longer has a gap.
const LONGEST_SLOT: Span = Span::from_mins(90);
/// From the first mean to the second and from there to the third, in slots
/// (choice: half of what the wandering takes to forget itself).
const APART: usize = 3;
/// Points of which a mean must be.
const LEAST_POINTS: u32 = 3;
/// The setting counts for so many differences (choice: neighbouring ones
/// overlap, so a day of them tells about as much as six).
const SETTING_COUNTS: f64 = 24.0;
/// Over so many differences a change of the wandering is learned (choice: a
/// month of hours).
const REMEMBERED: f64 = 720.0;
/// A difference counts for at most so many deviations.
const MOST: f64 = 3.5;
/// The wandering is never taken for less or more than these shares of the setting
/// (choice).
const BOUNDS: (f64, f64) = (0.15, 1.5);

/// What is learned of the wandering.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Wander {
    /// What the concentration should have changed by since the last
    /// interruption, %.
    expected: f64,
    slot: Option<Slot>,
    /// Means beyond what was expected, %, and of how many points; oldest first.
    means: VecDeque<(f64, u32)>,
    /// Of the differences so far: how many, and the sum of what each says of the
    /// wandering's variance.
    count: f64,
    sum: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Slot {
    began: Timestamp,
    sum: f64,
    count: u32,
}

impl Wander {
    /// Its standard deviation, %, where the settings say `setting`.
    pub(super) fn deviation(&self, setting: f64) -> f64 {
        let square = setting * setting;
        let variance = (SETTING_COUNTS * square + self.sum) / (SETTING_COUNTS + self.count);
        let (least, most) = BOUNDS;
        variance
            .max(0.0)
            .sqrt()
            .clamp(least * setting, most * setting)
    }

    /// What comes next has nothing to do with what came before.
    pub(super) fn interrupt(&mut self) {
        self.expected = 0.0;
        self.slot = None;
        self.means.clear();
    }

    /// Takes in a point of the concentration, %, if there is one; it scatters
    /// with the variance `scatter` and should be `rise` above the point before.
    pub(super) fn step(
        &mut self,
        time: Timestamp,
        percent: Option<f64>,
        rise: f64,
        scatter: f64,
        setting: f64,
    ) {
        self.expected += rise;
        if let Some(slot) = self.slot.filter(|slot| time - slot.began >= SLOT) {
            self.slot = None;
            if slot.count < LEAST_POINTS || time - slot.began > LONGEST_SLOT {
                self.interrupt();
            } else {
                let mean = slot.sum / f64::from(slot.count);
                self.means.push_back((mean, slot.count));
                self.learn(scatter, setting);
            }
        }
        let Some(percent) = percent else { return };
        let slot = self.slot.get_or_insert(Slot {
            began: time,
            sum: 0.0,
            count: 0,
        });
        slot.sum += percent - self.expected;
        slot.count += 1;
    }

    fn learn(&mut self, scatter: f64, setting: f64) {
        if self.means.len() <= 2 * APART {
            return;
        }
        let [first, second, third] = [0, APART, 2 * APART].map(|place| self.means[place]);
        self.means.pop_front();
        let share = |(_, points): (f64, u32)| scatter / f64::from(points);
        let by_itself = share(first) + 4.0 * share(second) + share(third);
        let kept = (-(APART as f64) / WANDER_HOURS).exp();
        let of_wander = 6.0 - 8.0 * kept + 2.0 * kept * kept;
        let usual = by_itself + of_wander * self.deviation(setting).powi(2);
        let difference = first.0 - 2.0 * second.0 + third.0;
        let square = (difference * difference).min(MOST * MOST * usual);
        self.sum += (square - by_itself) / of_wander;
        self.count += 1.0;
        if self.count > REMEMBERED {
            let kept = REMEMBERED / self.count;
            self.sum *= kept;
            self.count = REMEMBERED;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forty days of points each five minutes, whose errors scatter with a
    /// deviation of 0.1 and wander with one of `wander`, on a concentration that
    /// rises by 0.01 an hour; what is learned where the settings say 0.05.
    fn learned(wander: f64, rise_an_hour: f64, interrupted: bool) -> f64 {
        let mut seed = 1_u64;
        let mut normal = || {
            let even = |_| {
                seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (seed >> 40) as f64 / (1_u64 << 24) as f64
            };
            (0..12).map(even).sum::<f64>() - 6.0
        };
        let mut learned = Wander::default();
        let kept = (-5.0 / 60.0 / WANDER_HOURS).exp();
        let fresh = (1.0 - kept * kept).sqrt();
        let mut error = wander * normal();
        for i in 0..40 * 288_i64 {
            error = kept * error + fresh * wander * normal();
            let step = if interrupted { (i / 144) as f64 } else { 0.0 };
            if interrupted && i % 144 == 0 {
                learned.interrupt();
            }
            let hours = i as f64 / 12.0;
            let percent = 8.0 + step + 0.01 * hours + error + 0.1 * normal();
            let time = Timestamp::from_millis(i * 300_000);
            learned.step(time, Some(percent), rise_an_hour / 12.0, 0.01, 0.05);
        }
        learned.deviation(0.05)
    }

    #[test]
    fn what_is_there_is_learned_and_what_is_not_there_too() {
        for rise in [0.0, 0.01, 0.05] {
            let there = learned(0.05, rise, false);
            assert!((0.04..0.06).contains(&there), "{there}");
            let half = learned(0.025, rise, false);
            assert!((0.015..0.035).contains(&half), "{half}");
            let none = learned(0.0, rise, false);
            assert!(none < 0.02, "{none}");
        }
    }

    #[test]
    fn it_stays_within_bounds_of_the_setting() {
        assert_eq!(learned(0.3, 0.0, false), 1.5 * 0.05);
        assert_eq!(Wander::default().deviation(0.05), 0.05);
        assert_eq!(Wander::default().deviation(0.0), 0.0);
    }

    #[test]
    fn steps_are_not_taken_for_it_where_they_are_known() {
        let there = learned(0.05, 0.0, true);
        assert!((0.04..0.06).contains(&there), "{there}");
    }
}
