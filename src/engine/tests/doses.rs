//! Doses: withheld, given, followed and judged.

use super::*;
use crate::advice::Withheld;

#[test]
fn a_doubted_probe_drives_no_dose_until_it_is_cleaned() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let hand = EntryKind::HandReading {
        quantity: Quantity::Brix,
        value: 3.2,
        method: None,
        written: None,
    };
    bench.enter("hand", minute(60), hand);
    assert_eq!(bench.alarms(), [told("disagrees.brix", Transition::Raised)]);
    assert_eq!(bench.watch.status().concentration_pct, None);
    // The level falls: topping up would need the concentration.
    bench.run(61..120, 8.0, 700.0);
    let withheld = bench.last_advice().withheld.clone();
    assert_eq!(withheld, Some(Withheld::NoConcentration));
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
        litres: 180.0,
        strength_pct: Some(20.0),
        water: None,
        advice: Some(advice.clone()),
    };
    bench.enter("added", minute(100), addition.clone());
    bench.enter("added", minute(101), addition);
    bench.run(101..160, 8.0, 900.0);
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
            "advice_outcome"
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
}

#[test]
fn a_dose_that_only_lacked_the_level_is_given_once_the_level_is_there() {
    let mut bench = Bench::new();
    for m in 0..12 {
        bench.read(BRIX, minute(m), 2.7);
    }
    assert_eq!(bench.last_advice().withheld, Some(Withheld::NoVolume));
    bench.read(LEVEL, minute(12), 0.9);
    assert!(bench.last_advice().dose.is_some());
    let given = |bench: &Bench| {
        let lines = bench.journal();
        lines
            .iter()
            .filter(|line| line.body.kind() == "advice")
            .count()
    };
    assert_eq!(given(&bench), 2);
    bench.run(13..60, 5.0, 900.0);
    assert_eq!(given(&bench), 2);
}
