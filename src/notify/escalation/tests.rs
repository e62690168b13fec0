//! Chains of contacts, played with a clock of the test's own.

use super::super::post::Notes;
use super::*;
use crate::alarm::{AlarmState, Priority, Transition};
use crate::engine::AlarmLine;
use crate::notify::{Reader, Texts};
use crate::rules::{Condition, LimitLevel};
use crate::settings::{MessageTexts, Settings};
use crate::store::{OutboxRow, WaitingRow};
use crate::units::{Quantity, Span};

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
escalate_after = "10 min"
escalate_to = "lead"
[contact.bert]
topic = "bert"
priorities = "high"
escalate_after = "5 min"
escalate_to = "lead"
[contact.lead]
topic = "lead"
sumps = []
hours = ["mon-fri 08:00-16:00"]
escalate_after = "20 min"
escalate_to = "boss"
[contact.boss]
topic = "boss"
sumps = []
"#;

fn post() -> Post {
    post_of(PLANT)
}

fn post_of(plant: &str) -> Post {
    let settings = Settings::from_texts(&[("plant.toml", plant)], std::iter::empty());
    let texts = Texts::new(&MessageTexts::default()).unwrap();
    Post::new(
        &settings.unwrap_or_else(|error| panic!("{error}")),
        texts,
        None,
    )
}

fn at(text: &str) -> Timestamp {
    Timestamp::parse(text).unwrap()
}

fn line(priority: Priority, transition: Transition, state: AlarmState) -> AlarmLine {
    AlarmLine {
        id: "cell-a/concentration.low/1".to_owned(),
        condition: Condition::Limit(Quantity::Concentration, LimitLevel::Low),
        priority,
        transition,
        state,
        since: at("2026-11-30T09:00:00Z"),
        value: None,
        unit: None,
        limit: None,
        window: None,
        signal: None,
        by: None,
        reason: None,
        because: None,
        until: None,
        own: None,
        silent_with: Vec::new(),
        instrument: None,
        source: None,
        evidence: None,
        stock: None,
        forward: None,
        disk: None,
        start_up: None,
        advice: None,
    }
}

const READER: Reader<'static> = Reader {
    language: "en",
    zone: &jiff::tz::TimeZone::UTC,
};

/// The messages that go out by these changes where nothing waits, and what is to
/// happen later.
fn parted(changes: Vec<WaitingChange>) -> (Vec<OutboxRow>, Vec<WaitingChange>) {
    let mut out = Vec::new();
    let mut later = Vec::new();
    for change in changes {
        match change {
            WaitingChange::Send { outbox } | WaitingChange::InTurn { outbox, .. } => {
                out.extend(outbox);
            }
            other => later.push(other),
        }
    }
    (out, later)
}

/// The messages, and the rows that are to happen later.
fn happened(changes: &[WaitingChange]) -> (Vec<OutboxRow>, Vec<WaitingRow>) {
    let (out, later) = parted(changes.to_vec());
    let rows = later.into_iter().map(|change| match change {
        WaitingChange::Add(row) => row,
        other => panic!("{other:?}"),
    });
    (out, rows.collect())
}

/// What a line at this time causes.
fn told(line: &AlarmLine, time: Timestamp) -> (Vec<OutboxRow>, Vec<WaitingChange>) {
    let note = Note {
        id: "north.cell-a.1.1".to_owned(),
        kind: "alarm".to_owned(),
        payload: "{\"a\":{\"b\":1}}".to_owned(),
        text: "Cell A: TOO LOW".to_owned(),
        time,
        priority: line.priority,
    };
    let mut later = Vec::new();
    let mut notes = Notes::new(&READER, note.clone(), |_| note.clone());
    post().tell(&[0, 1], &mut notes, Some(line), &mut later);
    parted(later)
}

/// What comes of a row, with nobody told by escalation before.
fn due(body: &str, now: Timestamp) -> Outcome {
    happen(body, &post(), now, |_| Ok::<_, Unreadable>(Vec::new())).unwrap()
}

fn topics(rows: &[OutboxRow]) -> Vec<&str> {
    rows.iter().map(|row| row.topic.as_str()).collect()
}

fn raised(priority: Priority) -> AlarmLine {
    line(priority, Transition::Raised, AlarmState::Unacknowledged)
}

