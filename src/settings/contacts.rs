//! Who is told.

use std::sync::Arc;

use jiff::civil::Time;
use jiff::tz::TimeZone;

use crate::alarm::Priority;
use crate::model::{Shift, ShiftPattern};
use crate::units::{Parse, Span};

use super::key_path::KeyPath;
use super::mail::address;
use super::message_texts::{self, MessageTexts};
use super::problem::Problem;
use super::raw::{Named, RawContact};
use super::review::Review;
use super::roads::{Contact, Escalation};
use super::shifts;
use super::topic::check_exact;

/// What contacts refer to.
pub(super) struct Around<'a> {
    /// Names of the sumps.
    pub(super) sumps: &'a [String],
    /// Names of the webhooks.
    pub(super) webhooks: &'a [String],
    /// Whether there is a server that takes mail.
    pub(super) has_mail: bool,
    /// The plant's zone, where that is known.
    pub(super) zone: Option<&'a TimeZone>,
    /// The languages that there are.
    pub(super) texts: Option<&'a MessageTexts>,
}

/// Reads every contact; nothing stands in place of one that is wrong.
pub(super) fn contacts(
    review: &mut Review,
    tables: Named,
    around: &Around<'_>,
) -> Vec<Option<Contact>> {
    let at = KeyPath::root().key("contact");
    let tables = tables.unwrap_or_default();
    let names: Vec<String> = tables.keys().cloned().collect();
    let mut contacts = Vec::new();
    for (name, part) in tables {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawContact = review.take(&at, part);
        contacts.push(contact(review, &at, &name, &raw, around, &names));
    }
    check_escalations(review, &contacts);
    contacts
}

fn contact(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawContact,
    around: &Around<'_>,
    names: &[String],
) -> Option<Contact> {
    let topic = match &raw.topic {
        None => Some(None),
        Some(topic) => review
            .good(&at.key("topic"), check_exact(topic))
            .map(|()| Some(topic.clone())),
    };
    let written = raw.language.as_deref();
    let language = message_texts::language(review, &at.key("language"), written, around.texts);
    let mail = mail(review, at, raw, around);
    let webhook = webhook(review, at, raw, around);
    let sumps = match &raw.sumps {
        None => Some((0..around.sumps.len()).collect()),
        Some(names) => places(review, &at.key("sumps"), names, around.sumps),
    };
    let priorities = priorities(review, at, raw);
    let zone = match &raw.time_zone {
        None => around.zone.cloned(),
        Some(found) => shifts::zone(review, &at.key("time_zone"), found),
    };
    let hours = hours(review, at, raw, zone.as_ref());
    let escalation = escalation(review, at, raw, name, names);
    let digest = digest(review, at, raw);
    Some(Contact {
        name: name.into(),
        topic: topic?,
        mail: mail?,
        webhook: webhook?,
        sumps: sumps?,
        priorities: priorities?,
        hours: hours?,
        high_waits: raw.high_waits.unwrap_or(false),
        time_zone: zone?,
        language: language?,
        escalation: escalation?,
        digest: digest?,
    })
}

fn mail(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawContact,
    around: &Around<'_>,
) -> Option<Option<String>> {
    let Some(text) = &raw.mail else {
        return Some(None);
    };
    let path = at.key("mail");
    if !around.has_mail {
        let example = "[mail] with server = \"mail.example.org\", for contacts with mail";
        review.missing(&KeyPath::root().key("mail"), example);
    }
    address(review, &path, text).map(Some)
}

fn webhook(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawContact,
    around: &Around<'_>,
) -> Option<Option<usize>> {
    let Some(name) = &raw.webhook else {
        return Some(None);
    };
    place(review, &at.key("webhook"), "webhook", name, around.webhooks).map(Some)
}

fn priorities(review: &mut Review, at: &KeyPath, raw: &RawContact) -> Option<Priority> {
    let words = [
        ("low", Priority::Low),
        ("medium", Priority::Medium),
        ("high", Priority::High),
    ];
    let word = raw.priorities.as_deref().unwrap_or("low");
    review.one_of(&at.key("priorities"), word, &words)
}

