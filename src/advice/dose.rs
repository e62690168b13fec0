//! The dose for a sump: from where it is to where it is to be kept.

use serde::Serialize;

use crate::units::{Concentration, Flow, Measured, Span, Timestamp, Volume};

use super::Caution;
use super::balance::{self, BalanceError, Makeup};

/// How doses are made up at a sump.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DoseSetup {
    /// No advice asks for a premix stronger than this.
    pub strongest_premix: Concentration,
    /// The smallest amount that people can measure out.
    pub step: Volume,
    /// No advice while the concentration is this near its target and the
    /// volume within two steps of its own.
    pub dead_band: Concentration,
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
    /// Volume, L.
    pub volume: Measured,
    /// Whether the volume is the one in the settings, not a measured one.
    pub volume_assumed: bool,
}

/// Amounts to drain and to add, rounded to the dosing step, and what to expect
/// of them.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dose {
    /// Mix to let out first, L.
    pub drain_l: f64,
    /// Concentrate in the premix, L.
    pub concentrate_l: f64,
    /// Water in the premix, L.
    pub water_l: f64,
    /// Premix to add, L.
    pub premix_l: f64,
    /// Strength of the premix, % by volume; 0 is water alone.
    pub premix_strength_pct: f64,
    /// Concentration now, %.
    pub concentration_pct: Measured,
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
    /// Volume that must not be exceeded while adding, L, where it is known.
    pub stop_at_l: Option<f64>,
    /// What the product's data sheet says about mixing, where concentrate is
    /// handled.
    pub mixing_note: Option<String>,
}

/// Why there is no dose.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum Withheld {
    /// The concentration is not known.
    NoConcentration,
    /// The volume is not known.
    NoVolume,
    /// An addition is not mixed in yet.
    Mixing {
        /// Until then.
        until: Timestamp,
    },
    /// The sump is where it should be.
    OnTarget,
    /// Rounded to the dosing step, a dose would do no good.
    StepTooCoarse {
        /// The step, L.
        step_l: f64,
    },
    /// The balance has no answer.
    NoBalance {
        /// Why.
        why: String,
    },
}

