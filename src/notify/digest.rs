//! The daily digest: when it is due, and what it says. Time is an argument.

use std::sync::Arc;

use jiff::civil::Date;
use serde::Serialize;

use crate::alarm::Priority;
use crate::engine::ActiveAlarm;
use crate::settings::Contact;
use crate::units::{Span, Timestamp, to_wire};

use super::post::{Note, reader_of};
use super::texts::Texts;

/// A digest that is later than this is left out. Choice: at noon nobody plans
/// the day any more.
const TOO_LATE: Span = Span::from_hours(6);

/// Whether a digest is to be sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DigestDue {
    /// Not now.
    Not,
    /// The one of this time is left out: nothing was kept of an earlier one, or
    /// it is too late for it.
    PassedOver(Timestamp),
    /// The one of this time is sent.
    Send(Timestamp),
}

/// Whether a contact's digest is due at `now`, where the last one that was sent
/// or passed over is that of the time `last`.
pub fn digest_due(contact: &Contact, last: Option<Timestamp>, now: Timestamp) -> DigestDue {
    let Some(newest) = newest_time(contact, now) else {
        return DigestDue::Not;
    };
    match last {
        Some(last) if last >= newest => DigestDue::Not,
        Some(_) if now - newest <= TOO_LATE => DigestDue::Send(newest),
        _ => DigestDue::PassedOver(newest),
    }
}

/// The last time of a digest that is not after `now`.
fn newest_time(contact: &Contact, now: Timestamp) -> Option<Timestamp> {
    let hour = contact.digest?;
    let today = day_of(contact, now)?;
    let at = |day: Date| {
        let at = contact.time_zone.to_timestamp(day.to_datetime(hour));
        Some(Timestamp::from_millis(at.ok()?.as_millisecond()))
    };
    match at(today)? {
        newest if newest <= now => Some(newest),
        _ => at(today.yesterday().ok()?),
    }
}

/// The contact's day.
pub fn day_of(contact: &Contact, now: Timestamp) -> Option<Date> {
    let now = jiff::Timestamp::from_millisecond(now.millis()).ok()?;
    Some(contact.time_zone.to_datetime(now).date())
}

/// What a digest tells.
#[derive(Debug, Clone, PartialEq, Default, Serialize)]
pub struct Digest {
    /// Alarms that are not normal, with the title of their sump.
    pub standing: Vec<Standing>,
    /// Alarms that were raised yesterday.
    pub raised: Vec<Raised>,
    /// Advice with a dose that nobody followed yet.
    pub advice: Vec<Open>,
    /// What came of yesterday's doses.
    pub doses: Doses,
    /// The concentrate in stock.
    pub stock: Vec<Stock>,
}

/// An alarm that is not normal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Standing {
    /// Title of its sump.
    pub title: String,
    /// Title of the rule of the plant's own, where it is one's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own_title: Option<String>,
    /// The alarm.
    #[serde(flatten)]
    pub alarm: ActiveAlarm,
}

/// An alarm that was raised, and how often.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Raised {
    /// Title of its sump.
    pub title: String,
    /// What was wrong.
    pub condition: String,
    /// Title of the rule of the plant's own, where it is one's.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own_title: Option<String>,
    /// How often.
    pub count: usize,
}

/// Advice that stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Open {
    /// Title of its sump.
    pub title: String,
    /// Its id.
    pub advice: String,
}

/// What came of doses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Doses {
    /// Doses that were measured after mixing and came out as expected.
    pub as_expected: usize,
    /// Doses that missed.
    pub missed: usize,
    /// Doses of which that is not known.
    pub unknown: usize,
}

/// A concentrate in stock.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stock {
    /// Name of the fluid.
    pub fluid: Arc<str>,
    /// What should be left, L.
    pub left_l: f64,
}

/// The digest as it goes over the wire.
#[derive(Serialize)]
struct DigestMessage<'a> {
    #[serde(flatten)]
    digest: &'a Digest,
    date: String,
    time: Timestamp,
    text: &'a str,
}