/// When they work, by the clocks of their zone.
fn hours(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawContact,
    zone: Option<&TimeZone>,
) -> Option<Option<Arc<ShiftPattern>>> {
    let path = at.key("hours");
    let Some(week) = &raw.hours else {
        if raw.high_waits.is_some() {
            let only = Problem::OnlyFor("contacts with hours");
            review.tell(&at.key("high_waits"), only);
            return None;
        }
        return Some(None);
    };
    let shifts = week
        .iter()
        .enumerate()
        .map(|(place, text)| review.good(&path.item(place), Shift::parse(text)));
    let shifts: Vec<Option<Shift>> = shifts.collect();
    let shifts: Option<Vec<Shift>> = shifts.into_iter().collect();
    let made = ShiftPattern::new(zone?.clone(), &shifts?, &[]);
    review.good(&path, made).map(|hours| Some(Arc::new(hours)))
}

fn escalation(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawContact,
    name: &str,
    names: &[String],
) -> Option<Option<Escalation>> {
    let (after, to) = (at.key("escalate_after"), at.key("escalate_to"));
    let range = (Span::from_secs(1), Span::from_hours(7 * 24));
    match (&raw.escalate_after, &raw.escalate_to) {
        (None, None) => Some(None),
        (Some(_), None) => {
            let example = "escalate_to = \"lead\", to go with escalate_after";
            review.missing(&to, example);
            None
        }
        (None, Some(_)) => {
            let example = "escalate_after = \"30 min\", to go with escalate_to";
            review.missing(&after, example);
            None
        }
        (Some(span), Some(next)) => {
            let span = review.good(&after, Span::parse(span.text()));
            let span =
                span.and_then(|span| review.within(&after, span, range, |span| span.to_string()));
            let others = names.iter().filter(|other| *other != name);
            let others: Vec<String> = others.cloned().collect();
            place(review, &to, "other contact", next, &others)?;
            let to = names.iter().position(|known| known == next)?;
            Some(Some(Escalation { after: span?, to }))
        }
    }
}

/// A chain has an end, and everybody in it can be told.
fn check_escalations(review: &mut Review, contacts: &[Option<Contact>]) {
    for (first, contact) in contacts.iter().enumerate() {
        let Some(contact) = contact else { continue };
        let path = KeyPath::root().key("contact").key(&contact.name);
        let path = path.key("escalate_to");
        let mut seen = vec![first];
        let mut here = contact;
        while let Some(escalation) = here.escalation {
            let Some(next) = &contacts[escalation.to] else {
                break;
            };
            if seen.contains(&escalation.to) {
                let back = next.name.to_string();
                review.tell(&path, Problem::EscalatesInACircle(back));
                break;
            }
            if seen.len() == 1 && !next.has_road() {
                review.tell(&path, Problem::CannotBeTold(next.name.to_string()));
            }
            seen.push(escalation.to);
            here = next;
        }
    }
}

fn digest(review: &mut Review, at: &KeyPath, raw: &RawContact) -> Option<Option<Time>> {
    let Some(text) = &raw.digest else {
        return Some(None);
    };
    let time = match text.split_once(':') {
        Some((hour, minute)) if hour.len() == 2 && minute.len() == 2 => text.parse().ok(),
        _ => None,
    };
    let time = time.ok_or_else(|| Problem::OutOfRange {
        found: format!("\"{}\"", text.chars().take(40).collect::<String>()),
        allowed: "a time of day, as 06:30".to_owned(),
    });
    review.good(&at.key("digest"), time).map(Some)
}

/// The places of these sumps; a name that none has is told.
pub(super) fn places(
    review: &mut Review,
    path: &KeyPath,
    names: &[String],
    sumps: &[String],
) -> Option<Vec<usize>> {
    let mut places = Vec::with_capacity(names.len());
    let mut all_known = true;
    for (item, name) in names.iter().enumerate() {
        match place(review, &path.item(item), "sump", name, sumps) {
            Some(place) => places.push(place),
            None => all_known = false,
        }
    }
    places.sort_unstable();
    places.dedup();
    all_known.then_some(places)
}

/// The place of a name among those that are known.
fn place(
    review: &mut Review,
    path: &KeyPath,
    kind: &'static str,
    name: &str,
    known: &[String],
) -> Option<usize> {
    let place = known.iter().position(|other| other == name);
    if place.is_none() {
        review.unknown_name(path, kind, name, known.iter().map(String::as_str));
    }
    place
}
