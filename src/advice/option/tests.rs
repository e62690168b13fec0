use proptest::prelude::*;

use super::*;
use crate::advice::{LossRates, Measure, Way};

pub(in super::super) fn setup() -> DoseSetup {
    DoseSetup {
        strongest_premix: Concentration::from_percent(20.0),
        measure: Measure {
            unit: super::super::VolumeUnit::Litre,
            step: Volume::from_litres(1.0),
            vessel: None,
        },
        dead_band: Concentration::from_percent(0.3),
        largest_step: Concentration::from_percent(2.0),
        longest_wait: Span::from_hours(24),
        dosing_point: None,
        good_readings: 3,
        turnovers: 5.0,
        min_mixing: Span::from_mins(30),
    }
}

pub(in super::super) fn state(volume: f64, concentration: f64) -> MixState {
    MixState {
        concentration: Measured::new(concentration, 0.1),
        repeatability: 0.1,
        volume: Measured::new(volume, 5.0),
        volume_assumed: false,
    }
}

/// A case with a head room of 5 %, as settings have it.
pub(in super::super) fn case(now: MixState, wanted: f64, target: f64) -> DoseCase<'static> {
    DoseCase {
        now,
        target: Concentration::from_percent(target),
        target_volume: Volume::from_litres(wanted),
        max_volume: Volume::from_litres(1.05 * wanted),
        mixing: Span::from_mins(30),
        losses: None,
        costs: None,
    }
}

fn losses(evaporation: f64, carry_off: f64) -> Option<LossRates> {
    let (e, d) = (0.1 * evaporation, 0.1 * carry_off);
    Some(LossRates {
        evaporation: Measured::new(evaporation, e),
        carry_off: Measured::new(carry_off, d),
        both: Measured::new(evaporation + carry_off, e.hypot(d)),
    })
}

fn ways(setup: &DoseSetup, case: &DoseCase<'_>) -> Vec<Way> {
    let options = case.options(setup).unwrap();
    options.iter().map(|option| option.way).collect()
}

fn find(setup: &DoseSetup, case: &DoseCase<'_>, way: Way) -> DoseOption {
    let options = case.options(setup).unwrap();
    let found = options.iter().find(|option| option.way == way);
    found
        .unwrap_or_else(|| panic!("{way:?} in {options:?}"))
        .clone()
}

/// A sump of which all is known, in tiny steps and one go: what the tables hold.
fn exact() -> DoseSetup {
    DoseSetup {
        measure: Measure {
            step: Volume::from_litres(1e-5),
            ..setup().measure
        },
        dead_band: Concentration::from_percent(1e-6),
        largest_step: Concentration::from_percent(100.0),
        ..setup()
    }
}

fn known(volume: f64, concentration: f64) -> MixState {
    MixState {
        concentration: Measured::new(concentration, 0.0),
        repeatability: 0.0,
        volume: Measured::new(volume, 0.0),
        volume_assumed: false,
    }
}

fn worked(kind: &str, inputs: &str) -> f64 {
    let table = include_str!("../../../tests/reference/mass_balance_misc.csv");
    let mut rows = csv::ReaderBuilder::new();
    let mut rows = rows.comment(Some(b'#')).from_reader(table.as_bytes());
    let row = rows
        .records()
        .map(Result::unwrap)
        .find(|row| &row[0] == kind && row[1].contains(inputs));
    row.unwrap()[3].parse().unwrap()
}

/// Every row of the table of doses that no limit on the premix touches.
#[test]
fn the_first_option_is_the_balance_of_the_table() {
    let table = include_str!("../../../tests/reference/mass_balance_topup.csv");
    let mut rows = csv::ReaderBuilder::new();
    let mut rows = rows.comment(Some(b'#')).from_reader(table.as_bytes());
    let mut checked = 0;
    for row in rows.records().map(Result::unwrap) {
        let number = |i: usize| row[i].parse::<f64>().unwrap();
        let strength = number(8);
        if strength > 20.0 || &row[0] == "full_on_target" {
            continue;
        }
        let mut of = case(known(number(1), number(2)), number(3), number(4));
        of.max_volume = of.target_volume;
        let best = of.options(&exact()).unwrap().swap_remove(0);
        let got = best.amounts;
        for (got, at) in [(got.drain_l, 5), (got.concentrate_l, 6), (got.water_l, 7)] {
            assert!((got - number(at)).abs() < 3e-5, "{row:?}: {best:?}");
        }
        assert!(best.reaches_target && best.fills_up, "{best:?}");
        checked += 1;
    }
    assert_eq!(checked, 12);
}