impl Digest {
    /// As the message of a day, made at `now`.
    pub fn note(
        &self,
        plant: &str,
        day: Date,
        now: Timestamp,
        contact: &Contact,
        texts: &Texts,
    ) -> Note {
        let text = texts.digest(&reader_of(contact), plant, now, self);
        let message = DigestMessage {
            digest: self,
            date: day.to_string(),
            time: now,
            text: &text,
        };
        let payload = to_wire(&message).expect("messages have text keys only");
        Note {
            id: format!("{plant}.digest.{day}"),
            kind: "digest".to_owned(),
            payload,
            text,
            time: now,
            priority: Priority::Low,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::{MessageTexts, Settings};

    const PLANT: &str = r#"
[plant]
name = "north"
time_zone = "Europe/Vienna"
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
digest = "06:30"
[contact.bert]
topic = "bert"
"#;

    fn contacts() -> Vec<Contact> {
        let settings = Settings::from_texts(&[("plant.toml", PLANT)], std::iter::empty());
        settings.unwrap_or_else(|error| panic!("{error}")).contacts
    }

    fn at(text: &str) -> Timestamp {
        Timestamp::parse(text).unwrap()
    }

    #[test]
    fn a_digest_is_sent_once_a_day_by_the_clocks_of_its_contact() {
        let contacts = contacts();
        let (anna, bert) = (&contacts[0], &contacts[1]);
        let due = |last, now: &str| digest_due(anna, last, at(now));
        // Summer time ends on 2026-10-25 in Vienna.
        let saturday = at("2026-10-24T04:30:00Z");
        let sunday = at("2026-10-25T05:30:00Z");
        assert_eq!(
            due(None, "2026-10-24T12:00:00Z"),
            DigestDue::PassedOver(saturday)
        );
        assert_eq!(due(Some(saturday), "2026-10-25T05:29:59Z"), DigestDue::Not);
        assert_eq!(
            due(Some(saturday), "2026-10-25T05:30:00Z"),
            DigestDue::Send(sunday)
        );
        assert_eq!(due(Some(sunday), "2026-10-25T05:31:00Z"), DigestDue::Not);
        // Down over its hour: sent late, but not in the evening.
        assert_eq!(
            due(Some(saturday), "2026-10-25T11:30:00Z"),
            DigestDue::Send(sunday)
        );
        assert_eq!(
            due(Some(saturday), "2026-10-25T11:30:01Z"),
            DigestDue::PassedOver(sunday)
        );
        // A clock that was set back sends none again.
        assert_eq!(due(Some(sunday), "2026-10-24T05:00:00Z"), DigestDue::Not);
        assert_eq!(digest_due(bert, None, saturday), DigestDue::Not);
    }

    #[test]
    fn long_lists_are_cut_and_say_so() {
        let raised = (0..30).map(|n| Raised {
            title: format!("Sump {n}"),
            condition: "ph.low".to_owned(),
            own_title: None,
            count: n,
        });
        let digest = Digest {
            raised: raised.collect(),
            stock: vec![Stock {
                fluid: "a".into(),
                left_l: 12.4,
            }],
            ..Digest::default()
        };
        let texts = Texts::new(&MessageTexts::default()).unwrap();
        let day = jiff::civil::date(2026, 11, 29);
        let anna = &contacts()[0];
        let note = digest.note("north", day, at("2026-11-29T06:00:00Z"), anna, &texts);
        assert!(
            note.text.starts_with("north: no alarm stands\n"),
            "{}",
            note.text
        );
        assert!(
            note.text
                .contains("- Sump 19: pH TOO LOW, 19 times\n- and 10 more\n"),
            "{}",
            note.text
        );
        assert!(
            note.text.ends_with("Stock:\n- a: 12 L left"),
            "{}",
            note.text
        );
        let message: serde_json::Value = serde_json::from_str(&note.payload).unwrap();
        assert_eq!(message["raised"].as_array().unwrap().len(), 30);
        assert_eq!(message["date"], "2026-11-29");
    }
}
