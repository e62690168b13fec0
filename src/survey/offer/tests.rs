//! What is offered of messages, put into a plant's settings, reads what was
//! seen.

use super::*;
use crate::ingest::decode::{Claimed, Decoded, Plan};
use crate::ingest::sparkplug::{Delivery, Host, News, Outcome, Value};
use crate::settings::{Origin, PayloadFormat, Settings};
use crate::survey::plant;
use crate::units::Timestamp;
use proptest::prelude::*;

fn now() -> Timestamp {
    Timestamp::parse("2026-03-02T06:10:00Z").unwrap()
}

fn heard(topic: &str, payload: &[u8]) -> Report {
    let mut heard = Topics::default();
    heard.hear(topic, payload, false, now());
    heard.report()
}

/// What the settings read in a message.
fn read(settings: &Settings, topic: &str, payload: &[u8]) -> Vec<Decoded> {
    let mut plan = Plan::default();
    for route in &settings.routes {
        let Origin::Topic { topics, format, .. } = &route.origin else {
            panic!("{:?} is no topic", route.origin);
        };
        assert_eq!(*topics, [topic]);
        plan.add(format, &route.scale);
    }
    let mut outcomes = Vec::new();
    plan.decode(payload, &mut outcomes);
    outcomes
        .into_iter()
        .map(|outcome| outcome.reading.unwrap())
        .collect()
}

fn sorted(mut values: Vec<f64>) -> Vec<f64> {
    values.sort_by(f64::total_cmp);
    values
}

#[test]
fn what_is_offered_reads_what_was_seen() {
    let pack = br#"[{"bn":"urn:dev:ow:1:","bt":1772431790,"n":"temp","u":"Cel","v":21.5},
        {"n":"brix","v":7.25},{"n":"pump","vb":true},{"n":"x","u":"mm","v":480}]"#;
    let messages: [(&str, &[u8], &[f64], bool); 6] = [
        ("cells/a/brix", b"7.41", &[7.41], false),
        ("cells/a/pump", b"Running", &[1.0], false),
        ("cells/\"b\"/x y", b"12", &[12.0], false),
        (
            "cells/c",
            br#"{"ph":9.1,"a/b":[1,2],"on":true,"time":"2026-03-02T06:09:58Z","name":"the probe"}"#,
            &[1.0, 2.0, 1.0, 9.1],
            true,
        ),
        (
            "cells/d",
            br#"[4.5,{"ts":1772431798,"t":21.5}]"#,
            &[4.5, 21.5],
            true,
        ),
        // 480 mm of level are kept as 0.48 m.
        ("cells/e", pack, &[21.5, 7.25, 1.0, 0.48], true),
    ];
    for (topic, payload, values, timed) in messages {
        let report = heard(topic, payload);
        assert!(report.seen(now()).contains(topic));
        let offered = report.all_settings();
        let read = read(&plant::with(&offered), topic, payload);
        let found = read.iter().map(|reading| reading.value).collect();
        assert_eq!(sorted(found), sorted(values.to_vec()), "{offered}");
        let at = |reading: &Decoded| matches!(reading.claimed, Claimed::At(_));
        assert_eq!(read.iter().all(at), timed, "{offered}");
    }
}

#[test]
fn unit_and_status_beside_a_number_are_offered_switched_off() {
    let payload = r#"{"temp":70.7,"unit":"°F","status":"OK","inner":{"ph":9.1}}"#;
    let report = heard("cells/a", payload.as_bytes());
    let offered = report.all_settings();
    assert_eq!(plant::with(&offered).routes.len(), 2, "{offered}");
    let told: Vec<&str> = report.rows[0].values.iter().map(|v| &*v.place).collect();
    assert_eq!(told, ["/inner/ph", "/status", "/temp", "/unit"]);
    let switched_on = offered
        .replace("\n#unit", "\nunit")
        .replace("\n#status", "\nstatus");
    let settings = plant::with(&switched_on);
    let with_both = settings.routes.iter().filter(|route| {
        let Origin::Topic { format, .. } = &route.origin else {
            return false;
        };
        matches!(
            format,
            PayloadFormat::Json {
                unit: Some(_),
                status: Some(_),
                ..
            }
        )
    });
    assert_eq!(with_both.count(), 1, "{switched_on}");
    let read = read(&settings, "cells/a", payload.as_bytes());
    let celsius = read.iter().find(|reading| reading.value > 10.0).unwrap();
    // 70.7 °F = 21.5 °C.
    assert!((celsius.value - 21.5).abs() < 1e-9);
    assert_eq!(celsius.quality, crate::engine::Quality::GOOD);
}