impl Withheld {
    /// The reason in words.
    pub fn words(&self) -> String {
        match self {
            Withheld::NoConcentration => "No dose: the concentration is not known (probe silent, doubted or not there). Read it by hand.".into(),
            Withheld::NoVolume => "No dose: the level is not known (probe silent or doubted). Read it by hand.".into(),
            Withheld::Mixing { until } => format!("No dose yet: the last addition is not mixed in before {until}."),
            Withheld::OnTarget => "No dose: concentration and level are near enough to their targets.".into(),
            Withheld::StepTooCoarse { step_l } => format!(
                "No dose: in steps of {step_l} L it would do no good here; set a finer dose.step for this sump."
            ),
            Withheld::NoBalance { why } => format!("No dose: {why}."),
        }
    }
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

/// The dose from `now` to the target, with the cautions that go with it.
///
/// # Errors
/// [`Withheld`] where the sump is near enough to its target or the balance has
/// no answer.
pub fn plan(
    setup: &DoseSetup,
    now: MixState,
    target_volume: Volume,
    target: Concentration,
    mixing: Span,
) -> Result<(Dose, Vec<Caution>), Withheld> {
    let near = (now.concentration.value - target.percent()).abs() <= setup.dead_band.percent();
    let full = target_volume.litres() - now.volume.value < 2.0 * setup.step.litres();
    if near && full {
        return Err(Withheld::OnTarget);
    }
    let volume = Volume::from_litres(now.volume.value);
    let concentration = Concentration::from_percent(now.concentration.value);
    let no_answer = |why: BalanceError| Withheld::NoBalance {
        why: why.to_string(),
    };
    let bare = balance::balance(volume, concentration, target_volume, target).map_err(no_answer)?;
    let makeup = balance::limited(
        volume,
        concentration,
        target_volume,
        target,
        setup.strongest_premix,
    )
    .map_err(no_answer)?;
    let limited = bare
        .premix_strength()
        .is_some_and(|strength| strength > setup.strongest_premix);

    let rounded = round(setup, &makeup, volume);
    let (after_volume, after) = balance::after(
        volume,
        concentration,
        Volume::from_litres(rounded.drain),
        Volume::from_litres(rounded.concentrate),
        Volume::from_litres(rounded.water),
    );
    let missed = |percent: f64| (percent - target.percent()).abs();
    if !near && missed(after.percent()) >= missed(now.concentration.value) {
        let step_l = setup.step.litres();
        return Err(Withheld::StepTooCoarse { step_l });
    }
    let premix = rounded.concentrate + rounded.water;
    let dose = Dose {
        drain_l: rounded.drain,
        concentrate_l: rounded.concentrate,
        water_l: rounded.water,
        premix_l: premix,
        premix_strength_pct: if premix > 0.0 {
            100.0 * rounded.concentrate / premix
        } else {
            0.0
        },
        concentration_pct: now.concentration,
        volume_l: now.volume,
        volume_assumed: now.volume_assumed,
        target_concentration_pct: target.percent(),
        target_volume_l: target_volume.litres(),
        expected_concentration_pct: Measured {
            value: after.percent(),
            uncertainty: uncertainty_after(now, rounded.drain, after_volume, after),
        },
        expected_volume_l: after_volume.litres(),
        mixing_min: mixing.secs_f64() / 60.0,
        limited_to_pct: limited.then(|| setup.strongest_premix.percent()),
        stop_at_l: None,
        mixing_note: None,
    };
    let cautions = cautions(&dose);
    Ok((dose, cautions))
}

struct Rounded {
    drain: f64,
    concentrate: f64,
    water: f64,
}

/// Rounds to the dosing step so that people can measure it: the drain up, the
/// total addition down (never an overfill), the concentrate to the nearest
/// step that keeps the premix within the strongest allowed.
fn round(setup: &DoseSetup, makeup: &Makeup, volume: Volume) -> Rounded {
    let step = setup.step.litres();
    // Adding 0 turns the −0 of a drain of nothing into 0, as people write it.
    let up = |litres: f64| (litres / step - 1e-9).ceil() * step + 0.0;
    let down = |litres: f64| (litres / step + 1e-9).floor() * step;
    let drain = up(makeup.drain.litres()).min(volume.litres());
    let premix = down(makeup.premix.litres() + drain - makeup.drain.litres());
    let mut concentrate = ((makeup.concentrate.litres() / step).round() * step).min(premix);
    if concentrate > setup.strongest_premix.fraction() * premix + 1e-9 {
        concentrate = down(setup.strongest_premix.fraction() * premix);
    }
    Rounded {
        drain,
        concentrate,
        water: premix - concentrate,
    }
}

/// Standard uncertainty of c' = (c (V − d) + x)/V', V' = V − d + x + w:
/// ∂c'/∂c = (V − d)/V', ∂c'/∂V = (c − c')/V'.
fn uncertainty_after(now: MixState, drain: f64, after_volume: Volume, after: Concentration) -> f64 {
    let v1 = after_volume.litres().max(f64::MIN_POSITIVE);
    let by_c = (now.volume.value - drain) / v1 * now.concentration.uncertainty;
    let by_v = (now.concentration.value - after.percent()) / v1 * now.volume.uncertainty;
    by_c.hypot(by_v)
}

fn cautions(dose: &Dose) -> Vec<Caution> {
    let mut list = Vec::new();
    if dose.concentrate_l > 0.0 {
        list.extend([Caution::PremixOnly, Caution::Concentrate]);
    }
    if dose.drain_l > 0.0 {
        list.push(Caution::Waste);
    }
    list.extend([Caution::MovingParts, Caution::DataSheets]);
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn setup() -> DoseSetup {
        DoseSetup {
            strongest_premix: Concentration::from_percent(20.0),
            step: Volume::from_litres(1.0),
            dead_band: Concentration::from_percent(0.3),
            turnovers: 5.0,
            min_mixing: Span::from_mins(30),
        }
    }

    fn at(volume: f64, concentration: f64) -> MixState {
        MixState {
            concentration: Measured {
                value: concentration,
                uncertainty: 0.1,
            },
            volume: Measured {
                value: volume,
                uncertainty: 5.0,
            },
            volume_assumed: false,
        }
    }

    fn dose(
        volume: f64,
        concentration: f64,
        target_volume: f64,
        target: f64,
    ) -> Result<Dose, Withheld> {
        plan(
            &setup(),
            at(volume, concentration),
            Volume::from_litres(target_volume),
            Concentration::from_percent(target),
            Span::from_mins(30),
        )
        .map(|(dose, _)| dose)
    }

    #[test]
    fn low_and_lean_is_one_premix() {
        let dose = dose(820.0, 4.2, 1000.0, 6.0).unwrap();
        assert_eq!(
            (dose.drain_l, dose.concentrate_l, dose.water_l),
            (0.0, 26.0, 154.0)
        );
        assert!(dose.drain_l.is_sign_positive());
        assert!((dose.expected_concentration_pct.value - 6.044).abs() < 1e-9);
        assert_eq!(dose.limited_to_pct, None);
    }

    #[test]
    fn full_and_lean_is_a_drain_and_the_strongest_premix() {
        let dose = dose(1000.0, 4.5, 1000.0, 6.0).unwrap();
        assert_eq!((dose.drain_l, dose.premix_l), (97.0, 97.0));
        assert!(dose.premix_strength_pct <= 20.0);
        assert_eq!(dose.limited_to_pct, Some(20.0));
        assert!((dose.expected_concentration_pct.value - 6.0).abs() < 0.1);
    }

    #[test]
    fn near_enough_is_left_alone() {
        assert_eq!(dose(999.0, 5.8, 1000.0, 6.0), Err(Withheld::OnTarget));
    }

    #[test]
    fn mixing_takes_turnovers_but_never_less_than_the_minimum() {
        let flow = |q| Some(Flow::from_litres_per_minute(q));
        let time = |v, q| mixing_time(&setup(), Volume::from_litres(v), q);
        assert_eq!(time(1000.0, flow(50.0)), Span::from_mins(100));
        assert_eq!(time(200.0, flow(60.0)), Span::from_mins(30));
        assert_eq!(time(1000.0, None), Span::from_mins(30));
    }

    #[test]
    fn a_step_too_coarse_for_the_sump_gives_no_dose_instead_of_a_wrong_one() {
        let withheld = dose(40.0, 4.95, 40.0, 6.0).unwrap_err();
        assert_eq!(withheld, Withheld::StepTooCoarse { step_l: 1.0 });
    }

    proptest! {
        #[test]
        fn no_dose_leads_away_from_the_target(
            volume in 5f64..300.0, c in 1f64..15.0, room in 0f64..0.5, target in 2f64..12.0,
        ) {
            if let Ok(dose) = dose(volume, c, volume * (1.0 + room), target) {
                let before = (c - target).abs();
                let after = (dose.expected_concentration_pct.value - target).abs();
                prop_assert!(after < before.max(0.3 + 100.0 / volume));
            }
        }

        #[test]
        fn never_overfills_and_lands_near_the_target(
            volume in 100f64..5000.0, c in 1f64..15.0, room in 0f64..0.5, target in 2f64..12.0,
        ) {
            let target_volume = volume * (1.0 + room);
            if let Ok(dose) = dose(volume, c, target_volume, target) {
                prop_assert!(dose.expected_volume_l <= target_volume + 1e-6);
                prop_assert!(dose.premix_strength_pct <= 20.0 + 1e-9);
                prop_assert!(dose.drain_l >= 0.0 && dose.water_l >= 0.0 && dose.concentrate_l >= 0.0);
                // A step of 1 L in the concentrate and of 1 L in drain and fill.
                let slack = 100.0 * 2.0 / target_volume + 0.01;
                prop_assert!((dose.expected_concentration_pct.value - target).abs() < slack);
            }
        }
    }
}
