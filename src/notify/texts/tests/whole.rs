//! Whole messages, word by word, in both languages; and what no message may
//! do, whatever stands in it.

use std::sync::Arc;

use proptest::prelude::*;

use super::super::sample::{self, about};
use super::super::{
    sample_advice, sample_alarms, sample_balance, sample_instruments, sample_sizes,
    sample_summaries,
};
use super::*;
use crate::advice::{Advice, Reason, VolumeUnit, Way, Withheld, look_at};
use crate::alarm::{Priority, Transition};
use crate::engine::{AlarmLine, Suppressor};
use crate::model::{DepartureKind, MovementKind, Origin};
use crate::rules::{Condition, Direction, LimitLevel};
use crate::units::{Quantity, Span};

/// What a phone shows of a message before it is opened.
const FIRST_LINE: usize = 60;

/// The messages that the golden files hold, by their headings.
fn golden(texts: &Texts, language: &str) -> String {
    let low = || Condition::Limit(Quantity::Concentration, LimitLevel::Low);
    let raised = |advice| AlarmLine {
        advice: Some(Arc::new(advice)),
        ..sample_alarms::alarm(low(), Transition::Raised)
    };
    let channel = || Arc::<str>::from("brix-2");
    let dose = |way, reason| {
        let mut dose = sample_advice::dose(way);
        dose.why = vec![reason];
        dose.options.truncate(2);
        sample_advice::advice(Ok(dose))
    };
    let premix = raised(dose(Way::Premix, Reason::Room));
    let withheld = raised(sample_advice::advice(Err(Withheld::Silent {
        channel: channel(),
    })));
    let acknowledged = AlarmLine {
        by: Some("shift 1".to_owned()),
        ..sample_alarms::alarm(low(), Transition::Acknowledged)
    };
    let returned = sample_alarms::alarm(low(), Transition::Returned);
    let shelved = AlarmLine {
        by: Some("shift 1".to_owned()),
        reason: Some("filter on order".to_owned()),
        until: Some(about(VolumeUnit::Litre).time + Span::from_hours(20)),
        ..sample_alarms::alarm(low(), Transition::Shelved)
    };
    let suppressed = AlarmLine {
        because: Some(Suppressor::Alarm("concentration.low_low".to_owned())),
        ..sample_alarms::alarm(low(), Transition::Suppressed)
    };
    let again = sample_alarms::alarm(low(), Transition::RaisedAgain);
    let (look_at, cautions) = look_at(&Condition::StartUp);
    let start_up = AlarmLine {
        priority: Priority::High,
        advice: Some(Arc::new(Advice {
            id: "plant/advice/1".to_owned(),
            time: about(VolumeUnit::Litre).time,
            condition: Condition::StartUp,
            dose: None,
            withheld: None,
            look_at,
            cautions,
        })),
        ..sample_alarms::alarm(Condition::StartUp, Transition::Raised)
    };
    let silent = sample_instruments::raised(Condition::Silent(channel()));
    let frozen = sample_instruments::raised(Condition::Instrument(channel()));
    let doubted = sample_instruments::raised(Condition::Disagrees(channel()));
    let rate = sample_instruments::raised(Condition::Rate(Quantity::Ph, Direction::Falling));
    let loss = AlarmLine {
        evidence: Some(Box::new(sample_sizes::trend(Quantity::Volume, -60.0))),
        ..sample_instruments::raised(Condition::Loss)
    };
    let dose_missed = sample_instruments::raised(Condition::DoseMissed);
    let contradicted = sample_instruments::raised(Condition::Contradicted);
    let factor = sample_instruments::raised(Condition::Factor);
    let sinking = AlarmLine {
        evidence: Some(Box::new(sample_sizes::trend(Quantity::Concentration, -0.3))),
        ..sample_alarms::alarm(low(), Transition::Raised)
    };
    let not_said = AlarmLine {
        instrument: None,
        silent_with: Vec::new(),
        ..silent.clone()
    };
    let (drain, neat) = (
        dose(
            Way::DrainAndPremix,
            Reason::DrainForPremix {
                strongest_pct: 20.0,
            },
        ),
        dose(Way::NeatAtPoint, Reason::LeastRoom),
    );
    let (worked, missed) = (
        sample_advice::outcome(Some(true), -0.1),
        sample_advice::outcome(Some(false), 1.2),
    );
    let (right, weak) = (sample_advice::mixer(6.1), sample_advice::mixer(5.1));
    let unlogged = sample_balance::movement(MovementKind::Premix, 41.6, Origin::Inferred);
    let wrong = sample_balance::movement(MovementKind::Water, 41.6, sample_balance::contradicted());
    let jump = sample_balance::movement(MovementKind::Instrument, 0.0, Origin::Inferred);
    let leak = sample_balance::departure(DepartureKind::MixLost);
    let mut digest = sample_summaries::digest();
    digest.standing.truncate(2);
    digest.raised.truncate(2);
    digest.advice.truncate(1);
    let floods = sample_summaries::floods();
    let aways = sample_summaries::aways();
    let messages = [
        ("alarm with a dose", Told::Alarm(&premix)),
        ("alarm without a dose", Told::Alarm(&withheld)),
        ("alarm of a silent channel", Told::Alarm(&silent)),
        ("the same, as old journals have it", Told::Alarm(&not_said)),
        ("alarm of a frozen instrument", Told::Alarm(&frozen)),
        ("alarm of a doubted instrument", Told::Alarm(&doubted)),
        ("alarm of a signal that sinks", Told::Alarm(&sinking)),
        ("alarm of a rate", Told::Alarm(&rate)),
        ("alarm of a loss", Told::Alarm(&loss)),
        ("alarm of a missed dose", Told::Alarm(&dose_missed)),
        ("alarm of a contradicted entry", Told::Alarm(&contradicted)),
        ("alarm of the factor", Told::Alarm(&factor)),
        ("a start after a stand-still", Told::Alarm(&start_up)),
        ("acknowledged", Told::Alarm(&acknowledged)),
        ("back to normal", Told::Alarm(&returned)),
        ("told again", Told::Alarm(&again)),
        ("shelved", Told::Alarm(&shelved)),
        ("suppressed", Told::Alarm(&suppressed)),
        ("advice to drain", Told::Advice(&drain)),
        ("advice of neat concentrate", Told::Advice(&neat)),
        ("a dose that worked", Told::Outcome(&worked)),
        ("a dose that missed", Told::Outcome(&missed)),
        ("a mixer that is right", Told::Mixer(&right)),
        ("a mixer that is weak", Told::Mixer(&weak)),
        ("what nobody wrote down", Told::Movement(&unlogged)),
        ("what contradicts", Told::Movement(&wrong)),
        ("a jump", Told::Movement(&jump)),
        ("a leak", Told::Departure(Some(&leak))),
        ("usual again", Told::Departure(None)),
        ("a digest", Told::Digest(&digest)),
        ("a flood begins", Told::Flood(&floods[0])),
        ("a flood is over", Told::Flood(&floods[floods.len() - 1])),
        ("back at work", Told::Away(&aways[0])),
        ("back at work, and nothing stands", Told::Away(&aways[2])),
    ];
    let mut text = String::new();
    for (heading, message) in &messages {
        let message = told(texts, language, &about(VolumeUnit::Litre), message);
        text.push_str(&format!("=== {heading}\n{message}\n"));
    }
    text
}

