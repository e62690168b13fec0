//! Doses: withheld, given, followed and judged.

use super::*;
use crate::advice::{self, Withheld};

#[test]
fn a_doubted_probe_drives_no_dose_until_it_is_cleaned() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let hand = EntryKind::HandReading {
        quantity: Quantity::Brix,
        value: 3.2,
        method: None,
        mixer: None,
        written: None,
    };
    bench.enter("hand", minute(60), hand);
    assert_eq!(bench.alarms(), [told("disagrees.brix", Transition::Raised)]);
    assert_eq!(bench.watch.status().concentration_pct, None);
    // The level falls: topping up would need the concentration.
    bench.run(61..120, 8.0, 700.0);
    let withheld = bench.last_advice().withheld.clone();
    let channel = "brix".into();
    assert_eq!(withheld, Some(Withheld::Doubted { channel }));
    let cleaned = EntryKind::Event {
        what: HappeningKind::ProbeCleaned,
        litres: None,
        channel: Some("brix".into()),
        advice: None,
    };
    bench.enter("clean", minute(120), cleaned);
    assert_eq!(
        bench.alarms().last(),
        Some(&told("disagrees.brix", Transition::Returned))
    );
    bench.run(121..124, 6.4, 700.0);
    let measured = bench.watch.status().concentration_pct.expect("known again");
    assert!((measured.value - 6.4).abs() < 1e-9, "{measured:?}");
}

#[test]
fn a_followed_dose_is_judged_after_mixing() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..100, 5.0, 900.0);
    let advice = bench.last_advice().id.clone();
    let addition = EntryKind::Addition {
        what: AdditionKind::Premix,
        litres: 90.0,
        strength_pct: Some(20.0),
        water: None,
        advice: Some(advice.clone()),
    };
    bench.enter("added", minute(100), addition.clone());
    bench.enter("added", minute(101), addition);
    bench.run(101..160, 6.5, 900.0);
    let kinds: Vec<_> = bench
        .journal()
        .iter()
        .map(|record| record.body.kind())
        .collect();
    assert_eq!(
        kinds,
        [
            "advice",
            "alarm",
            "entry",
            "advice_followed",
            "alarm",
            "advice_outcome",
            "advice"
        ]
    );
    let JournalBody::AdviceOutcome(outcome) = &bench.journal()[5].body else {
        panic!("the last line is the outcome");
    };
    assert_eq!(
        (outcome.advice.as_str(), outcome.as_expected),
        (advice.as_str(), Some(true))
    );
    assert_eq!(bench.journal()[5].time, minute(145));
    // The alarm is gone, the target not reached: the next step follows.
    let next = bench.last_advice();
    let dose = next.dose.as_ref().expect("the next step");
    assert_eq!((dose.step, dose.steps), (2, 2));
    assert_eq!(next.condition.to_string(), "concentration.low");
    assert!((dose.expected_concentration_pct.value - 8.0).abs() < 0.2);
}

fn premix(litres: f64, advice: String) -> EntryKind {
    EntryKind::Addition {
        what: AdditionKind::Premix,
        litres,
        strength_pct: Some(20.0),
        water: None,
        advice: Some(advice),
    }
}

fn event(what: HappeningKind) -> EntryKind {
    EntryKind::Event {
        what,
        litres: None,
        channel: None,
        advice: None,
    }
}

fn outcome(bench: &Bench) -> Outcome {
    let found = bench
        .journal()
        .into_iter()
        .find_map(|line| match &line.body {
            JournalBody::AdviceOutcome(outcome) => Some((**outcome).clone()),
            _ => None,
        });
    found.expect("an outcome")
}

/// Lean at 5 %, advised, followed with so much premix; then so strong and full.
fn after_a_dose(litres: f64, concentration: f64, volume: f64) -> Bench {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..100, 5.0, 900.0);
    let advice = bench.last_advice().id.clone();
    bench.enter("added", minute(100), premix(litres, advice));
    bench.run(101..160, concentration, volume);
    bench
}

#[test]
fn what_was_poured_is_what_is_expected_of() {
    let bench = after_a_dose(60.0, 6.08, 870.0);
    let outcome = outcome(&bench);
    // 900 L less 90 L at 5 %, and 60 L of 20 %: 52.5 L in 870 L.
    let expected = outcome.expected_concentration_pct.value;
    assert!((expected - 5250.0 / 870.0).abs() < 0.01, "{outcome:?}");
    assert_eq!(outcome.as_expected, Some(true));
    assert_eq!(outcome.poured.map(|poured| poured.premix_l), Some(60.0));
}

#[test]
fn a_dose_that_missed_says_what_it_may_mean_and_brings_no_next_step() {
    let bench = after_a_dose(90.0, 7.4, 900.0);
    let outcome = outcome(&bench);
    assert_eq!(outcome.as_expected, Some(false));
    let judged = outcome.judgement.expect("a judgement");
    assert!((judged.deviation_pct - 0.9).abs() < 0.01);
    let Some(advice::Cause::Strength { explains_pct }) = judged.causes.first() else {
        panic!("{judged:?}");
    };
    // 900 L at 7.4 % out of 810 L at 5 % and 90 L.
    assert!((explains_pct - (6660.0 - 4050.0) / 90.0).abs() < 0.2);
    assert_eq!(
        bench.journal().last().unwrap().body.kind(),
        "advice_outcome"
    );
}