#[test]
fn the_worked_cases_of_a_full_sump() {
    let lean = case(known(1000.0, 4.5), 1000.0, 6.0);
    let swap = find(&exact(), &lean, Way::DrainAndPremix);
    let want = worked("full_lean_premix", "premix=20");
    assert!((swap.amounts.drain_l - want).abs() < 2e-5, "{swap:?}");
    assert!((swap.waste_l - want).abs() < 2e-5);
    assert!((swap.expected_concentration_pct.value - 6.0).abs() < 1e-5);

    let pointed = DoseSetup {
        dosing_point: Some("weir".into()),
        ..exact()
    };
    let neat = find(&pointed, &lean, Way::NeatAtPoint);
    let want = worked("full_lean_overfill", "V=1000");
    assert!((neat.amounts.concentrate_l - want).abs() < 2e-5, "{neat:?}");

    let mut rich = case(known(1000.0, 8.0), 1000.0, 6.0);
    rich.max_volume = Volume::from_litres(1400.0);
    let water = find(&exact(), &rich, Way::WaterToMax);
    let want = worked("full_rich_overfill", "V=1000");
    assert!((water.amounts.water_l - want).abs() < 2e-5, "{water:?}");

    let mut low = case(known(900.0, 9.0), 1000.0, 6.0);
    low.max_volume = low.target_volume;
    let water = find(&exact(), &low, Way::WaterOnly);
    let want = worked("water_only_topup_result", "V=900");
    assert!((water.expected_concentration_pct.value - want).abs() < 1e-6);
    assert!(!water.reaches_target);
}

#[test]
fn losses_take_as_long_as_the_table_says() {
    let at = losses(40.0, 15.0).unwrap();
    let fall = Measured::new(300.0, 0.0);
    let days = at.days_for(fall).unwrap();
    assert!((days.value - worked("drift_time_to_level", "V0=1000")).abs() < 1e-6);
    assert_eq!(losses(0.0, 0.0).unwrap().days_for(fall), None);
}

/// However little is known of what of it is vapour.
#[test]
fn a_wait_is_as_uncertain_as_all_that_is_lost() {
    let mut of = case(known(1000.0, 4.5), 1000.0, 6.0);
    of.losses = Some(LossRates {
        evaporation: Measured::new(40.0, 10.0),
        carry_off: Measured::new(15.0, 10.0),
        both: Measured::new(55.0, 0.55),
    });
    let days = find(&exact(), &of, Way::WaitAndPremix).wait_d.unwrap();
    assert!(
        (days.uncertainty - 0.01 * days.value).abs() < 1e-9,
        "{days:?}"
    );
}

#[test]
fn the_head_room_serves_only_where_no_overfill_can_come_of_it() {
    // 1000 L from 5.5 to 6 % with premix of 20 %: 1000 · 0.5 / 14 = 36 L.
    let mut of = case(state(1000.0, 5.5), 1000.0, 6.0);
    assert_eq!(ways(&setup(), &of), [Way::PremixToMax, Way::DrainAndPremix]);
    let best = find(&setup(), &of, Way::PremixToMax);
    assert_eq!((best.amounts.premix_l, best.amounts.drain_l), (35.0, 0.0));
    of.now.volume.uncertainty = 8.0;
    assert_eq!(ways(&setup(), &of), [Way::DrainAndPremix]);
}

#[test]
fn waiting_is_recommended_up_to_the_longest_wait() {
    let mut of = case(state(1000.0, 4.5), 1000.0, 6.0);
    of.losses = losses(40.0, 15.0);
    // 1000 · 1.5 / 15.5 = 96.8 L of room at 55 L/d.
    let wait = find(&setup(), &of, Way::WaitAndPremix);
    let days = wait.wait_d.unwrap();
    assert!((days.value - 96.774_194 / 55.0).abs() < 1e-6, "{days:?}");
    assert!(days.uncertainty > 0.05 && wait.waste_l == 0.0);
    assert!((wait.expected_concentration_pct.value - 6.0).abs() < 0.1);
    assert_eq!(
        ways(&setup(), &of),
        [Way::DrainAndPremix, Way::WaitAndPremix]
    );
    let patient = DoseSetup {
        longest_wait: Span::from_hours(72),
        ..setup()
    };
    assert_eq!(
        ways(&patient, &of),
        [Way::WaitAndPremix, Way::DrainAndPremix]
    );
}

