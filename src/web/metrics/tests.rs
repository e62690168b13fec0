//! The text as whoever collects it reads it.

use std::collections::BTreeMap;
use std::sync::Arc;

use proptest::prelude::*;

use super::plant::series_of;
use super::*;
use crate::alarm::{AlarmState, Priority};
use crate::engine::{AlarmCounts, ChannelFigures, InstrumentClass, SumpFigures};
use crate::model::DepartureKind;
use crate::model::money::Litres;
use crate::store::Held;
use crate::units::{Measured, Quantity, Span, Timestamp};

const NOW: Timestamp = Timestamp::from_millis(1_800_000_000_000);

fn channel(name: &str, quantity: Quantity, value: f64) -> ChannelFigures {
    ChannelFigures {
        channel: name.into(),
        quantity,
        value: Some(value),
        time: Some(NOW - Span::from_secs(90)),
        class: InstrumentClass::OutOfSpecification,
        doubted: false,
        spikes: 7,
    }
}

fn sump(name: &str) -> SumpFigures {
    SumpFigures {
        sump: name.into(),
        concentration_pct: Some(Measured::new(8.0, 0.5)),
        window_pct: (7.0, 9.0),
        volume_l: Some(812.5),
        working_volume_l: 820.0,
        evaporation_l_per_d: Some(Measured::new(86.4, 8.64)),
        carry_off_l_per_d: Some(Measured::new(43.2, 4.32)),
        departure_l_per_h: Some((DepartureKind::MixLost, 3.6)),
        used: Litres {
            concentrate_l: 70.0,
            water_l: 700.0,
            drained_l: 5.0,
        },
        channels: vec![
            channel("refractometer", Quantity::Brix, 7.2),
            channel("pH", Quantity::Ph, 9.1),
        ],
        alarms: AlarmCounts::of(
            [
                (Priority::High, AlarmState::Unacknowledged),
                (Priority::High, AlarmState::Unacknowledged),
                (Priority::Low, AlarmState::Shelved),
                (Priority::Low, AlarmState::Normal),
            ]
            .into_iter(),
        ),
    }
}

/// Counts of which each has its name.
fn named<const N: usize>(names: [&'static str; N]) -> [(&'static str, u64); N] {
    names.map(|name| (name, 0))
}

fn scrape(plant: &str, sumps: Vec<SumpFigures>) -> Arc<Scrape> {
    let broker = SourceFigures {
        name: "hall".into(),
        kind: "broker",
        connected: true,
        readings: 12,
        refused: named(["unreadable", "oversized", "unknown_topic", "other"]),
        repeated: named(["known", "undecided"]),
        ..SourceFigures::default()
    };
    Arc::new(Scrape {
        plant: plant.into(),
        now: NOW,
        sumps,
        plant_alarms: AlarmCounts::of([(Priority::Medium, AlarmState::Acknowledged)].into_iter()),
        daemon: DaemonFigures {
            sources: vec![broker],
            shards: vec![ShardFigures::default(); 2],
            store: StoreFigures {
                commit_steps: vec![(0.001, 3), (0.002, 1), (f64::INFINITY, 1)],
                commit_sum_s: 9.25,
                values: named(["stored", "duplicate", "conflict", "refused"]),
                bytes: named(["main", "wal"]),
                messages_dropped: named(["outbox_full", "expired", "refused"]),
                lags_s: [("packing", 21_600.5), ("rollups", 25_000.0)],
                forced_values: [("yes", 17), ("no", 4)],
                held: Some(Held {
                    blocks: 3,
                    packed_values: 24_000,
                    minute_hours: 5,
                    hours: 6,
                    days: 1,
                    journal_lines: 8,
                }),
                ..StoreFigures::default()
            },
            messages: MessageFigures {
                sent: [1, 2, 3, 4, 5].map(|n| (["a", "b", "c", "d", "e"][n - 1], "sent", n as u64)),
            },
            forward: vec![ForwardFigures {
                target: "history".into(),
                behind_s: 2.5,
                ..ForwardFigures::default()
            }],
            ..DaemonFigures::default()
        },
    })
}

type Labels = BTreeMap<String, String>;

