//! The dose for a sump: from where it is to where it is to be kept.

use std::sync::Arc;

use serde::Serialize;

use crate::units::{Concentration, Flow, Measured, Span, Volume};

use super::amounts::Amounts;
use super::balance::{self, BalanceError};
use super::measure::Measure;
use super::option::{DoseCase, DoseOption};
use super::way::Way;
use super::{Caution, Reason, Withheld, reason};

/// How doses are made up at a sump.
#[derive(Debug, Clone, PartialEq)]
pub struct DoseSetup {
    /// No advice asks for a premix stronger than this.
    pub strongest_premix: Concentration,
    /// What people measure amounts out with.
    pub measure: Measure,
    /// No advice while the concentration is this near its target, or as near
    /// as it can be told, and the sump full.
    pub dead_band: Concentration,
    /// No step moves the concentration by more than this.
    pub largest_step: Concentration,
    /// No wait longer than this is recommended while another way is open.
    pub longest_wait: Span,
    /// Where concentrate as delivered may go in, as the plant calls it: a place
    /// with a strong flow. None where nothing but premix may be added.
    pub dosing_point: Option<Arc<str>>,
    /// Good readings in a row that a channel must have given before a dose goes
    /// by it.
    pub good_readings: u8,
    /// Turnovers of the whole volume until an addition counts as mixed.
    pub turnovers: f64,
    /// Shortest time until an addition counts as mixed.
    pub min_mixing: Span,
}

/// Where a sump is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MixState {
    /// Concentration, % by volume.
    pub concentration: Measured,
    /// Standard uncertainty of the reading that it was worked out from, without
    /// that of the chart, in points.
    pub repeatability: f64,
    /// Volume, L.
    pub volume: Measured,
    /// Whether the volume is the one in the settings, not a measured one.
    pub volume_assumed: bool,
}

/// The recommended option, and all there are.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dose {
    /// The way that is recommended.
    pub way: Way,
    /// Why this way.
    pub why: Vec<Reason>,
    /// What to drain and add now.
    #[serde(flatten)]
    pub amounts: Amounts,
    /// Standard uncertainty of the concentrate that is needed, L, from what is
    /// uncertain in concentration and volume.
    pub concentrate_uncertainty_l: f64,
    /// Which step this is, counted from 1.
    pub step: u32,
    /// Steps until the target, about.
    pub steps: u32,
    /// What people measure with.
    pub measure: Measure,
    /// Concentration now, %.
    pub concentration_pct: Measured,
    /// Standard uncertainty of the reading alone, in points: the chart's is the
    /// same before and after.
    #[serde(skip)]
    pub repeatability_pct: f64,
    /// Volume now, L.
    pub volume_l: Measured,
    /// Whether the volume now is the one in the settings, not a measured one.
    pub volume_assumed: bool,
    /// Concentration wanted, %.
    pub target_concentration_pct: f64,
    /// Volume wanted, L.
    pub target_volume_l: f64,
    /// Concentration to expect after mixing, %.
    pub expected_concentration_pct: Measured,
    /// Volume to expect, L.
    pub expected_volume_l: f64,
    /// How long to let it mix before measuring again, min.
    pub mixing_min: f64,
    /// Strongest premix allowed where the bare balance would ask for a
    /// stronger one, %.
    pub limited_to_pct: Option<f64>,
    /// Volume that must not be exceeded while adding, L.
    pub stop_at_l: Option<f64>,
    /// Where concentrate may go in as delivered.
    pub dosing_point: Option<Arc<str>>,
    /// What the product's data sheet says about mixing, where concentrate is
    /// handled.
    pub mixing_note: Option<String>,
    /// Every way that does good, the recommended one first.
    pub options: Vec<DoseOption>,
}

impl MixState {
    /// Volume and concentration as they stand.
    pub(super) fn values(&self) -> (Volume, Concentration) {
        (
            Volume::from_litres(self.volume.value),
            Concentration::from_percent(self.concentration.value),
        )
    }