#[test]
fn an_unsure_source_is_shown_and_not_dosed_on() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let unsure = |time| {
        Event::Reading(Reading {
            channel: BRIX,
            claimed: Some(time),
            arrival: time,
            value: 2.7,
            form: Form::Reported,
            quality: Quality::UNSURE,
        })
    };
    for m in 60..100 {
        bench.watch.step(&unsure(minute(m)), &mut bench.effects);
        bench.read(LEVEL, minute(m), 0.9);
    }
    let channel = "brix".into();
    assert_eq!(
        bench.last_advice().withheld,
        Some(Withheld::Unsure { channel })
    );
    assert!(bench.watch.status().concentration_pct.is_some());
    bench.run(100..103, 5.0, 900.0);
    assert!(bench.last_advice().dose.is_some());
}

#[test]
fn bubbles_do_not_keep_a_dose_back() {
    let mut bench = Bench::new();
    for m in 0..60 {
        let bubble = if m % 7 == 3 { -2.5 } else { 0.0 };
        bench.read(BRIX, minute(m), 2.7 + bubble);
        bench.read(LEVEL, minute(m), 0.9);
    }
    assert!(bench.last_advice().dose.is_some());
}

#[test]
fn stopped_pumps_keep_a_dose_back_until_they_have_mixed() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.enter("off", minute(60), event(HappeningKind::PumpsOff));
    bench.run(60..100, 5.0, 900.0);
    // What stands in the cell is not the mix: nobody is told of it.
    let suppressed = told("concentration.low", Transition::Suppressed);
    assert_eq!(bench.alarms(), [suppressed]);
    bench.enter("on", minute(100), event(HappeningKind::PumpsOn));
    // Five turnovers of 900 L at 100 L/min.
    bench.run(100..145, 5.0, 900.0);
    let until = minute(145);
    let mixing = Some(Withheld::Mixing { until });
    assert_eq!(bench.last_advice().withheld, mixing);
    bench.run(145..147, 5.0, 900.0);
    assert!(bench.last_advice().dose.is_some());
}

#[test]
fn foam_keeps_a_dose_back_until_it_is_looked_at_again() {
    let looks = |look: Look| EntryKind::Impression {
        smell: None,
        look: vec![look],
        text: None,
    };
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.enter("foam", minute(60), looks(Look::Foam));
    bench.run(60..100, 5.0, 900.0);
    let seen = minute(60);
    let foaming = Some(Withheld::Foaming { seen });
    assert_eq!(bench.last_advice().withheld, foaming);
    bench.enter("calm", minute(100), looks(Look::Fresh));
    bench.run(100..102, 5.0, 900.0);
    assert!(bench.last_advice().dose.is_some());
}

#[test]
fn a_dose_that_only_lacked_the_level_is_given_once_the_level_is_there() {
    let mut bench = Bench::new();
    for m in 0..12 {
        bench.read(BRIX, minute(m), 2.7);
    }
    let too_few = |good| {
        let channel = "level".into();
        let needed = 3;
        Some(Withheld::TooFew {
            channel,
            good,
            needed,
        })
    };
    assert_eq!(bench.last_advice().withheld, too_few(0));
    for m in 12..14 {
        bench.read(LEVEL, minute(m), 0.9);
        assert_eq!(bench.last_advice().withheld, too_few(0));
    }
    bench.read(LEVEL, minute(14), 0.9);
    assert!(bench.last_advice().dose.is_some());
    let given = |bench: &Bench| {
        let lines = bench.journal();
        lines
            .iter()
            .filter(|line| line.body.kind() == "advice")
            .count()
    };
    assert_eq!(given(&bench), 2);
    bench.run(15..60, 5.0, 900.0);
    assert_eq!(given(&bench), 2);
}

#[test]
fn a_mixer_is_judged_by_its_outlet_and_by_what_it_usually_gives() {
    let outlet = |value: f64| EntryKind::HandReading {
        quantity: Quantity::Brix,
        value,
        method: None,
        mixer: Some("east".into()),
        written: None,
    };
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    // Factor 2 and a water zero of 0.2 °Bx: 6 % three times, then 5.1 %.
    for (place, value) in [3.2, 3.2, 3.2, 2.75].into_iter().enumerate() {
        bench.enter(&format!("outlet-{place}"), minute(60), outlet(value));
    }
    let checks: Vec<_> = bench
        .journal()
        .into_iter()
        .filter_map(|line| match &line.body {
            JournalBody::MixerChecked(check) => Some((**check).clone()),
            _ => None,
        })
        .collect();
    assert_eq!(checks.len(), 4);
    assert_eq!(
        (checks[2].new_setting_pct, checks[2].usual_ratio),
        (None, None)
    );
    assert!(
        (checks[3].got_pct.value - 5.1).abs() < 1e-9,
        "{:?}",
        checks[3]
    );
    assert!((checks[3].new_setting_pct.unwrap() - 120.0 / 17.0).abs() < 1e-9);
    assert!(checks[3].drifted);
    // It says nothing about the sump's own probe, 1.5 °Bx away.
    assert!(bench.alarms().is_empty());
}