/// A line of values, read by the grammar of OpenMetrics 1.0.0.
fn read(line: &str) -> (String, Labels, f64) {
    let end = line.find(['{', ' ']).expect("a name");
    let (name, rest) = line.split_at(end);
    let mut labels = Labels::new();
    let mut rest = rest.chars().peekable();
    if rest.next_if_eq(&'{').is_some() {
        loop {
            let key: String = std::iter::from_fn(|| rest.next_if(|c| *c != '=')).collect();
            assert_eq!((rest.next(), rest.next()), (Some('='), Some('"')), "{line}");
            let mut value = String::new();
            loop {
                match rest.next().expect("an end of the value") {
                    '"' => break,
                    '\\' => value.push(match rest.next() {
                        Some('n') => '\n',
                        Some(c @ ('"' | '\\')) => c,
                        other => panic!("\\{other:?} in {line}"),
                    }),
                    c => value.push(c),
                }
            }
            assert!(labels.insert(key, value).is_none(), "a label twice: {line}");
            match rest.next() {
                Some(',') => {}
                Some('}') => break,
                other => panic!("{other:?} in {line}"),
            }
        }
    }
    assert_eq!(rest.next(), Some(' '), "{line}");
    let value: String = rest.collect();
    (name.to_owned(), labels, value.parse().expect("a number"))
}

fn lines(text: &str) -> Vec<(String, Labels, f64)> {
    let values = text.lines().filter(|line| !line.starts_with('#'));
    values.map(read).collect()
}

/// The value with this name and these labels.
fn value(text: &str, name: &str, wanted: &[(&str, &str)]) -> f64 {
    let all = lines(text);
    let mut found = all.iter().filter(|(of, labels, _)| {
        let has = |(key, value): &(&str, &str)| labels.get(*key).is_some_and(|is| is == value);
        of == name && wanted.iter().all(has)
    });
    let (_, _, value) = found
        .next()
        .unwrap_or_else(|| panic!("no {name} in {text}"));
    assert!(found.next().is_none(), "{name} twice");
    *value
}

#[test]
fn values_are_in_base_units() {
    let scrape = scrape("works", vec![sump("mill")]);
    let text = expose(&scrape, Format::OpenMetrics, 1000).text;
    for (name, labels, wanted) in [
        ("sumpward_sump_concentration_ratio", &[][..], 0.08),
        ("sumpward_sump_concentration_uncertainty_ratio", &[], 0.005),
        (
            "sumpward_sump_concentration_window_ratio",
            &[("bound", "lowest")],
            0.07,
        ),
        ("sumpward_sump_volume_litres", &[], 812.5),
        ("sumpward_sump_evaporation_litres_per_second", &[], 0.001),
        (
            "sumpward_sump_departure_litres_per_second",
            &[("kind", "mix_lost")],
            0.001,
        ),
        ("sumpward_sump_used_litres", &[("what", "water")], 700.0),
        (
            "sumpward_channel_value",
            &[("channel", "pH"), ("unit", "pH")],
            9.1,
        ),
        ("sumpward_channel_age_seconds", &[("channel", "pH")], 90.0),
        (
            "sumpward_channel_instrument_class",
            &[("quantity", "brix")],
            2.0,
        ),
        (
            "sumpward_channel_spikes_total",
            &[("quantity", "brix")],
            7.0,
        ),
        (
            "sumpward_sump_alarms",
            &[
                ("sump", "mill"),
                ("priority", "high"),
                ("state", "unacknowledged"),
            ],
            2.0,
        ),
        ("sumpward_sump_alarms", &[("sump", "plant")], 1.0),
        (
            "sumpward_alarms",
            &[("priority", "low"), ("state", "shelved")],
            1.0,
        ),
        (
            "sumpward_alarms",
            &[("priority", "low"), ("state", "suppressed")],
            0.0,
        ),
        (
            "sumpward_source_readings_total",
            &[("source", "hall"), ("kind", "broker")],
            12.0,
        ),
        (
            "sumpward_store_commit_seconds_bucket",
            &[("le", "0.002")],
            4.0,
        ),
        (
            "sumpward_store_commit_seconds_bucket",
            &[("le", "+Inf")],
            5.0,
        ),
        ("sumpward_store_commit_seconds_count", &[], 5.0),
        (
            "sumpward_forward_lag_seconds",
            &[("target", "history")],
            2.5,
        ),
        ("sumpward_store_packed_values", &[], 24_000.0),
        ("sumpward_store_rollups", &[("step", "minute")], 5.0),
        ("sumpward_store_lag_seconds", &[("of", "packing")], 21_600.5),
        (
            "sumpward_store_values_deleted_for_room_total",
            &[("forwarded", "no")],
            4.0,
        ),
        ("sumpward_store_short_of_room", &[], 0.0),
        ("sumpward_scrape_sumps_left_out", &[], 0.0),
    ] {
        let found = value(&text, name, labels);
        assert!((found - wanted).abs() < 1e-12, "{name}: {found}");
    }
    assert!(text.contains("\n# UNIT sumpward_sump_volume_litres litres\n"));
    assert!(text.contains("\n# TYPE sumpward_store_commit_seconds histogram\n"));
    assert!(text.ends_with("# EOF\n"));
}