#[test]
fn a_chain_is_told_one_after_the_other_to_its_end() {
    let begun = at("2026-11-30T09:00:00Z");
    let (out, later) = told(&raised(Priority::Medium), begun);
    assert_eq!(topics(&out), ["anna"], "bert wants high ones only");
    let [WaitingChange::Forget { .. }, WaitingChange::Add(first)] = &later[..] else {
        panic!("{later:?}");
    };
    assert_eq!(first.due, begun + Span::from_mins(10));
    assert_eq!(first.subject.as_deref(), Some("cell-a/concentration.low/1"));
    let outcome = due(&first.body, first.due);
    let (outbox, waiting) = happened(&outcome.then);
    assert_eq!(topics(&outbox), ["lead"]);
    let row = &outbox[0];
    assert_eq!(row.payload, "{\"a\":{\"b\":1},\"escalated_from\":\"anna\"}");
    let [follower, second] = &waiting[..] else {
        panic!("{outcome:?}");
    };
    let subject = "told/cell-a/concentration.low/1";
    assert_eq!(follower.subject.as_deref(), Some(subject));
    assert_eq!(second.due, first.due + Span::from_mins(20));
    assert_eq!(second.subject, first.subject);
    let (end, after) = happened(&due(&second.body, second.due).then);
    assert_eq!(topics(&end), ["boss"]);
    assert_eq!(after.len(), 1, "the boss follows too");
    assert_ne!(end[0].message, row.message);
}

#[test]
fn two_who_have_the_same_next_one_tell_them_once_and_as_soon_as_the_first() {
    let begun = at("2026-11-30T09:00:00Z");
    let (out, later) = told(&raised(Priority::High), begun);
    assert_eq!(topics(&out), ["anna", "bert"]);
    let adds = later
        .iter()
        .filter(|change| matches!(change, WaitingChange::Add(_)));
    assert_eq!(adds.count(), 1);
    let Some(WaitingChange::Add(row)) = later.last() else {
        panic!("{later:?}");
    };
    assert_eq!(row.due, begun + Span::from_mins(5));
}

#[test]
fn acknowledging_or_ending_takes_everything_back() {
    let begun = at("2026-11-30T09:00:00Z");
    for (transition, state) in [
        (Transition::Acknowledged, AlarmState::Acknowledged),
        (Transition::Returned, AlarmState::ReturnedUnacknowledged),
        (Transition::Returned, AlarmState::Normal),
        (Transition::Returned, AlarmState::LatchedUnacknowledged),
        (Transition::Shelved, AlarmState::Shelved),
    ] {
        let (_, later) = told(&line(Priority::High, transition, state), begun);
        let subject = "cell-a/concentration.low/1".to_owned();
        assert_eq!(later[0], WaitingChange::Forget { subject });
        let [_, WaitingChange::Add(settled)] = &later[..] else {
            panic!("{later:?}");
        };
        assert_eq!((settled.due, &settled.subject), (begun, &None));
    }
    // What comes forth again begins it anew.
    for step in [
        Transition::Unacknowledged,
        Transition::RaisedAgain,
        Transition::Unshelved,
    ] {
        let again = line(Priority::High, step, AlarmState::Unacknowledged);
        assert_eq!(told(&again, begun).1.len(), 2, "{step:?}");
    }
}

#[test]
fn outside_their_hours_the_next_one_is_told_when_they_work() {
    let night = at("2026-11-30T20:00:00Z");
    let (_, later) = told(&raised(Priority::Medium), night);
    let Some(WaitingChange::Add(row)) = later.last() else {
        panic!("{later:?}");
    };
    let (outbox, waiting) = happened(&due(&row.body, row.due).then);
    assert!(outbox.is_empty());
    let morning = at("2026-12-01T08:00:00Z");
    let [held, _, next] = &waiting[..] else {
        panic!("{waiting:?}");
    };
    assert_eq!(held.subject.as_deref(), Some("away/lead"));
    assert_eq!(next.due, morning + Span::from_mins(20));
    // A high one does not wait.
    let (_, later) = self::told(&raised(Priority::High), night);
    let Some(WaitingChange::Add(row)) = later.last() else {
        panic!("{later:?}");
    };
    let (outbox, _) = happened(&due(&row.body, row.due).then);
    assert_eq!(topics(&outbox), ["lead"]);
}