/// Held at its level with water, 1000 L lose 20 L/d of mix: 1000/20 · ln(8/6).
#[test]
fn too_rich_comes_down_by_itself_when_topped_up_with_water() {
    let mut of = case(state(1000.0, 8.0), 1000.0, 6.0);
    of.losses = losses(30.0, 20.0);
    let falls = find(&setup(), &of, Way::WaterAsItFalls);
    let days = falls.wait_d.unwrap().value;
    assert!((days - 50.0 * (8f64 / 6.0).ln()).abs() < 1e-9);
    assert!((falls.amounts.water_l - (50.0 * days).floor()).abs() <= 1.0);
    // The same by small steps of time.
    let (mut c, step) = (8.0, 1e-4);
    for _ in 0..(days / step) as u32 {
        c -= step * 20.0 * c / 1000.0;
    }
    assert!((c - 6.0).abs() < 1e-3, "{c}");
}

#[test]
fn neat_concentrate_needs_a_dosing_point_and_is_not_preferred_to_premix() {
    let pointed = DoseSetup {
        dosing_point: Some("return weir".into()),
        ..setup()
    };
    let full = case(state(1000.0, 4.5), 1000.0, 6.0);
    assert!(!ways(&setup(), &full).contains(&Way::NeatAtPoint));
    assert_eq!(ways(&pointed, &full)[0], Way::NeatAtPoint);
    let room = case(state(820.0, 4.2), 1000.0, 6.0);
    assert_eq!(ways(&pointed, &room), [Way::Premix]);
}

#[test]
fn a_large_correction_is_split() {
    // 900 L from 5 to 8 % with 20 % premix takes a swap of 180 L in one go.
    let of = case(state(900.0, 5.0), 900.0, 8.0);
    let best = find(&setup(), &of, Way::DrainAndPremix);
    assert_eq!((best.steps, best.amounts.drain_l), (2, 90.0));
    assert_eq!(best.waste_l, 180.0);
    assert_eq!(best.time_min, 60.0);
    let after = best.expected_concentration_pct.value;
    assert!((after - 6.5).abs() < 1e-9, "{after}");
}

/// Half of the same premix leads half of the way and leaves the room for the
/// rest.
#[test]
fn a_split_premix_leaves_the_room_for_its_next_step() {
    let of = case(state(700.0, 4.0), 1000.0, 8.0);
    let best = find(&setup(), &of, Way::Premix);
    assert_eq!((best.steps, best.amounts.premix_l), (3, 100.0));
    assert_eq!(best.waste_l, 0.0);
}

#[test]
fn a_little_too_rich_and_low_is_filled_up_and_never_drained() {
    let of = case(state(990.0, 6.2), 1000.0, 6.0);
    let options = of.options(&setup()).unwrap();
    assert_eq!(options[0].way, Way::WaterOnly);
    assert_eq!(options[0].amounts.water_l, 10.0);
    assert!(options[0].reaches_target && options[0].fills_up);
}

#[test]
fn costs_are_those_of_all_steps() {
    let costs = Costs {
        concentrate_per_l: 5.0,
        water_per_l: 0.01,
        disposal_per_l: 0.5,
        currency: "EUR".into(),
    };
    let mut of = case(state(900.0, 5.0), 900.0, 8.0);
    of.costs = Some(&costs);
    let best = find(&setup(), &of, Way::DrainAndPremix);
    // Twice 18 L of concentrate, 72 L of water, 90 L to get rid of.
    let cost = best.cost.unwrap();
    assert!((cost.amount - 2.0 * (90.0 + 0.72 + 45.0)).abs() < 1e-9);
}

