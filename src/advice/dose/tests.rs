use proptest::prelude::*;

use super::super::option::tests::{case, setup, state};
use super::*;

fn dose(volume: f64, concentration: f64, wanted: f64, target: f64) -> Result<Dose, Withheld> {
    let now = state(volume, concentration);
    plan(&setup(), &case(now, wanted, target)).map(|(dose, _)| dose)
}

#[test]
fn low_and_lean_is_one_premix() {
    let dose = dose(820.0, 4.2, 1000.0, 6.0).unwrap();
    assert_eq!(
        (
            dose.amounts.drain_l,
            dose.amounts.concentrate_l,
            dose.amounts.water_l
        ),
        (0.0, 26.0, 154.0)
    );
    assert!(dose.amounts.drain_l.is_sign_positive());
    assert!((dose.expected_concentration_pct.value - 6.044).abs() < 1e-9);
    assert_eq!((dose.limited_to_pct, dose.way), (None, Way::Premix));
    assert_eq!((dose.step, dose.steps), (1, 1));
}

#[test]
fn full_and_lean_is_a_drain_and_the_strongest_premix() {
    let dose = dose(1000.0, 4.5, 1000.0, 6.0).unwrap();
    assert_eq!((dose.amounts.drain_l, dose.amounts.premix_l), (97.0, 97.0));
    assert!(dose.amounts.premix_strength_pct <= 20.0);
    assert_eq!(dose.limited_to_pct, Some(20.0));
    assert!((dose.expected_concentration_pct.value - 6.0).abs() < 0.1);
    assert_eq!(dose.options[0].way, Way::DrainAndPremix);
}

#[test]
fn near_enough_is_left_alone() {
    let left = Err(Withheld::OnTarget { within_pct: 0.3 });
    assert_eq!(dose(999.0, 5.8, 1000.0, 6.0), left);
}

#[test]
fn a_reading_unsure_by_more_than_the_dead_band_widens_it() {
    let at = |uncertainty: f64| {
        let mut now = state(1000.0, 5.4);
        now.concentration.uncertainty = uncertainty;
        plan(&setup(), &case(now, 1000.0, 6.0)).map(|_| ())
    };
    assert_eq!(at(0.5), Ok(()));
    assert_eq!(at(0.61), Err(Withheld::OnTarget { within_pct: 0.61 }));
}

#[test]
fn a_level_unsure_by_more_than_what_is_missing_is_full() {
    let mut now = state(950.0, 6.0);
    assert!(plan(&setup(), &case(now, 1000.0, 6.0)).is_ok());
    now.volume.uncertainty = 60.0;
    assert!(plan(&setup(), &case(now, 1000.0, 6.0)).is_err());
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

/// u(x)² = (V u(c))² + (c u(V))² for a sump of 1000 ± 20 L at 4.5 ± 0.3 %:
/// 3 L and 0.9 L.
#[test]
fn the_dose_carries_the_uncertainty_of_what_it_is_worked_out_from() {
    let mut now = state(1000.0, 4.5);
    now.concentration.uncertainty = 0.3;
    now.volume.uncertainty = 20.0;
    let unsure = concentrate_uncertainty(now, Volume::default());
    assert!((unsure - 3f64.hypot(0.9)).abs() < 1e-12);
    // What is drained is not uncertain any more.
    let drained = concentrate_uncertainty(now, Volume::from_litres(500.0));
    assert!((drained - 1.5f64.hypot(0.9)).abs() < 1e-12);
}

/// Against differences of the balance itself.
#[test]
fn the_result_is_as_uncertain_as_the_balance_is_steep() {
    let amounts = Amounts {
        drain_l: 100.0,
        concentrate_l: 20.0,
        water_l: 80.0,
        premix_l: 100.0,
        premix_strength_pct: 20.0,
    };
    let c = |volume: f64, concentration: f64| {
        let after = state(volume, concentration).after(&amounts);
        after.concentration.value
    };
    let now = state(1000.0, 4.5);
    let h = 1e-4;
    let by_c = (c(1000.0, 4.5 + h) - c(1000.0, 4.5 - h)) / (2.0 * h);
    let by_v = (c(1000.0 + h, 4.5) - c(1000.0 - h, 4.5)) / (2.0 * h);
    let want = (by_c * now.concentration.uncertainty).hypot(by_v * now.volume.uncertainty);
    let got = now.after(&amounts).concentration.uncertainty;
    assert!((got - want).abs() < 1e-7, "{got} {want}");
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
}
