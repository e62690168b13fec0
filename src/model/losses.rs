//! How fast a sump loses water and mix.

use serde::Serialize;

use crate::units::Measured;

use super::balance::Balance;
use super::movement::{MovementKind, Origin};
use super::setup::BalanceSetup;

/// Losses are told only after so many days.
const LEAST_DAYS: f64 = 1.5;
/// A rate whose standard uncertainty is more than this share of it is not told.
const MOST_DOUBT: f64 = 1.0;
/// Below this share of the working volume a day, a rate is as good as none.
const NONE_A_DAY: f64 = 0.002;

/// The losses of a sump.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Losses {
    /// Water gone as vapour on a mean day of late, L/d.
    pub evaporation_l_per_d: Measured,
    /// Mix gone with parts, chips and mist on a mean day of late, L/d.
    pub carry_off_l_per_d: Measured,
    /// Both together, L/d.
    pub both_l_per_d: Measured,
    /// Evaporation while machines work, L/h.
    pub evaporation_at_work_l_per_h: Measured,
    /// Evaporation at rest, L/h; none where there is no rest.
    pub evaporation_at_rest_l_per_h: Option<Measured>,
    /// Carry-off while machines work, L/h.
    pub carry_off_at_work_l_per_h: Measured,
    /// Hours of a day in which machines work, of late.
    pub working_hours_a_day: f64,
}

/// Why losses cannot be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum NotIdentifiable {
    /// It has not been watched for long enough.
    NotYet,
    /// No instrument measures the level.
    NoLevel,
    /// No instrument measures the concentration: losses of water and of mix
    /// cannot be told apart.
    NoConcentration,
    /// It fills itself up, and no meter counts what runs in.
    FillsItself,
    /// The level does not fall: something fills it up that is not seen.
    LevelDoesNotFall,
    /// The readings scatter or wander too much.
    TooUncertain,
}

impl NotIdentifiable {
    /// The reason in words, and what would help.
    pub const fn words(self) -> &'static str {
        match self {
            NotIdentifiable::NotYet => {
                "losses: not identifiable yet, some days of readings are needed"
            }
            NotIdentifiable::NoLevel => "losses: not identifiable, the level is not measured",
            NotIdentifiable::NoConcentration => {
                "losses: evaporation and carry-off cannot be told apart, the concentration is not measured"
            }
            NotIdentifiable::FillsItself => {
                "losses: not identifiable, the sump fills itself up and nothing counts what runs in; a water meter in its make-up would tell"
            }
            NotIdentifiable::LevelDoesNotFall => {
                "losses: not identifiable, the level does not fall between additions; does something fill the sump up that is not seen?"
            }
            NotIdentifiable::TooUncertain => {
                "losses: not identifiable, the readings scatter or wander too much for what is lost"
            }
        }
    }
}

impl Losses {
    /// Why these cannot be those of a sump, or are not known well enough.
    fn forbidden(&self, setup: &BalanceSetup) -> Option<NotIdentifiable> {
        let none = NONE_A_DAY * setup.working_volume_l;
        let both = self.both_l_per_d;
        if both.value < both.uncertainty.max(none) {
            return Some(NotIdentifiable::LevelDoesNotFall);
        }
        if !setup.concentration_measured {
            return Some(NotIdentifiable::NoConcentration);
        }
        let doubtful = |rate: Measured| rate.uncertainty > MOST_DOUBT * rate.value.max(2.0 * none);
        // No loss is a gain: the readings must wander.
        let gain = |rate: Measured| rate.interval_90().1 < 0.0;
        [self.evaporation_l_per_d, self.carry_off_l_per_d]
            .into_iter()
            .any(|rate| doubtful(rate) || gain(rate))
            .then_some(NotIdentifiable::TooUncertain)
    }
}

