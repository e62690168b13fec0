//! Alarms over the state of the fluid.

use super::charged_sump::{Sump, equipped, event, read, smelt};
use super::*;
use crate::model::Mineral;

fn ruled(rules: &[(Rule, Priority)]) -> Sump {
    let mut setup = (*equipped()).clone();
    setup.limits.clear();
    // The invented readings stand still to the last digit.
    for channel in &mut setup.channels {
        channel.instrument.frozen_after = None;
    }
    let rules = rules.iter().map(|(rule, priority)| RuleSetup {
        rule: rule.clone(),
        priority: *priority,
        manner: AlarmManner {
            on: Span::from_mins(30),
            off: Span::from_mins(30),
            ..AlarmManner::default()
        },
    });
    setup.rules = rules.collect();
    Sump::charged_with(Arc::new(setup))
}

fn told_by(sump: &Sump) -> Vec<(String, Transition)> {
    let lines = sump.effects.iter().filter_map(|effect| match effect {
        Effect::Journal(record) => match &record.body {
            JournalBody::Alarm(line) => Some((line.condition.to_string(), line.transition)),
            _ => None,
        },
        _ => None,
    });
    lines.collect()
}

fn steps(rule: fn(Step) -> Rule) -> Sump {
    ruled(&[
        (rule(Step::Watch), Priority::Low),
        (rule(Step::Act), Priority::Medium),
    ])
}

#[test]
fn a_mineral_is_told_at_each_bound_and_the_worse_one_alone() {
    let mut sump = steps(|step| Rule::Mineral(Mineral::Hardness, step));
    let hardness = |value| read(Quantity::Hardness, value, Some(Method::Titration));
    sump.usual(60);
    assert_eq!(told_by(&sump), [], "tap water is fine");
    sump.write("a", None, hardness(500.0));
    sump.usual(60);
    assert_eq!(told_by(&sump), [told("hardness.high", Transition::Raised)]);
    sump.effects.clear();
    sump.write("b", None, hardness(900.0));
    sump.usual(60);
    assert_eq!(
        told_by(&sump),
        [
            told("hardness.high_high", Transition::Raised),
            told("hardness.high", Transition::Suppressed),
        ]
    );
    sump.effects.clear();
    sump.write("c", None, event(HappeningKind::Recharged, None));
    // Nothing is judged while the new charge mixes.
    sump.usual(50);
    let suppressed = told("hardness.high_high", Transition::Suppressed);
    assert_eq!(told_by(&sump), [suppressed]);
    sump.usual(200);
    let over = ["hardness.high", "hardness.high_high"];
    let over = over.map(|name| told(name, Transition::Unsuppressed));
    assert_eq!(told_by(&sump)[1..], over);
}

#[test]
fn conductivity_is_held_against_its_base_line_and_not_while_something_mixes_in() {
    let mut sump = steps(Rule::Excess);
    let premix = EntryKind::Addition {
        what: AdditionKind::Premix,
        litres: 5.0,
        strength_pct: Some(8.0),
        water: None,
        advice: None,
    };
    sump.write("p", None, premix);
    sump.run(40, 4.2, 9.2, 3800.0);
    assert_eq!(told_by(&sump), [], "something mixes in");
    sump.run(300, 4.2, 9.2, 3800.0);
    assert_eq!(
        told_by(&sump),
        [told("conductivity.excess", Transition::Raised)]
    );
    sump.effects.clear();
    sump.usual(300);
    assert_eq!(
        told_by(&sump),
        [told("conductivity.excess", Transition::Returned)]
    );
}

#[test]
fn souring_takes_one_moderate_sign_and_is_likely_by_two() {
    let mut sump = steps(Rule::Souring);
    sump.write("s", None, smelt(Smell::Stale));
    sump.usual(120);
    assert_eq!(told_by(&sump), [], "one weak sign");
    sump.run(240, 4.2, 8.6, 2400.0);
    assert_eq!(
        told_by(&sump),
        [told("souring.suspected", Transition::Raised)]
    );
    sump.write("r", None, smelt(Smell::Rotten));
    sump.run(120, 4.2, 8.6, 2400.0);
    assert_eq!(
        told_by(&sump)[1..],
        [
            told("souring.likely", Transition::Raised),
            told("souring.suspected", Transition::Suppressed),
        ]
    );
}

