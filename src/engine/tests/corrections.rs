//! Entries that stand in the place of earlier ones.

use std::collections::BTreeSet;

use proptest::prelude::*;

use super::*;
use crate::alarm::Priority;

fn entry(id: &str, supersedes: Option<&str>, time: Timestamp, kind: EntryKind) -> Entry {
    Entry {
        id: id.into(),
        time,
        sump: "mill".into(),
        by: Some("crew".into()),
        supersedes: supersedes.map(str::to_owned),
        kind,
    }
}

fn by_hand(value: f64) -> EntryKind {
    EntryKind::HandReading {
        quantity: Quantity::Brix,
        value,
        method: None,
        mixer: None,
        written: None,
    }
}

fn premix(litres: f64, advice: Option<&str>) -> EntryKind {
    EntryKind::Addition {
        what: AdditionKind::Premix,
        litres,
        strength_pct: Some(20.0),
        water: None,
        advice: advice.map(str::to_owned),
    }
}

fn withdrawn() -> EntryKind {
    EntryKind::Withdrawn { text: None }
}

impl Bench {
    fn write(&mut self, entry: Entry, arrival: Timestamp) {
        self.watch
            .step(&Event::Entry(Box::new(entry), arrival), &mut self.effects);
    }

    fn kinds(&self) -> Vec<&'static str> {
        self.journal()
            .iter()
            .map(|record| record.body.kind())
            .collect()
    }
}

#[test]
fn who_names_an_alarm_or_advice_that_does_not_stand_is_told() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..100, 5.0, 900.0);
    let advice = bench.last_advice().id.clone();
    let standing = bench.watch.status().alarms[0].id.clone();
    let said = |kind| {
        let entry = entry("a", None, minute(100), kind);
        bench.watch.names_in_vain(&entry)
    };
    let acknowledge = |alarm: &str| EntryKind::Acknowledge {
        alarm: alarm.to_owned(),
    };
    assert_eq!(said(acknowledge(&standing)), None);
    assert_eq!(said(premix(180.0, Some(&advice))), None);
    let told = said(acknowledge("mill/ph.low/2026-03-02T06:00:00Z")).unwrap();
    assert!(
        told.contains("none is acknowledged") && told.contains(&standing),
        "{told}"
    );
    let told = said(premix(20.0, Some("mill/advice/99"))).unwrap();
    assert!(told.contains("none counts as followed"), "{told}");
    assert_eq!(said(premix(20.0, None)), None);
    assert_eq!(said(by_hand(4.1)), None);
}

#[test]
fn a_slip_of_the_pen_ends_its_doubt_when_it_is_corrected() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.write(entry("a", None, minute(60), by_hand(2.4)), minute(60));
    assert_eq!(bench.alarms(), [told("disagrees.brix", Transition::Raised)]);
    // Corrected an hour later; it is held against what the probe said then.
    bench.run(60..120, 5.0, 900.0);
    let corrected = entry("b", Some("a"), minute(60), by_hand(4.2));
    bench.write(corrected.clone(), minute(120));
    assert!(
        bench
            .alarms()
            .contains(&told("disagrees.brix", Transition::Returned))
    );
    let lines = bench.journal().len();
    bench.write(corrected, minute(121));
    assert_eq!(bench.journal().len(), lines, "the same again is known");
    let both: Vec<_> = bench
        .journal()
        .iter()
        .filter(|r| r.body.kind() == "entry")
        .cloned()
        .cloned()
        .collect();
    assert_eq!(both.len(), 2, "the old line stays, the new one names it");
}

#[test]
fn a_hand_reading_beyond_a_limit_that_nobody_is_told_of_counts_for_more() {
    // The window ends at 3.2 °Bx; 0.25 °Bx is within what a hand reading may differ.
    let told_of = |shown: f64, read: f64| {
        let mut bench = Bench::new();
        bench.run(0..60, shown, 900.0);
        bench.write(entry("a", None, minute(60), by_hand(read)), minute(60));
        bench.alarms()
    };
    assert_eq!(told_of(8.0, 3.95), [], "both inside");
    let lean = told_of(6.4, 3.15);
    assert_eq!(lean, [told("disagrees.brix", Transition::Raised)]);
    assert_eq!(told_of(6.2, 3.15), [], "too near to tell");
}

