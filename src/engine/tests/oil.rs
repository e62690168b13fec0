//! A refractometer that reads more than there is: by a film on its prism, by oil in
//! the mix, and a mix that truly is rich.

use super::charged_sump::{PH, Sump, equipped, event, read};
use super::*;
use crate::signal::InstrumentReason;

const DAY: i64 = 24 * 60;

/// A sump kept at 8 %, told of from 9 % on, with alarms for the refractometer and for
/// oil.
fn watched() -> Arc<SumpSetup> {
    let mut setup = (*equipped()).clone();
    setup.window = (
        Concentration::from_percent(7.0),
        Concentration::from_percent(9.0),
    );
    setup.limits = vec![limit(Quantity::Concentration, LimitLevel::High, 9.0, 0.25)];
    let rules = [
        Rule::Instrument {
            channel: "brix".into(),
        },
        Rule::TrampOil,
    ];
    setup.rules = rules
        .map(|rule| RuleSetup {
            rule,
            priority: Priority::Low,
            manner: AlarmManner::default(),
        })
        .to_vec();
    Arc::new(setup)
}

fn kept_for_a_week() -> Sump {
    let mut sump = Sump::charged_with(watched());
    sump.usual(6 * DAY);
    sump
}

/// Over so many days the refractometer comes to read so much more, °Bx, while the
/// conductivity becomes another by so much, µS/cm.
fn grow(sump: &mut Sump, days: i64, brix: f64, us_cm: f64) {
    for hour in 1..=24 * days {
        let share = hour as f64 / (24 * days) as f64;
        sump.run(60, 4.2 + share * brix, 9.2, 2400.0 + share * us_cm);
    }
}

fn told(sump: &Sump) -> Vec<String> {
    let lines = sump.effects.iter().filter_map(|effect| match effect {
        Effect::Journal(record) => match &record.body {
            JournalBody::Alarm(line) if line.transition.annunciates(line.state) => {
                Some(line.condition.to_string())
            }
            _ => None,
        },
        _ => None,
    });
    lines.collect()
}

fn by_hand(sump: &mut Sump, brix: f64) {
    let id = format!("hand-{}", sump.minute);
    let refractometer = Some(Method::Refractometer);
    sump.write(&id, None, read(Quantity::Brix, brix, refractometer));
}

fn titrate(sump: &mut Sump, percent: f64) {
    let id = format!("titration-{}", sump.minute);
    let titration = Some(Method::Titration);
    sump.write(&id, None, read(Quantity::Concentration, percent, titration));
}

/// Somebody looked, and saw a film of oil.
fn see_oil(sump: &mut Sump) {
    let id = format!("look-{}", sump.minute);
    let look = EntryKind::Impression {
        smell: None,
        look: vec![Look::OilFilm],
        text: None,
    };
    sump.write(&id, None, look);
}

#[test]
fn a_rise_that_no_conductivity_follows_is_told_of_the_instrument() {
    let mut sump = kept_for_a_week();
    grow(&mut sump, 2, 0.8, 0.0);
    assert_eq!(told(&sump), ["instrument.brix"]);
    let channels = sump.watch.status().channels;
    let reason = channels[usize::from(BRIX)].instrument.reason;
    assert_eq!(reason, Some(InstrumentReason::Fouled));
}

#[test]
fn what_a_hand_refractometer_reads_too_and_no_conductivity_is_oil_until_it_is_titrated() {
    let mut sump = kept_for_a_week();
    grow(&mut sump, 5, 0.35, 0.0);
    // It reads the same oil.
    by_hand(&mut sump, 4.55);
    sump.run(DAY / 2, 4.55, 9.2, 2400.0);
    let first = told(&sump);
    assert!(first.ends_with(&["tramp_oil".to_owned()]), "{first:?}");
    assert!(
        !first.contains(&"concentration.high".to_owned()),
        "{first:?}"
    );
    sump.run(20, 4.8, 9.2, 2400.0);
    by_hand(&mut sump, 4.8);
    sump.run(60, 4.8, 9.2, 2400.0);
    let rich = told(&sump);
    assert!(!rich.contains(&"concentration.high".to_owned()), "{rich:?}");
    // There is none: what it shows is true.
    titrate(&mut sump, 9.2);
    sump.run(60, 4.8, 9.2, 2400.0);
    let after = told(&sump);
    assert!(
        after.ends_with(&["concentration.high".to_owned()]),
        "{after:?}"
    );
}