#[test]
fn what_is_not_known_is_left_out() {
    let mut unknown = sump("mill");
    unknown.concentration_pct = None;
    unknown.volume_l = Some(f64::NAN);
    unknown.channels[0].value = None;
    unknown.channels[0].time = None;
    let mut scrape = scrape("works", vec![unknown]);
    Arc::get_mut(&mut scrape).unwrap().daemon.store.held = None;
    let text = expose(&scrape, Format::OpenMetrics, 1000).text;
    assert!(!text.contains("sumpward_sump_concentration_ratio"));
    assert!(!text.contains("sumpward_sump_volume_litres"));
    assert!(!text.contains("sumpward_store_blocks"));
    assert!(!text.contains("NaN"), "{text}");
    assert_eq!(value(&text, "sumpward_channel_value", &[]), 9.1);
}

#[test]
fn a_sump_takes_no_more_lines_than_it_is_given() {
    let full = sump("mill");
    let scrape = scrape("works", vec![full.clone()]);
    let text = expose(&scrape, Format::OpenMetrics, 1000).text;
    let of_sump = lines(&text)
        .into_iter()
        .filter(|(_, labels, _)| labels.get("sump").is_some_and(|sump| sump == "mill"));
    assert_eq!(of_sump.count(), series_of(&full));
}

#[test]
fn sumps_beyond_the_limit_are_left_out_and_counted() {
    let sumps: Vec<_> = (0..500).map(|n| sump(&format!("sump-{n}"))).collect();
    let room = 100 * series_of(&sumps[0]) + 1;
    let scrape = scrape("works", sumps);
    for format in [Format::OpenMetrics, Format::Plain] {
        let told = expose(&scrape, format, room);
        assert_eq!(told.left_out, 400);
        let found = value(&told.text, "sumpward_scrape_sumps_left_out", &[]);
        assert!((found - 400.0).abs() < f64::EPSILON);
        // The plant's sums hold for all of them.
        let high = [("priority", "high"), ("state", "unacknowledged")];
        let of_plant = lines(&told.text).into_iter().find(|(name, labels, _)| {
            name == "sumpward_alarms" && high.iter().all(|(k, v)| labels[*k] == *v)
        });
        assert!((of_plant.unwrap().2 - 1000.0).abs() < f64::EPSILON);
        assert!(lines(&told.text).len() < room + 150);
    }
}

#[test]
fn the_plain_text_has_the_same_values() {
    let scrape = scrape("works", vec![sump("mill")]);
    let [open, plain] = [Format::OpenMetrics, Format::Plain].map(|format| {
        let text = expose(&scrape, format, 1000).text;
        let mut told: Vec<_> = lines(&text)
            .iter()
            .map(|line| format!("{line:?}"))
            .collect();
        told.sort();
        told
    });
    assert_eq!(open, plain);
}

proptest! {
    /// Whatever names are made of, they come back as they were, on one line each.
    #[test]
    fn any_name_comes_back(plant in "\\PC{0,8}|[\"\\\\\n\r\t{},=# ]{0,8}", name in any::<String>()) {
        let mut one = sump(&name);
        one.channels[0].channel = name.as_str().into();
        let scrape = scrape(&plant, vec![one]);
        let text = expose(&scrape, Format::OpenMetrics, 1000).text;
        let values = text.split('\n').filter(|line| !line.starts_with('#') && !line.is_empty());
        let values: Vec<_> = values.map(read).collect();
        let (_, labels, _) = values
            .iter()
            .find(|(of, _, _)| of == "sumpward_channel_value")
            .unwrap();
        prop_assert_eq!(&labels["plant"], &plant);
        prop_assert_eq!(&labels["sump"], &name);
        prop_assert_eq!(&labels["channel"], &name);
        let series: std::collections::BTreeSet<_> =
            values.iter().map(|(of, labels, _)| (of, labels)).collect();
        prop_assert_eq!(series.len(), values.len(), "a series twice");
    }
}