#[test]
fn a_value_read_long_ago_is_not_held_against_what_the_probe_says_now() {
    let mut bench = Bench::new();
    bench.run(0..120, 8.0, 900.0);
    bench.write(entry("a", None, minute(30), by_hand(2.4)), minute(119));
    assert!(bench.alarms().is_empty());
}

#[test]
fn withdrawn_nothing_is_left_but_the_lines() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.write(entry("a", None, minute(60), by_hand(2.4)), minute(60));
    bench.write(entry("b", Some("a"), minute(61), withdrawn()), minute(61));
    assert_eq!(
        bench.alarms(),
        [
            told("disagrees.brix", Transition::Raised),
            told("disagrees.brix", Transition::Returned)
        ]
    );
}

#[test]
fn the_advice_may_be_named_afterwards_or_not_at_all() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..100, 5.0, 900.0);
    let advice = bench.last_advice().id.clone();
    bench.write(
        entry("a", None, minute(100), premix(180.0, None)),
        minute(100),
    );
    assert_eq!(bench.kinds()[2..], ["entry", "advice_withdrawn"]);
    let named = entry("b", Some("a"), minute(100), premix(180.0, Some(&advice)));
    bench.write(named, minute(102));
    assert_eq!(
        bench.kinds()[4..],
        ["entry", "advice_restored", "advice_followed"]
    );
    let mixing = bench.watch.status().mixing_until;
    assert_eq!(mixing, Some(minute(145)), "a correction does not wait anew");
    // It was another sump's after all.
    bench.write(entry("c", Some("b"), minute(103), withdrawn()), minute(103));
    bench.run(103..150, 5.0, 900.0);
    assert!(
        !bench.kinds().contains(&"advice_outcome"),
        "{:?}",
        bench.kinds()
    );
    assert_eq!(bench.watch.status().mixing_until, None);
}

#[test]
fn a_superseded_acknowledgement_has_no_effect_unless_another_stands() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..100, 5.0, 900.0);
    let state = |bench: &Bench| bench.watch.status().alarms[0].state;
    let alarm = bench.watch.status().alarms[0].id.clone();
    let seen = || EntryKind::Acknowledge {
        alarm: alarm.clone(),
    };
    bench.write(entry("a", None, minute(100), seen()), minute(100));
    bench.write(entry("b", None, minute(101), seen()), minute(101));
    bench.write(entry("c", Some("a"), minute(102), withdrawn()), minute(102));
    assert_eq!(state(&bench), AlarmState::Acknowledged);
    bench.write(entry("d", Some("b"), minute(103), withdrawn()), minute(103));
    assert_eq!(state(&bench), AlarmState::Unacknowledged);
    assert_eq!(
        bench.alarms().last(),
        Some(&told("concentration.low", Transition::Unacknowledged))
    );
}

#[test]
fn what_cannot_be_there_cannot_be_superseded() {
    let mut bench = Bench::new();
    let correction = |of: &str, m: i64| entry("z", Some(of), minute(m), withdrawn());
    assert!(bench.watch.check_entry(&correction("a", 0)).is_err());
    bench.write(entry("a", None, minute(5), by_hand(4.0)), minute(5));
    assert_eq!(
        bench.watch.check_entry(&correction("a", 6)),
        Ok(Correction::Plain)
    );
    let told = bench
        .watch
        .check_entry(&correction("b", 6))
        .unwrap_err()
        .to_string();
    assert!(
        told.contains("no entry \"b\"") && told.contains("newest are a"),
        "{told}"
    );
    bench.write(entry("c", Some("a"), minute(6), withdrawn()), minute(6));
    let told = bench
        .watch
        .check_entry(&correction("a", 7))
        .unwrap_err()
        .to_string();
    assert!(told.contains("superseded by \"c\""), "{told}");
    // Once more entries have come than are remembered, an old one may be there.
    for n in 10..200 {
        bench.write(
            entry(&n.to_string(), None, minute(n), by_hand(4.0)),
            minute(n),
        );
    }
    assert_eq!(
        bench.watch.check_entry(&correction("b", 6)),
        Ok(Correction::Forgotten)
    );
    assert!(bench.watch.check_entry(&correction("b", 199)).is_err());
}

