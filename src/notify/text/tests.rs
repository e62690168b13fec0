use super::*;
use crate::advice::{
    Amounts, Costs, DoseCase, DoseSetup, Followed, Found, LossRates, Measure, MixState, VolumeUnit,
    plan,
};
use crate::units::{Concentration, Span, Volume};

fn setup() -> DoseSetup {
    DoseSetup {
        strongest_premix: Concentration::from_percent(20.0),
        measure: Measure {
            unit: VolumeUnit::Litre,
            step: Volume::from_litres(1.0),
            vessel: Some(Volume::from_litres(10.0)),
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

fn case(volume: f64, concentration: f64, wanted: f64, target: f64) -> DoseCase<'static> {
    DoseCase {
        now: MixState {
            concentration: Measured::new(concentration, 0.3),
            repeatability: 0.1,
            volume: Measured::new(volume, 7.0),
            volume_assumed: false,
        },
        target: Concentration::from_percent(target),
        target_volume: Volume::from_litres(wanted),
        max_volume: Volume::from_litres(1.05 * wanted),
        mixing: Span::from_mins(34),
        losses: None,
        costs: None,
    }
}

fn losses() -> LossRates {
    LossRates {
        evaporation: Measured::new(40.0, 6.0),
        carry_off: Measured::new(15.0, 3.0),
        both: Measured::new(55.0, 6.0f64.hypot(3.0)),
    }
}

fn told(setup: &DoseSetup, case: &DoseCase<'_>) -> String {
    let (dose, _) = plan(setup, case).unwrap();
    dose_lines(&dose)
}

#[test]
fn a_premix_is_told_in_cans() {
    let want = "\
Do: check by hand first. Add 88 L of premix of 19.3 %: 17 L (1 can of 10 L and 7 L) concentrate stirred into 71 L (7 cans of 10 L and 1 L) water.
Watch the level while you add; stop at 861 L at the latest.
Expect 8.0 ± 0.5 % at 819 L. Let it mix 34 min with the pumps running, then re-check by hand and enter the reading.
Why: 731 L at 6.6 ± 0.6 % now, 820 L at 8.0 % wanted; by mass balance. There is room for it, and nothing goes to waste. The concentrate needed is known to ± 4.5 L.
";
    assert_eq!(told(&setup(), &case(731.2, 6.6, 820.0, 8.0)), want);
}

#[test]
fn a_drain_is_told_with_its_reason_its_cost_and_what_else_could_be_done() {
    let costs = Costs {
        concentrate_per_l: 5.2,
        water_per_l: 0.004,
        disposal_per_l: 0.35,
        currency: "EUR".into(),
    };
    let mut of = case(1000.0, 4.5, 1000.0, 6.0);
    of.losses = Some(losses());
    of.costs = Some(&costs);
    // 19 · 5.20 + 78 · 0.004 + 97 · 0.35.
    let want = "\
Do: check by hand first. Shut any automatic top-up until this is done.
Drain 97 L (9 cans of 10 L and 7 L).
Add 97 L of premix of 19.6 %: 19 L (1 can of 10 L and 9 L) concentrate stirred into 78 L (7 cans of 10 L and 8 L) water.
Watch the level while you add; stop at 1050 L at the latest.
Expect 6.0 ± 0.5 % at 1000 L. Let it mix 34 min with the pumps running, then re-check by hand and enter the reading.
Why: 1000 L at 4.5 ± 0.6 % now, 1000 L at 6.0 % wanted; by mass balance. There is too little room for a premix of at most 20 %; this is the least drain that makes it. Waiting for the losses would save that waste but take about 1.1 to 2.4 days, longer than the 1 d allowed. The concentrate needed is known to ± 5.5 L. Cost: 133.06 EUR.
Or: Wait 1.1 to 2.4 days without any top-up, then measure again and add about 96 L of premix of 16.7 % (6.0 %, no waste, 83.52 EUR).
";
    assert_eq!(told(&setup(), &of), want);
}

#[test]
fn a_step_says_that_it_is_one() {
    let text = told(&setup(), &case(900.0, 5.0, 900.0, 8.0));
    assert!(text.contains("\nDrain 90 L (9 cans of 10 L).\n"), "{text}");
    assert!(text.contains("\nStep 1 of about 2: "), "{text}");
}

#[test]
fn a_plant_of_gallons_is_told_gallons_only() {
    let gallon = VolumeUnit::UsGallon.litres();
    let setup = DoseSetup {
        measure: Measure {
            unit: VolumeUnit::UsGallon,
            step: Volume::from_litres(gallon / 4.0),
            vessel: Some(Volume::from_litres(5.0 * gallon)),
        },
        ..setup()
    };
    let text = told(&setup, &case(1000.0, 8.0, 1000.0, 6.0));
    let drain = "Drain 66.25 US gal (13 cans of 5 US gal and 1.25 US gal).";
    assert!(text.contains(drain), "{text}");
    assert!(text.contains("stop at 277 US gal"), "{text}");
    let litres = [" L ", " L.", " L,", " L\n"];
    assert!(!litres.iter().any(|unit| text.contains(unit)), "{text}");
}

#[test]
fn neat_concentrate_is_told_with_its_place() {
    let pointed = DoseSetup {
        dosing_point: Some("the return weir".into()),
        ..setup()
    };
    let text = told(&pointed, &case(1000.0, 4.5, 1000.0, 6.0));
    let add = "Add 15 L (1 can of 10 L and 5 L) of concentrate at the return weir, slowly.";
    assert!(text.contains(add), "{text}");
    assert!(
        text.contains("\nOr: Drain 97 L, add 97 L of premix of 19.6 % ("),
        "{text}"
    );
}

#[test]
fn a_sump_too_rich_is_told_the_slow_way_too() {
    let mut of = case(900.0, 9.0, 1000.0, 6.0);
    of.losses = Some(losses());
    let text = told(&setup(), &of);
    assert!(text.contains("\nOr: Top up with water alone for 16 to 33 days, about 1338 L in all"));
    assert!(text.contains("\nOr: Add 100 L of water (8.1 %, no waste, 34 min).\n"));
}

#[test]
fn a_miss_says_what_to_do_and_what_it_may_mean() {
    let followed = Followed {
        before: case(820.0, 4.2, 1000.0, 6.0).now,
        poured: Amounts::new(0.0, 26.0, 154.0),
        chart_uncertainty: 0.05,
        step_l: 1.0,
        dead_band: 0.3,
    };
    let found = Found {
        concentration: 7.2,
        repeatability: 0.1,
        volume: Some(Measured::new(905.0, 7.0)),
    };
    let judged = followed.judge(&found);
    let outcome = Outcome {
        advice: "mill/advice/1".into(),
        expected_concentration_pct: followed.expected().concentration,
        poured: Some(followed.poured),
        concentration_pct: Some(Measured::new(7.2, 0.37)),
        volume_l: Some(905.0),
        as_expected: Some(judged.as_expected),
        judgement: Some(judged),
    };
    let want = "\
Mill: dose MISSED, 7.2 ± 0.7 % now, 6.0 ± 0.5 % expected.
Do: read it by hand before anything else is added, and enter the reading.
Why: 1.2 points stronger than reckoned, where 0.2 are usual. It may mean, likeliest first:
- Amount: the level says +85 L where +180 L were reckoned with. Look up what was really drained and added, and enter it.
- Premix: one of 20.9 % would read so. Check the mixer at its outlet, or how the premix was measured.
- Tramp oil: stirred in, it reads as strength. Let a sample stand and read its lower part, or titrate.";
    assert_eq!(outcome_text("Mill", &outcome), want);
}