    /// Where the sump stands after these amounts are mixed in: c' = (c k + x)/V'
    /// with what is kept, k = V − d, and V' = k + x + w. Hence ∂c'/∂c = k/V' and
    /// ∂c'/∂V = (c − c')/V'.
    pub(super) fn after(&self, amounts: &Amounts) -> MixState {
        let (volume, concentration) = self.values();
        let litres = Volume::from_litres;
        let (after_volume, after) = balance::after(
            volume,
            concentration,
            litres(amounts.drain_l),
            litres(amounts.concentrate_l),
            litres(amounts.water_l),
        );
        let whole = after_volume.litres().max(f64::MIN_POSITIVE);
        let by_c = (self.volume.value - amounts.drain_l) / whole * self.concentration.uncertainty;
        let by_v = (self.concentration.value - after.percent()) / whole * self.volume.uncertainty;
        MixState {
            concentration: Measured {
                value: after.percent(),
                uncertainty: by_c.hypot(by_v),
            },
            repeatability: self.repeatability,
            volume: Measured {
                value: after_volume.litres(),
                uncertainty: self.volume.uncertainty,
            },
            volume_assumed: self.volume_assumed,
        }
    }
}

/// Standard uncertainty of the concentrate that a target needs, L.
///
/// From x = cₜ·Vₜ − c·k with what is kept, k = V − d:
/// u(x)² = (Vₜ u(cₜ))² + (k u(c))² + (c u(V))². The target is a number that
/// people set, u(cₜ) = 0. Worked out here.
fn concentrate_uncertainty(now: MixState, drain: Volume) -> f64 {
    let kept = now.volume.value - drain.litres();
    let by_c = kept * now.concentration.uncertainty / 100.0;
    let by_v = now.concentration.value / 100.0 * now.volume.uncertainty;
    by_c.hypot(by_v)
}

/// How long an addition takes to mix in: the settings' turnovers of the whole
/// volume, V/Q each, but not less than the settings' minimum. Perfect mixing
/// leaves exp(−Q t/V) of a step, so that five turnovers leave 0.7 %.
pub fn mixing_time(setup: &DoseSetup, volume: Volume, circulation: Option<Flow>) -> Span {
    let turnovers = circulation
        .filter(|flow| flow.litres_per_minute() > 0.0)
        .map(|flow| setup.turnovers * volume.litres() / flow.litres_per_minute() * 60_000.0)
        .map_or(Span::ZERO, |millis| Span::from_millis(millis as i64));
    turnovers.max(setup.min_mixing)
}

/// The dose that a case calls for, every other option beside it, and the
/// cautions that go with it.
///
/// # Errors
/// [`Withheld`] where the sump is near enough to its target, the balance has no
/// answer, or none does good once it is rounded.
pub fn plan(setup: &DoseSetup, case: &DoseCase<'_>) -> Result<(Dose, Vec<Caution>), Withheld> {
    let on_target = Withheld::OnTarget {
        within_pct: case.near_enough(setup),
    };
    if case.is_near(setup) && case.is_full(setup) {
        return Err(on_target);
    }
    let no_answer = |error: BalanceError| Withheld::NoBalance { error };
    let options = case.options(setup).map_err(no_answer)?;
    let Some(best) = options.first() else {
        let step_l = setup.measure.step.litres();
        return Err(Withheld::StepTooCoarse { step_l });
    };
    if best.way == Way::LetItBe {
        return Err(on_target);
    }
    let limited = case.is_limited(setup);
    let drain = Volume::from_litres(best.amounts.drain_l);
    let dose = Dose {
        way: best.way,
        why: reason::why(setup, case, &options),
        amounts: best.amounts,
        concentrate_uncertainty_l: concentrate_uncertainty(case.now, drain),
        step: 1,
        steps: best.steps,
        measure: setup.measure,
        concentration_pct: case.now.concentration,
        repeatability_pct: case.now.repeatability,
        volume_l: case.now.volume,
        volume_assumed: case.now.volume_assumed,
        target_concentration_pct: case.target.percent(),
        target_volume_l: case.target_volume.litres(),
        expected_concentration_pct: best.expected_concentration_pct,
        expected_volume_l: best.expected_volume_l.value,
        mixing_min: case.mixing.secs_f64() / 60.0,
        limited_to_pct: limited.then(|| setup.strongest_premix.percent()),
        stop_at_l: Some(case.max_volume.litres()),
        dosing_point: setup.dosing_point.clone(),
        mixing_note: None,
        options,
    };
    let cautions = cautions(&dose);
    Ok((dose, cautions))
}

fn cautions(dose: &Dose) -> Vec<Caution> {
    let mut list = Vec::new();
    if dose.amounts.concentrate_l > 0.0 {
        let mixing = match dose.way {
            Way::NeatAtPoint => Caution::DosingPoint,
            _ => Caution::PremixOnly,
        };
        list.extend([mixing, Caution::Concentrate]);
    }
    if dose.amounts.drain_l > 0.0 {
        list.push(Caution::Waste);
    }
    list.extend([Caution::MovingParts, Caution::DataSheets]);
    list
}

#[cfg(test)]
mod tests;