/// Whatever drives the watch, the daemon or a replay: of two corrections of
/// one entry the second is passed over, and time with it.
#[test]
fn what_was_superseded_cannot_be_superseded_again_in_whatever_order_they_come() {
    let first = entry("a", None, minute(5), by_hand(4.0));
    let second = entry("b", Some("a"), minute(6), by_hand(4.1));
    let third = entry("c", Some("a"), minute(90), withdrawn());
    for order in [
        [&first, &second, &third],
        [&second, &first, &third],
        [&second, &third, &first],
    ] {
        let mut bench = Bench::new();
        for one in order {
            bench.write(one.clone(), one.time);
        }
        assert_eq!(bench.kinds(), ["entry", "entry"], "{order:?}");
        assert!(!bench.watch.knows_entry("c"));
        assert_eq!(bench.watch.now(), minute(6));
        let past = Event::PastEntry(Box::new(third.clone()), minute(90));
        bench.watch.step(&past, &mut bench.effects);
        assert_eq!(bench.kinds().len(), 2, "nor out of history");
        // What stands may be superseded.
        bench.write(entry("d", Some("b"), minute(7), withdrawn()), minute(7));
        assert_eq!(bench.kinds().len(), 3);
    }
}

/// Where the watch stands, as far as entries decide it. The ids and the
/// wording of past alarms and advice tell in which order things came.
#[derive(Debug, PartialEq)]
struct Standing {
    mixing_until: Option<Timestamp>,
    /// Whether the dose that stands, if any, is followed. Which one it is may
    /// differ: what was worked out in between is as good.
    dose: Option<bool>,
    doubted: Vec<bool>,
    acknowledged: Vec<(String, bool)>,
    known: BTreeSet<String>,
}

fn standing(watch: &SumpWatch) -> Standing {
    let status = watch.status();
    let limits = status
        .alarms
        .iter()
        .filter(|alarm| alarm.priority > Priority::Low);
    Standing {
        mixing_until: status.mixing_until,
        dose: watch.dosing.standing(),
        doubted: status
            .channels
            .iter()
            .map(|channel| channel.doubted)
            .collect(),
        acknowledged: limits
            .map(|alarm| {
                (
                    alarm.condition.to_string(),
                    alarm.state == AlarmState::Acknowledged,
                )
            })
            .collect(),
        known: watch.entry_ids().map(str::to_owned).collect(),
    }
}

/// Kinds of which the same one can follow in the place of another.
fn pairs(advice: String, alarm: String) -> impl Strategy<Value = (EntryKind, EntryKind)> {
    let hand = (0.0..8.0f64).prop_map(by_hand);
    let advice = prop::option::of(Just(advice));
    let add =
        (1.0..200.0f64, advice).prop_map(|(litres, advice)| premix(litres, advice.as_deref()));
    let happened = prop::sample::select(vec![
        HappeningKind::Drained,
        HappeningKind::Recharged,
        HappeningKind::Skimmed,
        HappeningKind::ProbeCleaned,
    ]);
    let event = happened.prop_map(|what| EntryKind::Event {
        what,
        litres: None,
        channel: Some("brix".into()),
        advice: None,
    });
    let seen = prop::option::of(Just(alarm)).prop_map(|alarm| EntryKind::Acknowledge {
        alarm: alarm.unwrap_or_else(|| "another".into()),
    });
    let or_withdrawn = |kind: BoxedStrategy<EntryKind>| {
        let second = prop_oneof![3 => kind.clone(), 1 => Just(withdrawn())];
        (kind, second)
    };
    prop_oneof![
        or_withdrawn(hand.boxed()),
        or_withdrawn(add.boxed()),
        or_withdrawn(event.boxed()),
        or_withdrawn(seen.boxed()),
    ]
}