impl Balance {
    /// The losses of late, or why they cannot be told.
    ///
    /// # Errors
    /// When the readings do not determine them.
    pub fn losses(&self, setup: &BalanceSetup) -> Result<Losses, NotIdentifiable> {
        if !setup.level_measured {
            return Err(NotIdentifiable::NoLevel);
        }
        if setup.fills_itself {
            return Err(NotIdentifiable::FillsItself);
        }
        let state = self.state().ok_or(NotIdentifiable::NotYet)?;
        let days = (state.time() - self.begun()).secs_f64() / 86_400.0;
        if days < LEAST_DAYS {
            return Err(NotIdentifiable::NotYet);
        }
        let losses = self.estimate(setup, state);
        losses.forbidden(setup).map_or(Ok(losses), Err)
    }

    fn estimate(&self, setup: &BalanceSetup, state: &super::state::State) -> Losses {
        let work = self.worked_hours();
        let rest = 24.0 - work;
        let rates = state.rates();
        // The error of the fluid's chart is not in the state: what went in by
        // measure was lost as mix, of which the chart tells how strong it was.
        let mut carry_off = state.mean_rate([0.0, 0.0, work]);
        let both = state.mean_rate([work, rest, work]);
        let mut evaporation = state.mean_rate([work, rest, 0.0]);
        let chart = self.by_measure() * setup.errors.chart * carry_off.value;
        carry_off.uncertainty = carry_off.uncertainty.hypot(chart);
        evaporation.uncertainty = evaporation.uncertainty.hypot(chart);
        Losses {
            evaporation_l_per_d: evaporation,
            carry_off_l_per_d: carry_off,
            both_l_per_d: both,
            evaporation_at_work_l_per_h: rates.evaporation_at_work,
            evaporation_at_rest_l_per_h: (rest > 0.5).then_some(rates.evaporation_at_rest),
            carry_off_at_work_l_per_h: rates.carry_off,
            working_hours_a_day: work,
        }
    }

    /// The share of the additions of late that were written down and believed.
    fn by_measure(&self) -> f64 {
        let additions = self
            .movements()
            .filter(|one| !matches!(one.kind, MovementKind::Instrument | MovementKind::Lines));
        let (mut all, mut by_measure) = (0.0, 0.0);
        for one in additions {
            all += one.litres.value.abs();
            if matches!(one.origin, Origin::Logged { .. }) {
                by_measure += one.litres.value.abs();
            }
        }
        if all > 0.0 { by_measure / all } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::testing::setup;

    fn losses(evaporation: Measured, carry_off: Measured, both: Measured) -> Losses {
        Losses {
            evaporation_l_per_d: evaporation,
            carry_off_l_per_d: carry_off,
            both_l_per_d: both,
            evaporation_at_work_l_per_h: Measured::new(evaporation.value / 24.0, 0.0),
            evaporation_at_rest_l_per_h: None,
            carry_off_at_work_l_per_h: Measured::new(carry_off.value / 24.0, 0.0),
            working_hours_a_day: 24.0,
        }
    }

    #[test]
    fn a_gain_is_no_loss() {
        let both = Measured::new(30.0, 0.5);
        let of = |carry_off: Measured| {
            let evaporation = Measured::new(both.value - carry_off.value, carry_off.uncertainty);
            let setup = setup();
            let one = losses(evaporation, carry_off, both).forbidden(&setup);
            let other = losses(carry_off, evaporation, both).forbidden(&setup);
            assert_eq!(one, other);
            one
        };
        assert_eq!(of(Measured::new(5.0, 1.0)), None);
        // It may be nothing, as far as the readings can tell.
        assert_eq!(of(Measured::new(-1.0, 1.0)), None);
        let surely_a_gain = of(Measured::new(-3.0, 1.0));
        assert_eq!(surely_a_gain, Some(NotIdentifiable::TooUncertain));
        let level_rises = losses(both, both, Measured::new(-3.0, 0.5));
        let why = level_rises.forbidden(&setup());
        assert_eq!(why, Some(NotIdentifiable::LevelDoesNotFall));
    }
}
