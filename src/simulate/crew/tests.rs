//! The crew at work, with messages as the daemon sends them.

use serde_json::{Value, json};

use super::*;
use crate::simulate::plant::{Fault, Plant, START, timetable};
use crate::units::Span;

const TOPIC: &str = "sumpward/demo/any/alarm";

fn at(minutes: i64) -> Timestamp {
    START + Span::from_mins(minutes)
}

fn demo() -> (Plant, Crew) {
    let plan = timetable(Span::from_hours(48));
    (Plant::new(1, START, &plan), Crew::new(1))
}

fn alarm(id: &str, sump: &str, condition: &str, value: f64, advice: Value) -> Value {
    json!({
        "id": id, "sump": sump, "condition": condition, "state": "unacknowledged",
        "time": START, "value": value, "advice": advice, "priority": "medium",
    })
}

fn swap(id: &str, litres: f64) -> Value {
    json!({"id": id, "why": ["lean"], "dose": {
        "drain_l": litres, "premix_l": litres, "premix_strength_pct": 20.0,
        "concentrate_l": litres * 0.2, "water_l": litres * 0.8,
        "expected_concentration_pct": 7.0, "expected_volume_l": 800.0,
    }})
}

fn tell(crew: &mut Crew, message: &Value, minute: i64) {
    crew.hear(TOPIC, message.to_string().as_bytes(), at(minute))
        .unwrap();
}

/// Lets plant and crew go on to a minute; gives what was written, with its
/// minute.
fn go_on(plant: &mut Plant, crew: &mut Crew, until: i64) -> Vec<(i64, Value)> {
    let mut written = Vec::new();
    while plant.now() + Span::from_mins(2) <= at(until) {
        plant.step(plant.now() + Span::from_mins(2));
        for entry in crew.work(plant).unwrap() {
            let minute = (entry.time - START).millis() / 60_000;
            written.push((minute, serde_json::from_slice(&entry.payload()).unwrap()));
        }
    }
    written
}

fn kinds(written: &[(i64, Value)]) -> Vec<&str> {
    let kind = |entry: &'_ Value| -> Option<String> {
        let what = entry.get("what").or(entry.get("kind"))?;
        Some(what.as_str()?.to_owned())
    };
    written
        .iter()
        .map(|(_, entry)| match kind(entry).as_deref() {
            Some("acknowledge") => "acknowledge",
            Some("hand_reading") => "hand_reading",
            Some("note") => "note",
            Some("drained") => "drained",
            Some("premix") => "premix",
            Some("water") => "water",
            Some("probe_cleaned") => "probe_cleaned",
            other => panic!("{other:?}"),
        })
        .collect()
}

fn concentration(plant: &Plant, sump: &str) -> f64 {
    plant.truth(sump).unwrap().mix.concentration_pct()
}

#[test]
fn a_lean_sump_is_measured_mended_and_dosed_to_the_litre() {
    let (mut plant, mut crew) = demo();
    go_on(&mut plant, &mut crew, 480);
    let c = concentration(&plant, "mill-2");
    let message = alarm("a1", "mill-2", "concentration.low", c, swap("d1", 95.0));
    tell(&mut crew, &message, 480);
    let written = go_on(&mut plant, &mut crew, 560);
    assert_eq!(
        kinds(&written),
        ["acknowledge", "hand_reading", "note", "drained", "premix"]
    );
    let minutes: Vec<i64> = written.iter().map(|(minute, _)| minute - 480).collect();
    assert!((8..=14).contains(&minutes[0]), "{minutes:?}");
    assert!((20..=42).contains(&minutes[1]), "{minutes:?}");
    let (drained, premix) = (&written[3].1, &written[4].1);
    assert_eq!(
        (&drained["litres"], &drained["advice"]),
        (&json!(95.0), &json!("d1"))
    );
    assert_eq!(premix["litres"], json!(95.0));
    assert_eq!(premix["strength_pct"], json!(20.0));
    assert_eq!(premix["advice"], json!("d1"));
    assert!(
        !plant.fix("mill-2", Fault::LeanDrift).unwrap(),
        "mended already"
    );
    assert!((6.6..7.4).contains(&concentration(&plant, "mill-2")));
}

