//! Readings that leave the value and come back, or jump about: spikes so many
//! that a despiking filter takes them for the signal. What leaves the value and
//! stays is a step and none of them.

use serde::{Deserialize, Serialize};

/// What stays near itself for so many readings is a step. Choice: bubbles and
/// loose contacts come singly or in short rows.
const STAYS: u8 = 4;

/// The memory of it.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Excursion {
    /// The last reading at rest.
    base: Option<f32>,
    /// The last one away from it.
    away: f32,
    /// Readings away from it in a row, each near the one before.
    run: u8,
    /// Readings away from it of which nobody knows yet what they are.
    pending: u8,
}

impl Excursion {
    /// Takes in a reading; what differs by more than `jump` lies apart. Gives how
    /// many readings turn out to have been spikes.
    #[inline]
    pub(super) fn step(&mut self, value: f64, jump: f32) -> u8 {
        let value = value as f32;
        let near = |other: f32| (value - other).abs() <= jump;
        let Some(base) = self.base else {
            self.rest(value);
            return 0;
        };
        if near(base) {
            return self.rest(value);
        }
        let spikes = if self.run > 0 && !near(self.away) {
            self.run = 0;
            std::mem::take(&mut self.pending)
        } else {
            0
        };
        self.away = value;
        self.run += 1;
        self.pending = self.pending.saturating_add(1);
        if self.run >= STAYS {
            self.pending = 0;
            self.rest(value);
        }
        spikes
    }

    /// The value rests here; gives what waited to be told.
    fn rest(&mut self, value: f32) -> u8 {
        self.base = Some(value);
        self.run = 0;
        std::mem::take(&mut self.pending)
    }

    /// Whether the newest reading lies away from the value, nobody knows why.
    pub(super) fn is_out(&self) -> bool {
        self.pending > 0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn spikes(values: &[f64]) -> u32 {
        let mut excursion = Excursion::default();
        let each = values.iter().map(|value| excursion.step(*value, 0.3));
        each.map(u32::from).sum()
    }

    #[test]
    fn what_comes_back_was_away() {
        assert_eq!(spikes(&[9.2, 9.2, 10.3, 9.2]), 1);
        assert_eq!(spikes(&[9.2, 8.1, 8.2, 8.0, 9.2]), 3);
        assert_eq!(spikes(&[9.2, 10.3, 7.9, 10.8, 9.3]), 3);
    }

    #[test]
    fn what_stays_is_a_step_and_what_creeps_is_none() {
        assert_eq!(spikes(&[9.2, 8.1, 8.2, 8.0, 8.1, 8.1, 8.1]), 0);
        let creeps: Vec<f64> = (0..50).map(|i| 9.0 - 0.2 * f64::from(i)).collect();
        assert_eq!(spikes(&creeps), 0);
    }

    #[test]
    fn the_newest_is_not_known_yet() {
        let mut excursion = Excursion::default();
        for (value, out) in [(9.2, false), (8.0, true), (8.0, true), (8.0, true)] {
            excursion.step(value, 0.3);
            assert_eq!(excursion.is_out(), out);
        }
        excursion.step(8.0, 0.3);
        assert!(!excursion.is_out(), "a step");
    }
}