#[test]
fn messages_read_so_in_english() {
    let want = include_str!("en.txt");
    pretty(&golden(&built_in(), "en"), want);
}

#[test]
fn messages_read_so_in_german() {
    let want = include_str!("de.txt");
    pretty(&golden(&built_in(), "de"), want);
}

fn pretty(got: &str, want: &str) {
    assert!(got == want, "got:\n{got}\nwant:\n{want}");
}

/// First what, in the first line; then what to do; then why; then cautions.
#[test]
fn the_order_is_what_to_do_why_beware() {
    let texts = built_in();
    for (language, marks) in [
        ("en", ["TOO LOW", "\nDo: ", "\nWhy: ", "\nCaution: "]),
        (
            "de",
            ["ZU NIEDRIG", "\nZu tun: ", "\nGrund: ", "\nVorsicht: "],
        ),
    ] {
        let line = AlarmLine {
            advice: Some(Arc::new(sample_advice::advice(Ok(sample_advice::dose(
                Way::Premix,
            ))))),
            ..sample_alarms::alarm(
                Condition::Limit(Quantity::Concentration, LimitLevel::Low),
                Transition::Raised,
            )
        };
        let text = told(
            &texts,
            language,
            &about(VolumeUnit::Litre),
            &Told::Alarm(&line),
        );
        let places = marks.map(|mark| text.find(mark).unwrap_or_else(|| panic!("{mark}: {text}")));
        assert!(places.is_sorted(), "{text}");
    }
}