fn any_case() -> impl Strategy<Value = DoseCase<'static>> {
    let sump = (100f64..5000.0, 0.5f64..18.0, -0.06f64..0.5, 2f64..12.0);
    let loss = prop_oneof![Just(None), (0f64..80.0, 0f64..80.0).prop_map(Some)];
    (sump, loss).prop_map(|((volume, c, room, target), loss)| {
        let mut of = case(state(volume, c), volume * (1.0 + room), target);
        of.losses = loss.and_then(|(e, d)| losses(e, d));
        of
    })
}

proptest! {
    #[test]
    fn nothing_overfills_and_nothing_is_stronger_than_allowed(
        of in any_case(), point in any::<bool>(),
    ) {
        let setup = DoseSetup { dosing_point: point.then(|| "weir".into()), ..setup() };
        for option in of.options(&setup).unwrap() {
            let amounts = option.amounts;
            let before = of.now.volume.value;
            let most = of.max_volume.litres().max(before);
            prop_assert!(option.expected_volume_l.value <= most + 1e-6, "{option:?}");
            if option.way != Way::NeatAtPoint {
                prop_assert!(amounts.premix_strength_pct <= 20.0 + 1e-9, "{option:?}");
            }
            let parts = [amounts.drain_l, amounts.concentrate_l, amounts.water_l];
            prop_assert!(parts.iter().all(|litres| *litres >= 0.0), "{option:?}");
            for litres in parts {
                prop_assert!((litres - litres.round()).abs() < 1e-6 || litres == before);
            }
        }
    }

    /// The first option leads to the target within 0.2 points and what rounding
    /// takes: half a step of concentrate and two of drain and fill. What is
    /// near enough already may stay as it is.
    #[test]
    fn the_best_option_reaches_the_target(of in any_case()) {
        let setup = DoseSetup { largest_step: Concentration::from_percent(100.0), ..setup() };
        let options = of.options(&setup).unwrap();
        let Some(best) = options.first() else { return Ok(()) };
        prop_assert!(best.reaches_target, "{best:?}");
        let after = best.expected_concentration_pct.value;
        let rounding = 100.0 * 2.0 / of.now.volume.value;
        let near = if best.way == Way::DrainAndPremix || best.way == Way::DrainAndWater {
            0.2
        } else {
            of.near_enough(&setup)
        };
        prop_assert!((after - of.target.percent()).abs() <= near + rounding, "{best:?}");
    }

    #[test]
    fn no_step_moves_the_concentration_by_more_than_the_largest(
        of in any_case(), largest in 0.5f64..5.0,
    ) {
        let setup = DoseSetup { largest_step: Concentration::from_percent(largest), ..setup() };
        for option in of.options(&setup).unwrap() {
            let kept = of.now.volume.value - option.amounts.drain_l;
            let alone = matches!(option.way, Way::WaterAsItFalls | Way::WaitAndPremix);
            if kept < 0.55 * of.target_volume.litres() || alone {
                continue;
            }
            let moved = option.expected_concentration_pct.value - of.now.concentration.value;
            let rounding = 100.0 * 2.0 / kept;
            prop_assert!(moved.abs() <= largest + rounding, "{option:?}");
        }
    }

    /// Step after step, read exactly each time, ends near the target.
    #[test]
    fn step_after_step_ends_at_the_target(of in any_case()) {
        let setup = setup();
        let mut of = DoseCase { losses: None, ..of };
        for _ in 0..60 {
            if of.is_near(&setup) {
                break;
            }
            let options = of.options(&setup).unwrap();
            let Some(best) = options.first() else { break };
            of.now.concentration.value = best.expected_concentration_pct.value;
            of.now.volume.value = best.expected_volume_l.value;
        }
        let missed = (of.now.concentration.value - of.target.percent()).abs();
        let rounding = 100.0 * 2.0 / of.now.volume.value;
        prop_assert!(missed <= of.near_enough(&setup) + rounding, "{of:?}");
    }

    #[test]
    fn options_are_sorted(of in any_case()) {
        let setup = setup();
        let options = of.options(&setup).unwrap();
        for pair in options.windows(2) {
            let (a, b) = (&pair[0], &pair[1]);
            prop_assert!(a.reaches_target || !b.reaches_target);
            let long = |one: &DoseOption| one.wait_d.is_some_and(|d| d.value > 1.0);
            if a.reaches_target == b.reaches_target && long(a) == long(b) {
                prop_assert!(a.waste_l <= b.waste_l);
            }
        }
    }
}