#[test]
fn a_probe_that_the_hand_reading_contradicts_is_cleaned_and_nothing_dosed() {
    let (mut plant, mut crew) = demo();
    go_on(&mut plant, &mut crew, 700);
    let before = plant.truth("hobbing-1").unwrap().flows.drained.volume_l();
    let message = alarm(
        "a1",
        "hobbing-1",
        "concentration.high",
        8.6,
        swap("d1", 40.0),
    );
    tell(&mut crew, &message, 700);
    let written = go_on(&mut plant, &mut crew, 800);
    assert_eq!(
        kinds(&written),
        ["acknowledge", "hand_reading", "probe_cleaned"]
    );
    assert_eq!(written[2].1["channel"], json!("brix"));
    assert!(
        !plant.clean_probe("hobbing-1", Channel::Brix).unwrap(),
        "clean already"
    );
    let after = plant.truth("hobbing-1").unwrap().flows.drained.volume_l();
    assert_eq!(after, before);
    // The same advice once more is not taken up.
    tell(&mut crew, &message, 800);
    let mut again = message.clone();
    again["state"] = json!("acknowledged");
    tell(&mut crew, &again, 802);
    assert_eq!(go_on(&mut plant, &mut crew, 900), []);
}

#[test]
fn the_hand_reading_is_held_against_the_newest_alarm() {
    let (mut plant, mut crew) = demo();
    let low = alarm("a1", "mill-2", "concentration.low", 7.9, Value::Null);
    tell(&mut crew, &low, 0);
    let lower = alarm(
        "a2",
        "mill-2",
        "concentration.low_low",
        7.0,
        swap("d1", 9.0),
    );
    tell(&mut crew, &lower, 2);
    let written = go_on(&mut plant, &mut crew, 80);
    assert!(kinds(&written).contains(&"drained"), "{written:?}");
}

#[test]
fn a_silent_probe_is_plugged_in_again() {
    let (mut plant, mut crew) = demo();
    go_on(&mut plant, &mut crew, 320);
    let message = alarm("a1", "grinder-1", "silent.ph", 0.0, Value::Null);
    tell(&mut crew, &message, 320);
    let written = go_on(&mut plant, &mut crew, 400);
    assert_eq!(kinds(&written), ["acknowledge", "note"]);
    let silent = Fault::SilentChannel(Channel::Ph);
    assert!(!plant.fix("grinder-1", silent).unwrap(), "mended already");
}

#[test]
fn only_the_newest_advice_is_followed_and_only_once() {
    let (mut plant, mut crew) = demo();
    go_on(&mut plant, &mut crew, 480);
    let c = concentration(&plant, "mill-2");
    let message = alarm("a1", "mill-2", "concentration.low", c, swap("d1", 95.0));
    tell(&mut crew, &message, 480);
    let mut newer = swap("d2", 60.0);
    newer["sump"] = json!("mill-2");
    let topic = "sumpward/demo/mill-2/advice";
    crew.hear(topic, newer.to_string().as_bytes(), at(485))
        .unwrap();
    let written = go_on(&mut plant, &mut crew, 600);
    let followed: Vec<&Value> = written.iter().map(|(_, e)| &e["advice"]).collect();
    assert_eq!(followed[3..], [&json!("d2"), &json!("d2")]);
    crew.hear(topic, newer.to_string().as_bytes(), at(600))
        .unwrap();
    assert_eq!(go_on(&mut plant, &mut crew, 700), []);
}

#[test]
fn advice_from_the_middle_of_a_dose_is_not_followed() {
    let (mut plant, mut crew) = demo();
    go_on(&mut plant, &mut crew, 480);
    let c = concentration(&plant, "mill-2");
    let message = alarm("a1", "mill-2", "concentration.low", c, swap("d1", 95.0));
    tell(&mut crew, &message, 480);
    let mut until = 480;
    let mut written = Vec::new();
    while !kinds(&written).contains(&"drained") {
        until += 2;
        written.extend(go_on(&mut plant, &mut crew, until));
    }
    let half_empty = alarm("a2", "mill-2", "volume.low", 700.0, swap("d2", 95.0));
    tell(&mut crew, &half_empty, until);
    written.extend(go_on(&mut plant, &mut crew, until + 120));
    let doses = kinds(&written).iter().filter(|k| **k == "premix").count();
    assert_eq!(doses, 1);
}