#[test]
fn a_sump_that_stands_for_days_is_told_to_be_sour_when_it_starts() {
    let mut sump = steps(Rule::Souring);
    sump.usual(60);
    sump.write("off", None, event(HappeningKind::PumpsOff, None));
    sump.run(30 * 60, 4.2, 9.2, 2400.0);
    assert_eq!(told_by(&sump), []);
    sump.run(240, 4.2, 8.6, 2400.0);
    let waits = told("souring.suspected", Transition::Suppressed);
    assert_eq!(told_by(&sump), std::slice::from_ref(&waits));
    sump.write("on", None, event(HappeningKind::PumpsOn, None));
    sump.run(15, 4.2, 8.6, 2400.0);
    assert_eq!(told_by(&sump), [waits], "the cells are not flushed");
    sump.run(30, 4.2, 8.6, 2400.0);
    let starts = told("souring.suspected", Transition::Unsuppressed);
    assert_eq!(told_by(&sump)[1..], [starts]);
}

#[test]
fn a_silent_ph_probe_takes_no_sign_of_souring_away() {
    let mut sump = steps(Rule::Souring);
    sump.run(240, 4.2, 8.6, 2400.0);
    sump.effects.clear();
    for _ in 0..600 {
        sump.minute += 1;
        sump.sense(super::BRIX, 4.2);
    }
    let returned = told("souring.suspected", Transition::Returned);
    assert!(!told_by(&sump).contains(&returned));
}

#[test]
fn tramp_oil_is_told_by_its_reading_and_a_wrong_factor_by_titration() {
    let both = [
        (Rule::TrampOil, Priority::Low),
        (Rule::Factor, Priority::Low),
    ];
    let mut sump = ruled(&both);
    sump.write("o", None, read(Quantity::TrampOil, 1.0, None));
    sump.usual(60);
    assert_eq!(told_by(&sump), []);
    sump.write("p", None, read(Quantity::TrampOil, 3.0, None));
    sump.usual(60);
    assert_eq!(told_by(&sump), [told("tramp_oil", Transition::Raised)]);
    let mut sump = ruled(&both);
    let titrated = read(Quantity::Concentration, 10.0, Some(Method::Titration));
    sump.write("t", None, titrated);
    sump.usual(60);
    assert_eq!(told_by(&sump), [told("factor", Transition::Raised)]);
}

/// A sump with these rules in which that was found, and nobody looked again for so
/// many days. A cleaner has come in, so that its pH speaks against nothing.
fn found(rules: &[(Rule, Priority)], what: EntryKind) -> Sump {
    let mut sump = ruled(rules);
    sump.run(60, 4.2, 9.6, 2400.0);
    sump.write("found", None, what);
    sump.run(9 * 24 * 60, 4.2, 9.6, 2400.0);
    sump
}

#[test]
fn what_people_found_stands_until_somebody_looks_again() {
    let souring = [(Rule::Souring(Step::Watch), Priority::Low)];
    let oil = [(Rule::TrampOil, Priority::Low)];
    let slide = |count| read(Quantity::Bacteria, count, Some(Method::DipSlide));
    let looked = |look: Look| EntryKind::Impression {
        smell: None,
        look: vec![look],
        text: None,
    };
    let share = |percent| read(Quantity::TrampOil, percent, None);
    for (rules, bad, other, good) in [
        (
            &souring,
            smelt(Smell::Rotten),
            looked(Look::Dirty),
            smelt(Smell::Fresh),
        ),
        (
            &souring,
            looked(Look::Slime),
            smelt(Smell::Fresh),
            looked(Look::Fresh),
        ),
        (&souring, slide(1e7), smelt(Smell::Fresh), slide(1e2)),
        (&oil, share(3.0), smelt(Smell::Fresh), share(0.5)),
    ] {
        let mut sump = found(rules, bad);
        let first = told_by(&sump);
        let [(condition, Transition::Raised)] = &first[..] else {
            panic!("{first:?}");
        };
        sump.write("other", None, other);
        sump.run(24 * 60, 4.2, 9.6, 2400.0);
        assert_eq!(told_by(&sump).len(), 1, "{condition}: it was not looked at");
        sump.write("good", None, good);
        sump.run(60, 4.2, 9.6, 2400.0);
        let returned = told(condition, Transition::Returned);
        assert_eq!(told_by(&sump)[1..], [returned]);
    }
}

#[test]
fn what_people_found_too_long_ago_raises_nothing() {
    let rules = [
        (Rule::Souring(Step::Watch), Priority::Low),
        (Rule::TrampOil, Priority::Low),
    ];
    let mut sump = ruled(&rules);
    sump.usual(9 * 24 * 60);
    let then = minute(sump.minute - 8 * 24 * 60 - 60);
    sump.write_of(then, "smell", None, smelt(Smell::Rotten));
    let oil = read(Quantity::TrampOil, 3.0, None);
    sump.write_of(then, "oil", None, oil);
    sump.usual(24 * 60);
    assert_eq!(told_by(&sump), []);
}
