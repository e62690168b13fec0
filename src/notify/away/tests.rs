//! Week-ends of somebody with working hours, over a real store and with a clock of
//! the test's own.

use tempfile::TempDir;

use super::*;
use crate::alarm::{AlarmState, Transition};
use crate::notify::{Links, Texts};
use crate::settings::{MessageTexts, Settings};
use crate::store::{BROKER, Batch, Limits, Store, Writer};

const PLANT: &str = r#"
[plant]
name = "north"
[store]
folder = "./data"
[broker.main]
host = "127.0.0.1"
[fluid.a]
factor = 1.1
[sump.cell-a]
fluid = "a"
target = "8 %"
working_volume = "820 L"
vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
[sump.cell-a.channel.brix]
quantity = "brix"
topic = "cells/a/brix"
[contact.anna]
topic = "anna"
hours = ["mon-fri 06:00-14:00"]
"#;

/// A plant's post with a store of its own.
struct Bench {
    post: Post,
    folder: TempDir,
    writer: Writer<u32>,
}

fn at(text: &str) -> Timestamp {
    Timestamp::parse(text).unwrap()
}

impl Bench {
    fn new() -> Self {
        Bench::with(PLANT, None)
    }

    fn with(plant: &str, links: Option<Links>) -> Self {
        let settings = Settings::from_texts(&[("plant.toml", plant)], std::iter::empty());
        let settings = settings.unwrap_or_else(|error| panic!("{error}"));
        let texts = Texts::new(&MessageTexts::default()).unwrap();
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let series = store.register(&[]).unwrap();
        let after = Box::new(|_| {});
        Bench {
            post: Post::new(&settings, texts, links),
            writer: Writer::start(store, series, Limits::default(), after).unwrap(),
            folder,
        }
    }

    fn commit(&self, waiting: Vec<WaitingChange>) {
        let batch = Batch {
            waiting,
            urgent: true,
            ..Batch::default()
        };
        let handle = self.writer.handle();
        handle.submit(batch).unwrap();
        handle.flush().unwrap();
    }

    /// The n-th alarm takes a step.
    fn step(&self, n: usize, priority: Priority, transition: Transition, time: Timestamp) {
        let state = match transition {
            Transition::Raised => AlarmState::Unacknowledged,
            _ => AlarmState::ReturnedUnacknowledged,
        };
        let item = Item {
            alarm: format!("cell-a/ph.low/{n}"),
            title: "Cell A".to_owned(),
            condition: "ph.low".to_owned(),
            own_title: None,
            priority,
            transition: transition.name().to_owned(),
            state,
            is_new: transition == Transition::Raised,
            time,
            told: false,
        };
        let name = format!("{n} {}", transition.name());
        let note = Note {
            id: name.clone(),
            kind: "alarm".to_owned(),
            payload: format!("\"{name}\""),
            text: name,
            time,
            priority,
        };
        let anna = &self.post.contacts()[0];
        let mut changes = Vec::new();
        self.post
            .deliver(anna, &note, Some(item), None, time, &mut changes);
        self.commit(changes);
    }

    /// The desk looks.
    fn look(&self, now: Timestamp) {
        let reader = Reader::open(self.folder.path()).unwrap();
        let summed = self.post.summaries(&reader, now).unwrap();
        self.commit(summed.waiting);
    }

    /// What anna got so far, in order.
    fn got(&self) -> Vec<serde_json::Value> {
        let reader = Reader::open(self.folder.path()).unwrap();
        let letters = reader.outbox_after(0, 1000).unwrap();
        let payloads = letters.iter().filter(|row| row.topic == "anna");
        payloads
            .map(|row| serde_json::from_str(&row.payload).unwrap())
            .collect()
    }
}

const SATURDAY: &str = "2026-11-28T10:00:00Z";
const MONDAY: &str = "2026-11-30T06:00:00Z";

#[test]
fn a_week_end_of_scattered_alarms_is_one_summary_on_monday() {
    let bench = Bench::new();
    let begun = at(SATURDAY);
    for n in 0..12 {
        let time = begun + Span::from_hours(2 * n as i64);
        bench.step(n, Priority::Medium, Transition::Raised, time);
        if n % 3 > 0 {
            let over = time + Span::from_mins(30);
            bench.step(n, Priority::Medium, Transition::Returned, over);
        }
    }
    bench.look(begun + Span::from_hours(24));
    assert_eq!(bench.got().len(), 0);
    bench.look(at(MONDAY));
    let [summary] = &bench.got()[..] else {
        panic!("{:?}", bench.got());
    };
    assert_eq!(summary["phase"], "away");
    assert_eq!(summary["stand"], 4);
    assert_eq!(summary["went"], 8);
    assert_eq!(summary["steps"].as_array().unwrap().len(), 20);
    let text = summary["text"].as_str().unwrap();
    assert!(
        text.starts_with("north: you were away: 4 alarms STAND, 8 came and went"),
        "{text}"
    );
    // It is told once, and what comes then comes by itself.
    bench.look(at(MONDAY) + Span::from_secs(1));
    bench.step(
        20,
        Priority::Medium,
        Transition::Raised,
        at(MONDAY) + Span::from_secs(2),
    );
    assert_eq!(bench.got().len(), 2);
    assert_eq!(bench.got()[1], "20 raised");
}

