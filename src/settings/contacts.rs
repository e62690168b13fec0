//! Who is told.

use super::key_path::KeyPath;
use super::message_texts::{self, MessageTexts};
use super::plant::Contact;
use super::raw::{Named, RawContact};
use super::review::Review;
use super::topic::check_exact;

/// Reads every contact; nothing stands in place of one that is wrong.
pub(super) fn contacts(
    review: &mut Review,
    tables: Named,
    sumps: &[String],
    texts: Option<&MessageTexts>,
) -> Vec<Option<Contact>> {
    let at = KeyPath::root().key("contact");
    let mut contacts = Vec::new();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawContact = review.take(&at, part);
        contacts.push(contact(review, &at, &name, raw, sumps, texts));
    }
    contacts
}

fn contact(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: RawContact,
    sumps: &[String],
    texts: Option<&MessageTexts>,
) -> Option<Contact> {
    let topic = match raw.topic {
        None => Some(None),
        Some(topic) => review
            .good(&at.key("topic"), check_exact(&topic))
            .map(|()| Some(topic)),
    };
    let written = raw.language.as_deref();
    let language = message_texts::language(review, &at.key("language"), written, texts);
    let theirs = match raw.sumps {
        None => Some((0..sumps.len()).collect()),
        Some(names) => places(review, &at.key("sumps"), &names, sumps),
    };
    Some(Contact {
        name: name.into(),
        topic: topic?,
        language: language?,
        sumps: theirs?,
    })
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
        match sumps.iter().position(|sump| sump == name) {
            Some(place) => places.push(place),
            None => {
                let known = sumps.iter().map(String::as_str);
                review.unknown_name(&path.item(item), "sump", name, known);
                all_known = false;
            }
        }
    }
    places.sort_unstable();
    places.dedup();
    all_known.then_some(places)
}
