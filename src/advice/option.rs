//! Every way that leads a sump to its target, and which is the best.

use serde::Serialize;

use crate::units::{Concentration, Measured, Span, Volume};

use super::amounts::{Amounts, rounded};
use super::balance::{self, BalanceError, Makeup};
use super::candidate::Candidate;
use super::dose::{DoseSetup, MixState};
use super::losses::LossRates;
use super::money::{Cost, Costs};
use super::way::Way;

/// One option: a way, and what comes of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoseOption {
    /// The way.
    pub way: Way,
    /// What to drain and add in this step.
    #[serde(flatten)]
    pub amounts: Amounts,
    /// Steps until the target, this one included, about.
    pub steps: u32,
    /// Concentration to expect after this step, %.
    pub expected_concentration_pct: Measured,
    /// Volume to expect after this step, L.
    pub expected_volume_l: Measured,
    /// Whether all steps together lead to the target, as near as that can be
    /// told.
    pub reaches_target: bool,
    /// Whether the sump is then filled up to the volume to be kept.
    pub fills_up: bool,
    /// Mix that goes to waste in all steps, L.
    pub waste_l: f64,
    /// What all steps cost, where prices are set.
    pub cost: Option<Cost>,
    /// Days to wait first, or until it is done, where waiting is the way.
    pub wait_d: Option<Measured>,
    /// How long all steps take, with waiting and mixing, min.
    pub time_min: f64,
}

/// A sump in need of a dose, and what bounds it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoseCase<'a> {
    /// Where the sump is.
    pub now: MixState,
    /// Concentration wanted.
    pub target: Concentration,
    /// Volume wanted.
    pub target_volume: Volume,
    /// Volume that must never be exceeded.
    pub max_volume: Volume,
    /// How long an addition takes to mix in.
    pub mixing: Span,
    /// What the sump loses, where that is known.
    pub losses: Option<LossRates>,
    /// What fluids cost, where prices are set.
    pub costs: Option<&'a Costs>,
}