#[test]
fn little_comes_singly_in_its_order_and_a_step_of_that_very_moment_comes_behind_it() {
    let bench = Bench::new();
    let begun = at(SATURDAY);
    for n in 0..8 {
        let time = begun + Span::from_mins(n as i64);
        bench.step(n, Priority::Medium, Transition::Raised, time);
    }
    // Its hours have begun, and nobody has looked yet.
    bench.step(3, Priority::Medium, Transition::Returned, at(MONDAY));
    assert_eq!(bench.got().len(), 0);
    bench.look(at(MONDAY));
    bench.step(4, Priority::Medium, Transition::Returned, at(MONDAY));
    let got = bench.got();
    let raised = (0..8).map(|n| format!("{n} raised"));
    let all: Vec<String> = raised
        .chain(["3 returned".to_owned(), "4 returned".to_owned()])
        .collect();
    assert_eq!(got, all);
}

#[test]
fn what_comes_singly_counts_for_a_flood_when_it_is_told_and_not_when_it_happened() {
    let bench = Bench::new();
    let begun = at(SATURDAY);
    for n in 0..9 {
        bench.step(n, Priority::Medium, Transition::Raised, begun);
    }
    let monday = at(MONDAY);
    bench.look(monday);
    assert_eq!(bench.got().len(), 9);
    bench.step(10, Priority::Medium, Transition::Raised, monday);
    assert_eq!(bench.got().len(), 10);
    // The eleventh that anna gets within ten minutes.
    bench.step(11, Priority::Medium, Transition::Raised, monday);
    assert_eq!(bench.got().len(), 10);
    bench.look(monday);
    let got = bench.got();
    assert_eq!(got[10]["phase"], "begin", "{got:?}");
    assert_eq!(got[10]["count"], 11);
}

#[test]
fn what_hurries_waits_for_no_hours_and_behind_nothing() {
    let bench = Bench::new();
    let begun = at(SATURDAY);
    bench.step(0, Priority::Medium, Transition::Raised, begun);
    bench.step(1, Priority::High, Transition::Raised, begun);
    bench.step(1, Priority::High, Transition::Returned, begun);
    assert_eq!(bench.got(), ["1 raised", "1 returned"]);
    // But a step of an alarm that a summary of a flood is yet to tell of.
    for n in 2..12 {
        bench.step(n, Priority::High, Transition::Raised, begun);
    }
    assert_eq!(bench.got().len(), 11, "the eleventh is held back");
    bench.look(begun);
    assert_eq!(bench.got()[11]["phase"], "begin");
    bench.step(12, Priority::High, Transition::Raised, begun);
    let later = begun + Span::from_mins(11);
    bench.step(2, Priority::High, Transition::Returned, later);
    bench.step(12, Priority::High, Transition::Returned, later);
    let got = bench.got();
    assert_eq!(got.len(), 13, "{got:?}");
    assert_eq!(got[12], "2 returned");
    bench.look(later);
    let summary = bench.got()[13].clone();
    assert_eq!(summary["phase"], "end");
    let steps = summary["steps"].as_array().unwrap();
    let steps: Vec<_> = steps
        .iter()
        .map(|step| step["transition"].clone())
        .collect();
    assert_eq!(steps, ["raised", "returned"]);
    // The one of Saturday still waits.
    bench.look(at(MONDAY));
    assert_eq!(bench.got().last().unwrap(), "0 raised");
}

#[test]
fn the_messages_have_receivers_that_there_are() {
    let bench = Bench::new();
    bench.step(0, Priority::Medium, Transition::Raised, at(SATURDAY));
    bench.look(at(MONDAY));
    let reader = Reader::open(bench.folder.path()).unwrap();
    assert_eq!(reader.receivers().unwrap(), [(BROKER.to_owned(), 1)]);
}

#[test]
fn a_summary_brings_the_links_of_what_asks_for_somebody_and_of_no_more_than_ten() {
    let secret = b"0123456789abcdef0123456789abcdef";
    let address = "https://north.example";
    let links = Links::new(address, Span::from_hours(72), secret, "north");
    let mail = "mail = \"anna@north.example\"\n[mail]\nserver = \"mail.north.example\"\n\
        security = \"none\"\nfrom = \"sumpward@north.example\"\n";
    let bench = Bench::with(&format!("{PLANT}{mail}"), Some(links.clone()));
    for n in 0..13 {
        let time = at(SATURDAY) + Span::from_mins(n as i64);
        bench.step(n, Priority::Medium, Transition::Raised, time);
    }
    bench.step(
        0,
        Priority::Medium,
        Transition::Returned,
        at(SATURDAY) + Span::from_hours(1),
    );
    bench.look(at(MONDAY));
    let summary = bench.got().remove(0);
    let told = summary["acknowledge"].as_object().unwrap();
    assert_eq!(told.len(), 10);
    assert!(!told.contains_key("cell-a/ph.low/0"), "it is over");
    let reader = Reader::open(bench.folder.path()).unwrap();
    let letter = reader.first_letter("anna/mail", at(MONDAY)).unwrap();
    let letter = letter.unwrap().payload;
    for (alarm, url) in told {
        let url = url.as_str().unwrap();
        assert!(
            letter.contains(&format!("press the button:\n{url}")),
            "{letter}"
        );
        let token = url.rsplit('/').next().unwrap();
        let ticket = links
            .read(token, at(MONDAY) + Span::from_hours(71))
            .unwrap();
        assert_eq!(
            (ticket.alarm, ticket.contact),
            (alarm.clone(), "anna".to_owned())
        );
    }
    assert_eq!(letter.matches(address).count(), 10);
}