#[test]
fn a_titration_that_bears_the_reading_out_is_not_asked_for_again() {
    let mut sump = kept_for_a_week();
    // Mix was lost with its minerals, and fresh mix put in.
    grow(&mut sump, 4, 0.45, 0.0);
    by_hand(&mut sump, 4.65);
    sump.run(DAY / 8, 4.65, 9.2, 2400.0);
    let of_oil = |sump: &Sump| told(sump).iter().filter(|one| *one == "tramp_oil").count();
    assert_eq!(of_oil(&sump), 1);
    titrate(&mut sump, 8.9);
    let wiped = EntryKind::Event {
        what: HappeningKind::ProbeCleaned,
        litres: None,
        channel: Some("brix".into()),
        advice: None,
    };
    sump.write("wiped", None, wiped);
    sump.run(30, 4.65, 9.2, 2400.0);
    by_hand(&mut sump, 4.65);
    sump.run(2 * DAY, 4.65, 9.2, 2400.0);
    assert_eq!(of_oil(&sump), 1, "{:?}", told(&sump));
}

#[test]
fn a_rich_mix_that_conducts_as_much_is_told_as_such() {
    let mut sump = kept_for_a_week();
    by_hand(&mut sump, 4.2);
    grow(&mut sump, 1, 0.7, 420.0);
    assert_eq!(told(&sump), ["concentration.high"]);
}

#[test]
fn a_film_of_oil_and_a_rich_reading_call_for_titration_once_a_week() {
    let mut sump = kept_for_a_week();
    by_hand(&mut sump, 4.2);
    see_oil(&mut sump);
    sump.usual(60);
    assert_eq!(told(&sump), [""; 0], "it reads as it should");
    grow(&mut sump, 1, 0.3, 180.0);
    assert_eq!(told(&sump), ["tramp_oil"]);
    titrate(&mut sump, 8.6);
    sump.run(60, 4.5, 9.2, 2580.0);
    let stands = |sump: &Sump| {
        let alarms = sump.watch.status().alarms;
        alarms.iter().any(|alarm| alarm.state.holds())
    };
    assert!(!stands(&sump), "{:?}", sump.watch.status().alarms);
    by_hand(&mut sump, 4.5);
    see_oil(&mut sump);
    sump.run(8 * DAY, 4.5, 9.2, 2580.0);
    assert_eq!(
        told(&sump),
        ["tramp_oil"; 2],
        "nobody has titrated for a week"
    );
    sump.write("skimmed", None, event(HappeningKind::Skimmed, None));
    sump.run(60, 4.5, 9.2, 2580.0);
    assert!(!stands(&sump));
}

#[test]
fn a_film_of_oil_is_not_over_because_the_refractometer_falls_silent() {
    let mut sump = kept_for_a_week();
    by_hand(&mut sump, 4.2);
    see_oil(&mut sump);
    grow(&mut sump, 1, 0.3, 180.0);
    assert_eq!(told(&sump), ["tramp_oil"]);
    let before = sump.effects.len();
    for _ in 0..120 {
        sump.minute += 1;
        sump.sense(PH, 9.2);
        sump.sense(LEVEL, 0.9);
    }
    let of_oil = sump.effects[before..].iter().filter(|effect| match effect {
        Effect::Journal(record) => match &record.body {
            JournalBody::Alarm(line) => line.condition.to_string() == "tramp_oil",
            _ => false,
        },
        _ => false,
    });
    assert_eq!(of_oil.count(), 0);
}