/// A sump that has gone lean and been told so, with the ids of the advice and
/// of the alarm.
fn lean() -> (Bench, String, String) {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..100, 5.0, 900.0);
    let advice = bench.last_advice().id.clone();
    let alarm = bench.watch.status().alarms[0].id.clone();
    (bench, advice, alarm)
}

fn corrected() -> impl Strategy<Value = (EntryKind, EntryKind)> {
    let (_, advice, alarm) = lean();
    pairs(advice, alarm)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    /// An entry and its correction, in whatever order and however often each
    /// comes, lead to the same.
    #[test]
    fn an_entry_and_its_correction_lead_to_the_same_whatever_the_order(
        (kind, other) in corrected(),
        (back, later) in (0i64..90, 0i64..20),
        earlier in prop::option::of(0.0..8.0f64),
        order in prop::collection::vec(any::<bool>(), 0..6),
    ) {
        let time = minute(100 - back);
        let first = entry("a", None, time, kind);
        let second = entry("b", Some("a"), time, other);
        let arrival = minute(100 + later);
        let (mut bench, ..) = lean();
        if let Some(value) = earlier {
            bench.write(entry("earlier", None, minute(95), by_hand(value)), minute(99));
        }
        let lead = |way: &[&Entry]| {
            let mut watch = bench.watch.clone();
            for one in way {
                watch.step(&Event::Entry(Box::new((*one).clone()), arrival), &mut Vec::new());
            }
            // A restart changes nothing either.
            let kept = serde_json::to_string(&watch.snapshot()).unwrap();
            let again = SumpWatch::restore(setup(), ADMISSION, serde_json::from_str(&kept).unwrap());
            assert_eq!(standing(&watch), standing(&again));
            standing(&watch)
        };
        let usual = lead(&[&first, &second]);
        prop_assert_eq!(&lead(&[&second, &first]), &usual);
        let any_order: Vec<&Entry> = order
            .iter()
            .map(|one| if *one { &first } else { &second })
            .chain([&second, &first])
            .collect();
        prop_assert_eq!(&lead(&any_order), &usual);
    }

    /// However many entries come, the memory is bounded.
    #[test]
    fn the_memory_is_bounded(corrections in prop::collection::vec(0u8..100, 300)) {
        let mut watch = SumpWatch::new(setup(), ADMISSION, start());
        for (n, of) in corrections.iter().enumerate() {
            let supersedes = format!("{of}");
            let one = entry(&format!("n{n}"), Some(&supersedes), minute(n as i64), by_hand(4.0));
            watch.step(&Event::Entry(Box::new(one), minute(n as i64)), &mut Vec::new());
        }
        let kept = serde_json::to_string(&watch.snapshot()).unwrap();
        prop_assert!(kept.len() < 40_000, "{} bytes", kept.len());
    }
}

#[test]
fn a_snapshot_of_ids_alone_is_understood() {
    let (mut bench, ..) = lean();
    bench.write(entry("a", None, minute(100), by_hand(2.5)), minute(100));
    let mut kept = serde_json::to_value(bench.watch.snapshot()).unwrap();
    let map = kept.as_object_mut().unwrap();
    map.remove("remembered");
    map.insert("entries".into(), serde_json::json!(["a"]));
    let watch = SumpWatch::restore(setup(), ADMISSION, serde_json::from_value(kept).unwrap());
    assert!(watch.knows_entry("a") && !watch.knows_entry("b"));
}