#[test]
fn a_low_sump_is_filled_with_what_the_advice_says() {
    let (mut plant, mut crew) = demo();
    go_on(&mut plant, &mut crew, 840);
    let advice = json!({"id": "d1", "dose": {"drain_l": 0.0, "premix_l": 50.0,
        "premix_strength_pct": 0.0, "concentrate_l": 0.0, "water_l": 50.0}});
    let message = alarm("a1", "lathe-3", "volume.low", 297.0, advice);
    tell(&mut crew, &message, 840);
    let written = go_on(&mut plant, &mut crew, 920);
    assert_eq!(kinds(&written), ["acknowledge", "hand_reading", "water"]);
    assert_eq!(written[2].1.get("strength_pct"), None);
}

#[test]
fn an_alarm_that_goes_by_itself_is_not_driven_out_for() {
    let (mut plant, mut crew) = demo();
    let mut message = alarm("a1", "saw-1", "concentration.low", 4.4, swap("d1", 20.0));
    tell(&mut crew, &message, 0);
    message["state"] = json!("returned_unacknowledged");
    message["advice"] = Value::Null;
    tell(&mut crew, &message, 4);
    assert_eq!(kinds(&go_on(&mut plant, &mut crew, 60)), ["acknowledge"]);
    assert_eq!(crew.next_due(), None);
}

#[test]
fn the_same_messages_give_the_same_entries() {
    let run = || {
        let (mut plant, mut crew) = demo();
        let message = alarm("a1", "mill-2", "concentration.low", 7.0, swap("d1", 9.0));
        tell(&mut crew, &message, 0);
        go_on(&mut plant, &mut crew, 60)
    };
    assert_eq!(run(), run());
    assert!(!run().is_empty());
}

#[test]
fn entries_read_as_the_daemon_expects_them() {
    let entry = |kind| CrewEntry {
        id: "crew-1".to_owned(),
        time: START,
        sump: "mill-2".to_owned(),
        by: "maintenance",
        kind,
    };
    let written = [
        CrewEntryKind::HandReading {
            quantity: "brix",
            value: 4.1,
        },
        CrewEntryKind::Addition {
            what: "premix",
            litres: 97.0,
            strength_pct: Some(20.0),
            advice: "d1".to_owned(),
        },
        CrewEntryKind::Event {
            what: "probe_cleaned",
            litres: None,
            channel: Some("brix"),
            advice: None,
        },
    ]
    .map(|kind| serde_json::from_slice::<Value>(&entry(kind).payload()).unwrap());
    let head = json!({"id": "crew-1", "time": "2026-03-02T06:00:00Z", "sump": "mill-2",
        "by": "maintenance"});
    let bodies = [
        json!({"kind": "hand_reading", "quantity": "brix", "value": 4.1}),
        json!({"kind": "addition", "what": "premix", "litres": 97.0, "strength_pct": 20.0,
            "advice": "d1"}),
        json!({"kind": "event", "what": "probe_cleaned", "channel": "brix"}),
    ];
    for (got, body) in written.iter().zip(bodies) {
        let mut expected = head.clone();
        let fields = expected.as_object_mut().unwrap();
        fields.extend(body.as_object().unwrap().clone());
        assert_eq!(*got, expected);
    }
}

#[test]
fn messages_that_say_nothing_are_told_apart_from_silence() {
    let mut crew = Crew::new(1);
    assert!(crew.hear(TOPIC, b"", START).is_ok());
    assert!(
        crew.hear("sumpward/demo/mill-2/state", b"{]", START)
            .is_ok()
    );
    let broken = crew.hear(TOPIC, b"{\"id\":", START).unwrap_err();
    assert!(broken.to_string().contains(TOPIC), "{broken}");
    let foreign = alarm("a1", "mill-9", "ph.low", 8.0, Value::Null);
    let foreign = crew.hear(TOPIC, foreign.to_string().as_bytes(), START);
    assert!(foreign.unwrap_err().to_string().contains("mill-9"));
}