/// Births and data as a library of others writes them; see the file's head.
const SPARKPLUG: &str = include_str!("../../../tests/reference/sparkplug_payloads.csv");

fn sparkplug() -> Vec<(String, Vec<u8>)> {
    let rows = SPARKPLUG.lines().filter(|line| line.starts_with("spBv1.0"));
    let bytes = |hex: &str| -> Vec<u8> {
        let pairs = (0..hex.len()).step_by(2);
        pairs
            .map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap())
            .collect()
    };
    rows.map(|row| {
        let mut cells = row.split(',');
        let topic = cells.next().unwrap().to_owned();
        (topic, bytes(cells.next().unwrap()))
    })
    .collect()
}

#[test]
fn metrics_are_offered_by_name_and_read_what_was_seen() {
    let messages = sparkplug();
    let births = &messages[..2];
    let mut topics = Topics::default();
    for (topic, payload) in births {
        topics.hear(topic, payload, false, now());
    }
    let report = topics.report();
    let device = &report.rows[1];
    assert_eq!(device.name, "Hall 3/gateway-1 tank");
    let settings = plant::with(&report.all_settings());
    let mut host = Host::default();
    let mut wanted = Vec::new();
    for route in &settings.routes {
        let Origin::Metric { metric, .. } = &route.origin else {
            panic!("{:?} is no metric", route.origin);
        };
        host.want(metric);
        wanted.push(metric.name.clone());
    }
    let mut found = Vec::new();
    for (topic, payload) in births {
        let mut out = Outcome::default();
        host.handle(topic, payload, now(), Delivery::First, &mut out)
            .unwrap();
        found.extend(out.findings);
    }
    assert_eq!(found.len(), device.values.len());
    for finding in found {
        let place = &wanted[finding.metric];
        let News::Reading { value, .. } = finding.news else {
            panic!("{place}: {:?}", finding.news);
        };
        let seen = match value {
            Value::Number(number) => Seen::Number(number),
            Value::Flag(flag) => Seen::Word(flag.to_string()),
        };
        let told = device.values.iter().find(|valued| valued.place == *place);
        assert_eq!(told.unwrap().value, seen, "{place}");
    }
}

#[test]
fn what_is_known_by_number_only_is_said_so() {
    let messages = sparkplug();
    let mut topics = Topics::default();
    // The data of the device without its birth.
    let (topic, payload) = &messages[2];
    topics.hear(topic, payload, false, now());
    let report = topics.report();
    assert_eq!(report.all_settings(), "");
    let seen = report.seen(now());
    assert!(
        seen.contains("3 metrics known by number only (101, 108, 110)"),
        "{seen}"
    );
    // With the birth before it, the data count by their names.
    let mut topics = Topics::default();
    for (topic, payload) in &messages[..3] {
        topics.hear(topic, payload, false, now());
    }
    let report = topics.report();
    let brix = report.rows[1]
        .values
        .iter()
        .find(|v| v.place == "Fluid/Brix");
    assert_eq!(brix.unwrap().value, Seen::Number(8.25));
    assert!(!report.seen(now()).contains("by number only"));
}

#[test]
fn what_is_not_recognised_is_listed_and_nothing_is_offered_for_it() {
    let report = heard("x", &[0xff, 0, 1]);
    assert!(report.seen(now()).contains("not recognised"));
    assert_eq!(report.all_settings(), "");
}

proptest! {
    /// Whatever comes, what is offered can be set.
    #[test]
    fn offered_settings_are_valid_whatever_the_names(
        topic in "[^+#\0$]{1,12}", name in "\\PC{1,8}", value in -99.0..99.0f64,
    ) {
        let payload = serde_json::json!({ &name: value, "b": [1, "on"] }).to_string();
        let settings = plant::with(&heard(&topic, payload.as_bytes()).all_settings());
        prop_assert_eq!(settings.routes.len(), 3);
    }

    #[test]
    fn no_message_panics(topic in r"(spBv1\.0/g/NDATA/n|x)", payload in prop::collection::vec(any::<u8>(), 0..80)) {
        let report = heard(&topic, &payload);
        report.seen(now());
        plant::with(&report.all_settings());
    }
}