#[test]
fn the_first_line_fits_a_phone() {
    let texts = built_in();
    for language in ["en", "de"] {
        sample::each(|about, message| {
            let text = told(&texts, language, about, message);
            let first = text.lines().next().unwrap_or_default();
            assert!(first.starts_with("Mill 4: "), "{text}");
            let width = first.chars().count();
            assert!(width <= FIRST_LINE, "{width}: {first}");
        });
    }
}

#[test]
fn gallons_and_nothing_else_where_a_plant_has_gallons() {
    let texts = built_in();
    let advice = sample_advice::advice(Ok(sample_advice::dose(Way::DrainAndPremix)));
    let about = about(VolumeUnit::UsGallon);
    let text = told(&texts, "en", &about, &Told::Advice(&advice));
    // 97 L are 25.62 US gal, 861 L are 227.45.
    assert!(
        text.contains("Drain 25.62 US gal (2 cans of 10 US gal and 5.62 US gal)."),
        "{text}"
    );
    assert!(text.contains("stop at 227 US gal"), "{text}");
    for unit in [" L ", " L.", " L,", " L\n", " L)"] {
        assert!(!text.contains(unit), "{unit:?}: {text}");
    }
    let german = told(&texts, "de", &about, &Told::Advice(&advice));
    assert!(german.contains("25,62 US-Gallonen"), "{german}");
}

#[test]
fn times_are_local_and_the_zone_is_named_once() {
    let texts = built_in();
    let returned = sample_alarms::alarm(Condition::Silent("brix".into()), Transition::Acknowledged);
    let about = about(VolumeUnit::Litre);
    let text = told(&texts, "en", &about, &Told::Alarm(&returned));
    // 13:25 UTC is 14:25 in Vienna in March.
    assert!(text.contains("14:25 CET; since 14:05."), "{text}");
    let german = told(&texts, "de", &about, &Told::Alarm(&returned));
    assert!(
        german.contains("14:25 MEZ; besteht seit 14:05."),
        "{german}"
    );
    let leak = sample_balance::departure(DepartureKind::WaterIn);
    let text = told(&texts, "en", &about, &Told::Departure(Some(&leak)));
    assert!(text.contains("since 1 Mar 08:25 CET;"), "{text}");
}

#[test]
fn an_unknown_language_is_told_in_english() {
    let text = told(
        &built_in(),
        "xx",
        &about(VolumeUnit::Litre),
        &Told::Departure(None),
    );
    assert_eq!(text, "Mill 4: losses and gains are usual again");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    /// Whatever people write, it stays text.
    #[test]
    fn no_title_note_or_name_breaks_a_message(
        title in "\\PC*|.*\\{\\{.*\\}\\}.*|\\{% .* %\\}|\\n+.*", note in any::<String>(), by in any::<String>(),
    ) {
        let texts = built_in();
        let mut dose = sample_advice::dose(Way::NeatAtPoint);
        dose.mixing_note = Some(note.clone());
        dose.dosing_point = Some(note.as_str().into());
        let line = AlarmLine {
            by: Some(by),
            advice: Some(Arc::new(sample_advice::advice(Ok(dose)))),
            ..sample_alarms::alarm(
                Condition::Disagrees(note.as_str().into()),
                Transition::Raised,
            )
        };
        let about = About { title: &title, ..about(VolumeUnit::Litre) };
        for language in ["en", "de"] {
            for transition in [Transition::Raised, Transition::Acknowledged] {
                let line = AlarmLine { transition, ..line.clone() };
                let text = told(&texts, language, &about, &Told::Alarm(&line));
                prop_assert!(text.contains(": "));
            }
        }
        prop_assert_eq!(texts.failed(), 0);
    }
}
