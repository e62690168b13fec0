//! Steps: where the level, or the concentration alone, leaves what was expected
//! of it, and where it has settled again.

use std::collections::VecDeque;

use crate::units::Timestamp;

use super::balance::{Balance, LEAST_TELLING, OpenStep, Point, Told, WAIT};
use super::setup::BalanceSetup;
use super::state::State;

/// A step in the level is seen in so many points, one in the concentration in
/// all that wait.
const SEEN_IN: usize = 3;
/// So many deviations off are a step (choice: less than one false one in a sump's
/// year at a point each five minutes).
pub(super) const STEP: f64 = 5.0;
/// A step is at least this share of the working volume.
pub(super) const LEAST_STEP: f64 = 0.002;
/// A step of concentration is at least so large, %.
const LEAST_CONCENTRATION_STEP: f64 = 0.1;
/// A point so many deviations off belongs to the movement.
const MOVES: f64 = 2.5;
/// Points over which a movement must have settled.
const SETTLED: usize = 4;
/// Points after which a movement is taken as settled anyway.
const MOST_MOVING: usize = 36;

impl Balance {
    /// Whether the points that wait lie off what was expected of them.
    pub(super) fn look_for_step(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        if self.waiting.len() < WAIT || !setup.level_measured {
            return;
        }
        let Some(state) = &self.state else { return };
        let residuals = residuals(setup, state, &self.waiting);
        let by_level = self.step_of_level(setup, &residuals);
        if let Some(begins) = by_level {
            for _ in 0..begins {
                self.apply_oldest(setup, out);
            }
            self.moving = true;
            self.settle(setup, out);
        } else if self.step_of_concentration(&residuals) {
            let since = self.waiting[0].time;
            self.open_step(setup, since, since, out);
        }
    }

    /// The place of the first waiting point that moves, if the level does.
    fn step_of_level(&self, setup: &BalanceSetup, residuals: &[Residual]) -> Option<usize> {
        let noise = self.volume_noise.variance();
        let last: Vec<(f64, f64)> = residuals
            .iter()
            .rev()
            .take(SEEN_IN)
            .filter_map(|residual| residual.volume)
            .collect();
        if last.len() < SEEN_IN {
            return None;
        }
        let mean = last.iter().map(|(error, _)| error).sum::<f64>() / SEEN_IN as f64;
        let variance = last[0].1 + noise / SEEN_IN as f64;
        let least = LEAST_STEP * setup.working_volume_l;
        if mean.abs() < least.max(STEP * variance.sqrt()) {
            return None;
        }
        let moves = |residual: &Residual| {
            residual.volume.is_none_or(|(error, variance)| {
                error * mean > 0.0 && error.abs() > MOVES * (variance + noise).sqrt()
            })
        };
        let moving = residuals.iter().rev().take_while(|r| moves(r)).count();
        let moving = moving.max(stepped(residuals));
        Some((residuals.len() - moving).saturating_sub(1))
    }

    /// Whether the concentration has changed although the volume has not.
    fn step_of_concentration(&self, residuals: &[Residual]) -> bool {
        let errors: Vec<(f64, f64)> = residuals.iter().filter_map(|r| r.concentration).collect();
        if errors.len() < residuals.len() || self.is_mixing() {
            return false;
        }
        let count = errors.len() as f64;
        let mean = errors.iter().map(|(error, _)| error).sum::<f64>() / count;
        let variance = errors[0].1 + self.concentration_noise.variance() / count;
        let same_side = errors.iter().all(|(error, _)| error * mean > 0.0);
        // All that wait lie behind the step, not only the newest.
        let (first, doubt) = errors[0];
        let scatter = (doubt + self.concentration_noise.variance()).sqrt();
        same_side
            && first.abs() > MOVES * scatter
            && mean.abs() > LEAST_CONCENTRATION_STEP.max(STEP * variance.sqrt())
    }

    fn is_mixing(&self) -> bool {
        let first = self.waiting.front().map_or(Timestamp::MAX, |p| p.time);
        first < self.mixing_until
    }