impl DoseCase<'_> {
    /// How near to the target is near enough, in points: the dead band, or the
    /// reading's own standard uncertainty where that is more.
    pub(super) fn near_enough(&self, setup: &DoseSetup) -> f64 {
        let dead_band = setup.dead_band.percent();
        dead_band.max(self.now.concentration.uncertainty)
    }

    /// Whether the concentration is near enough to its target.
    pub(super) fn is_near(&self, setup: &DoseSetup) -> bool {
        self.missed_by(self.now.concentration.value) <= self.near_enough(setup)
    }

    /// Whether the sump is full as far as that can be told or topped up.
    pub(super) fn is_full(&self, setup: &DoseSetup) -> bool {
        let tellable = (2.0 * setup.measure.step.litres()).max(self.now.volume.uncertainty);
        self.target_volume.litres() - self.now.volume.value < tellable
    }

    fn missed_by(&self, percent: f64) -> f64 {
        (percent - self.target.percent()).abs()
    }

    /// Up to where the sump may be filled in the ordinary way: to the volume to
    /// be kept, or where it stands already.
    pub(super) fn fill_to(&self) -> Volume {
        let (now, max) = (self.now.volume.value, self.max_volume.litres());
        let wanted = self.target_volume.litres();
        Volume::from_litres(if now <= max { wanted.max(now) } else { wanted })
    }

    /// What is to be drained and added with the strongest premix allowed.
    pub(super) fn makeup(&self, setup: &DoseSetup) -> Result<Makeup, BalanceError> {
        let (volume, concentration) = self.now.values();
        let strongest = setup.strongest_premix;
        balance::limited(
            volume,
            concentration,
            self.fill_to(),
            self.target,
            strongest,
        )
    }

    /// Whether the bare balance would ask for a premix stronger than allowed.
    pub(super) fn is_limited(&self, setup: &DoseSetup) -> bool {
        let (volume, concentration) = self.now.values();
        balance::balance(volume, concentration, self.fill_to(), self.target)
            .ok()
            .and_then(|bare| bare.premix_strength())
            .is_some_and(|strength| strength > setup.strongest_premix)
    }

    /// Every option that does good, the best first.
    ///
    /// The best reaches the target without a wait longer than allowed; of those
    /// it wastes least; of those it fills the sump; of those it takes least
    /// time.
    ///
    /// # Errors
    /// When the balance has no answer.
    pub(super) fn options(&self, setup: &DoseSetup) -> Result<Vec<DoseOption>, BalanceError> {
        let mut options: Vec<DoseOption> = self
            .candidates(setup)?
            .into_iter()
            .map(|candidate| self.option(setup, &candidate))
            .filter(|option| self.does_good(setup, option))
            .collect();
        let longest_wait = setup.longest_wait.secs_f64() / 86_400.0;
        let waits_long = |one: &DoseOption| one.wait_d.is_some_and(|d| d.value > longest_wait);
        options.sort_by(|a, b| {
            let fails = |one: &DoseOption| (!one.reaches_target, waits_long(one));
            fails(a)
                .cmp(&fails(b))
                .then(a.waste_l.total_cmp(&b.waste_l))
                .then(b.fills_up.cmp(&a.fills_up))
                .then(a.time_min.total_cmp(&b.time_min))
                .then(a.way.cmp(&b.way))
        });
        Ok(options)
    }

    fn does_good(&self, setup: &DoseSetup, option: &DoseOption) -> bool {
        let after = self.missed_by(option.expected_concentration_pct.value);
        let before = self.missed_by(self.now.concentration.value);
        if self.is_near(setup) {
            after <= before.max(self.near_enough(setup))
        } else {
            after < before
        }
    }

    fn option(&self, setup: &DoseSetup, candidate: &Candidate) -> DoseOption {
        let steps = self.steps(setup, candidate);
        let amounts = rounded(&setup.measure, setup, candidate, steps);
        let total = f64::from(steps);
        let result = self.result(candidate, &amounts);
        let (volume, concentration) = self.in_one_go(candidate);
        let near = self.near_enough(setup);
        let full = 2.0 * setup.measure.step.litres();
        let wait_min = candidate.wait_d.map_or(0.0, |days| days.value * 1440.0);
        DoseOption {
            way: candidate.way,
            amounts,
            steps,
            expected_concentration_pct: result.concentration,
            expected_volume_l: result.volume,
            reaches_target: self.missed_by(concentration.percent()) <= near,
            fills_up: self.target_volume.litres() - volume.litres() < full,
            waste_l: total * amounts.drain_l,
            cost: self.costs.map(|costs| costs.of(&amounts, total)),
            wait_d: candidate.wait_d,
            time_min: wait_min + self.mixing_min(candidate.way) * total,
        }
    }

    fn mixing_min(&self, way: Way) -> f64 {
        match way {
            Way::LetItBe | Way::WaterAsItFalls => 0.0,
            _ => self.mixing.secs_f64() / 60.0,
        }
    }

    /// Where the sump stands after one step.
    fn result(&self, candidate: &Candidate, amounts: &Amounts) -> MixState {
        if candidate.way == Way::WaterAsItFalls {
            let shrink = self.target.percent() / self.now.concentration.value;
            return MixState {
                concentration: Measured {
                    value: self.target.percent(),
                    uncertainty: self.now.concentration.uncertainty * shrink,
                },
                ..self.now
            };
        }
        candidate.from.after(amounts)
    }

    /// Volume and concentration once all steps are done, before rounding.
    fn in_one_go(&self, candidate: &Candidate) -> (Volume, Concentration) {
        let (volume, concentration) = candidate.from.values();
        if candidate.way == Way::WaterAsItFalls {
            // Every litre of it takes the place of one that was lost.
            return (volume, self.target);
        }
        balance::after(
            volume,
            concentration,
            Volume::from_litres(candidate.drain),
            Volume::from_litres(candidate.concentrate),
            Volume::from_litres(candidate.water),
        )
    }
}

#[cfg(test)]
pub(super) mod tests;