#[test]
fn who_was_told_by_escalation_alone_hears_of_the_end_once() {
    let begun = at("2026-11-30T09:00:00Z");
    let (_, later) = told(&raised(Priority::Medium), begun);
    let Some(WaitingChange::Add(first)) = later.last() else {
        panic!("{later:?}");
    };
    let (_, escalated) = happened(&due(&first.body, first.due).then);
    let follower = StoredWaiting {
        id: 7,
        due: escalated[0].due,
        body: escalated[0].body.clone(),
    };
    let end = line(
        Priority::Medium,
        Transition::Acknowledged,
        AlarmState::Acknowledged,
    );
    let time = first.due + Span::from_mins(1);
    let (out, later) = told(&end, time);
    assert_eq!(topics(&out), ["anna"]);
    let Some(WaitingChange::Add(settled)) = later.last() else {
        panic!("{later:?}");
    };
    let kept = |subject: &str| {
        assert_eq!(subject, "told/cell-a/concentration.low/1");
        Ok::<_, Unreadable>(vec![follower])
    };
    let outcome = happen(&settled.body, &post(), settled.due, kept).unwrap();
    assert!(outcome.then.is_empty());
    let [taken] = &outcome.also[..] else {
        panic!("{outcome:?}");
    };
    // Their row goes with it, so that there is no second time.
    let (outbox, waiting) = happened(&taken.then);
    assert_eq!((taken.id, topics(&outbox)), (7, vec!["lead"]));
    assert!(waiting.is_empty());
    // Where nobody was told by escalation, nobody hears of the end by this.
    assert!(due(&settled.body, settled.due).also.is_empty());
    // Anna cares for the sump and hears of it anyway.
    let post = post();
    let id = "cell-a/concentration.low/1";
    assert!(post.hears_anyway(&post.contacts()[0], id, Priority::Medium));
    assert!(!post.hears_anyway(&post.contacts()[2], id, Priority::High));
    assert!(!post.hears_anyway(&post.contacts()[3], id, Priority::Low));
}

#[test]
fn what_cannot_be_read_is_told() {
    let nothing = |_: &str| Ok::<_, Unreadable>(Vec::new());
    let night = at("2026-11-30T20:00:00Z");
    let told = happen("{\"what\":\"dance\"}", &post(), night, nothing);
    assert!(told.unwrap_err().to_string().contains("is dropped"));
}

/// The plant's settings without a contact, and with none who escalates to them.
fn without(name: &str, plant: &str) -> String {
    let (before, rest) = plant.split_once(&format!("[contact.{name}]")).unwrap();
    let after = rest.split_once("[contact.").map(|(_, after)| after);
    let plant = match after {
        Some(after) => format!("{before}[contact.{after}"),
        None => before.to_owned(),
    };
    let ended = format!("escalate_to = \"{name}\"\n");
    let mut lines: Vec<&str> = Vec::new();
    for line in plant.split_inclusive('\n') {
        if line == ended {
            // With it goes after how long.
            lines.pop();
        } else {
            lines.push(line);
        }
    }
    lines.concat()
}

#[test]
fn where_the_next_one_is_gone_it_goes_on_to_whoever_there_is() {
    let begun = at("2026-11-30T09:00:00Z");
    let (_, later) = told(&raised(Priority::High), begun);
    let Some(WaitingChange::Add(row)) = later.last() else {
        panic!("{later:?}");
    };
    let by = |plant: &str| {
        let kept = |_: &str| Ok::<_, Unreadable>(Vec::new());
        let outcome = happen(&row.body, &post_of(plant), row.due, kept).unwrap();
        let (outbox, waiting) = happened(&outcome.then);
        (outbox, waiting, outcome.remark.unwrap())
    };
    // It was planned from bert, who is the soonest, to the lead and then the boss.
    let no_lead = without("lead", PLANT);
    let (outbox, waiting, remark) = by(&no_lead);
    assert_eq!(topics(&outbox), ["boss"], "{remark}");
    assert_eq!(waiting.len(), 1, "the boss follows, and nobody comes after");
    assert!(outbox[0].payload.contains("\"escalated_from\":\"bert\""));
    // By the settings of now bert escalates to anna.
    let to_anna = no_lead.replace(
        "priorities = \"high\"\n",
        "priorities = \"high\"\nescalate_after = \"5 min\"\nescalate_to = \"anna\"\n",
    );
    assert_eq!(topics(&by(&to_anna).0), ["anna"]);
    // Nobody comes next: whoever was told last hears that.
    let no_chain = without("boss", &no_lead);
    let (outbox, waiting, remark) = by(&no_chain);
    assert_eq!(topics(&outbox), ["bert"], "{remark}");
    assert!(waiting.is_empty());
    assert!(outbox[0].payload.contains("\"instead_of\":\"lead\""));
    // Or those who care for the sump.
    let (outbox, _, remark) = by(&without("bert", &no_chain));
    assert_eq!(topics(&outbox), ["anna"], "{remark}");
    assert!(remark.contains("told instead: anna"), "{remark}");
}