    /// Opens a step once the level stands still again.
    pub(super) fn settle(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let Some(state) = &self.state else { return };
        // The first point that waits is the last one before the movement.
        let moving = self.waiting.iter().skip(1);
        let levels: Vec<f64> = moving.filter_map(|p| p.volume_l).collect();
        let waited_long = self.waiting.len() >= MOST_MOVING;
        if levels.len() < SETTLED && !waited_long {
            return;
        }
        let tail = &levels[levels.len().saturating_sub(SETTLED)..];
        let half = tail.len() / 2;
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
        let moved = mean(&tail[half..]) - mean(&tail[..half]);
        let rates = state.rates();
        let usual = rates.both_at_work.value.abs() * 0.5;
        let still = moved.abs() < 3.0 * self.volume_noise.variance().sqrt() + usual;
        if !still && !waited_long {
            return;
        }
        let since = self.waiting[0].time;
        let steady = self.waiting.len() - tail.len().min(self.waiting.len());
        let until = self.waiting[steady.min(self.waiting.len() - 1)].time;
        self.moving = false;
        let since = self.witness.may_have_begun(since, until);
        self.open_step(setup, since, until, out);
        for _ in 0..steady {
            self.pass_over_oldest(setup);
        }
    }

    pub(super) fn open_step(
        &mut self,
        setup: &BalanceSetup,
        since: Timestamp,
        until: Timestamp,
        out: &mut Vec<Told>,
    ) {
        let amid = self.open.is_some_and(|open| open.told < LEAST_TELLING);
        self.close_step(setup, Some(since), out);
        let Some(state) = &mut self.state else { return };
        let (volume, concentrate) = state.contents();
        let share = concentrate / volume.max(1e-3);
        let doubt = state.concentration_pct().uncertainty / 100.0;
        state.open_step(setup);
        self.open = Some(OpenStep {
            since,
            until,
            share,
            doubt,
            volume,
            told: 0,
            amid,
        });
        self.mixing_until = self.mixing_until.max(until + setup.mixing);
        self.wander.interrupt();
    }
}

/// How far off what was expected a waiting point lies, with the variance of
/// what was expected.
struct Residual {
    volume: Option<(f64, f64)>,
    concentration: Option<(f64, f64)>,
}

fn residuals(setup: &BalanceSetup, state: &State, waiting: &VecDeque<Point>) -> Vec<Residual> {
    let mut ahead = state.clone();
    let each = waiting.iter().map(|point| {
        ahead.pass(setup, point.time, point.regime());
        if point.metered_l != 0.0 {
            let strength = 100.0 * point.metered_concentrate_l / point.metered_l;
            ahead.put_in(point.metered_l, strength, setup.errors.metering);
        }
        let off = |found: f64, (expected, variance): (f64, f64)| (found - expected, variance);
        Residual {
            volume: point
                .volume_l
                .map(|litres| off(litres, ahead.expected_volume(point.regime()))),
            concentration: point
                .concentration_pct
                .map(|percent| off(percent, ahead.expected_concentration())),
        }
    });
    each.collect()
}

/// How many of the newest points lie behind a step of the level: of all places
/// where it can lie the most probable one, where (Σe)²/n of the n points behind
/// it is largest (least squares; worked out here).
fn stepped(residuals: &[Residual]) -> usize {
    let (mut sum, mut count, mut best) = (0.0, 0.0, (1, 0.0));
    for (place, residual) in (1..).zip(residuals.iter().rev()) {
        if let Some((error, _)) = residual.volume {
            sum += error;
            count += 1.0;
            let explained = sum * sum / count;
            if explained > best.1 {
                best = (place, explained);
            }
        }
    }
    best.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_begins_where_the_points_before_it_do_not_show_it() {
        let of = |errors: &[f64]| {
            let residual = |error: &f64| Residual {
                volume: Some((*error, 0.1)),
                concentration: None,
            };
            stepped(&errors.iter().map(residual).collect::<Vec<_>>())
        };
        assert_eq!(of(&[1.0, -2.0, 0.5, -4.0, 12.0, 12.5]), 2);
        assert_eq!(of(&[1.0, -2.0, 0.5, 11.0, 4.0, 12.5]), 3);
        assert_eq!(of(&[0.0, 0.0, 1.0, -9.0, -28.0, -30.0]), 2);
    }
}
