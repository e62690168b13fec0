//! What waits for somebody's working hours, told once they begin: singly where
//! it is little, else in one summary of what stands and what came and went.
//!
//! It stands in the store as waiting rows under `away/<contact>`, each written with
//! its line of the journal, and leaves it in the transaction of the messages that
//! tell of it. Whatever is to be told meanwhile waits behind it, so that nothing
//! overtakes what was held back; only what hurries does not wait.

mod summary;

use std::collections::BTreeMap;

use serde::Serialize;

use crate::alarm::Priority;
use crate::settings::Contact;
use crate::store::{OutboxRow, Reader, StoreError, StoredWaiting, WaitingChange, WaitingRow};
use crate::units::{Span, Timestamp, to_wire};

use super::closing::in_text;
use super::flood::{self, Item, Summed};
use super::post::{Later, Note, Post, reader_of};

pub use summary::{AwaySummary, Counted, Place};

/// Beginning of the subjects, before the contact.
pub const SUBJECTS: &str = "away/";
/// What nobody was there for within so long after it was to be told is dropped.
/// Choice, as in floods.
const KEPT: Span = Span::from_hours(30 * 24);
/// Most messages that are looked at together; the next time has the rest.
const AT_ONCE: usize = 2000;
/// More steps of alarms than these come in a summary: what begins a flood is more
/// than a person can follow.
const FEW: usize = flood::MANY;
/// Of so many alarms a summary brings the links, the worst first.
const LINKS: usize = flood::MANY;

/// A message that waits.
struct Waits {
    id: i64,
    item: Option<Item>,
    rows: Vec<OutboxRow>,
}

/// What waits for a contact waits under this.
pub(super) fn subject_of(contact: &Contact) -> String {
    format!("{SUBJECTS}{}", contact.name)
}

/// Messages that wait until `at`, of an alarm with the step that they tell of.
pub(super) fn row_of(
    contact: &Contact,
    item: Option<Item>,
    rows: Vec<OutboxRow>,
    at: Timestamp,
) -> WaitingRow {
    Later::Away { item, rows }.row(at + KEPT, Some(subject_of(contact)))
}

impl Post {
    /// Those whose working hours have begun at `now` and for whom something waits.
    /// What waits for no contact any more goes.
    pub(super) fn back(
        &self,
        reader: &Reader,
        now: Timestamp,
        summed: &mut Summed,
    ) -> Result<Vec<&Contact>, StoreError> {
        let mut back = Vec::new();
        for subject in reader.waiting_subjects(SUBJECTS)? {
            let mut contacts = self.contacts().iter();
            match contacts.find(|contact| subject_of(contact) == subject) {
                Some(contact) if contact.told_at(now, Priority::Low) <= now => back.push(contact),
                Some(_) => {}
                None => {
                    let waiting = reader.waiting_under(&subject, AT_ONCE)?;
                    tracing::warn!(
                        subject,
                        messages = waiting.len(),
                        "messages that waited for working hours are for no contact any more and are dropped"
                    );
                    summed.waiting.extend(waiting.iter().map(flood::gone));
                }
            }
        }
        Ok(back)
    }

    /// Tells a contact what has waited for them.
    pub(super) fn tell_what_waited(
        &self,
        contact: &Contact,
        reader: &Reader,
        now: Timestamp,
        summed: &mut Summed,
    ) -> Result<(), StoreError> {
        let rows = reader.waiting_under(&subject_of(contact), AT_ONCE)?;
        let waiting: Vec<Waits> = rows.into_iter().map(read).collect();
        let items: Vec<Item> = waiting.iter().filter_map(|one| one.item.clone()).collect();
        let singly = items.len() <= FEW;
        if singly {
            self.handle_told_singly(contact, &items, now);
        } else {
            let outbox = self.summary(contact, items, now);
            summed.waiting.push(WaitingChange::Send { outbox });
        }
        let told = waiting.into_iter().map(|one| WaitingChange::Take {
            id: one.id,
            then: match singly || one.item.is_none() {
                true => vec![WaitingChange::Send { outbox: one.rows }],
                false => Vec::new(),
            },
        });
        summed.waiting.extend(told);
        Ok(())
    }

    /// The summary of these steps, on all roads of the contact.
    fn summary(&self, contact: &Contact, items: Vec<Item>, now: Timestamp) -> Vec<OutboxRow> {
        /// The summary as it goes over the wire.
        #[derive(Serialize)]
        struct Message<'a> {
            #[serde(flatten)]
            summary: &'a AwaySummary,
            time: Timestamp,
            text: &'a str,
            /// By the ids of alarms that ask for somebody.
            #[serde(skip_serializing_if = "BTreeMap::is_empty")]
            acknowledge: BTreeMap<&'a str, String>,
        }
        let plant = self.plant();
        let summary = AwaySummary::new(items, now);
        let text = self.texts().away(&reader_of(contact), plant, now, &summary);
        let asking = summary.asking().take(LINKS);
        let links: Vec<(&Item, String)> = asking
            .filter_map(|item| Some((item, self.link(contact, &item.alarm, now)?)))
            .collect();
        let message = Message {
            summary: &summary,
            time: now,
            text: &text,
            acknowledge: links
                .iter()
                .map(|(item, url)| (item.alarm.as_str(), url.clone()))
                .collect(),
        };
        let note = Note {
            id: format!("{plant}.away.{}", now.millis()),
            kind: "away".to_owned(),
            payload: to_wire(&message).expect("messages have text keys only"),
            text: links.iter().fold(text.clone(), |text, (item, url)| {
                in_text(&text, &self.words_of_link(contact, item, now), url)
            }),
            time: now,
            priority: summary.worst.unwrap_or(Priority::Low),
        };
        self.letters(contact, &note, None, now)
    }

    /// What stands above a link in a summary.
    fn words_of_link(&self, contact: &Contact, item: &Item, now: Timestamp) -> String {
        let reader = reader_of(contact);
        let named = || self.texts().condition(&reader, now, &item.condition);
        let what = item.own_title.clone().unwrap_or_else(named);
        let values = [("title", item.title.as_str()), ("what", &what)];
        self.texts()
            .sentence(&reader, now, "away.acknowledge", &values)
    }
}

/// What waits in a row; nothing to send where it cannot be read, which is told.
fn read(row: StoredWaiting) -> Waits {
    let (item, rows) = match serde_json::from_str(&row.body) {
        Ok(Later::Away { item, rows }) => (item, rows),
        _ => {
            tracing::error!(
                id = row.id,
                "a message that waited for working hours cannot be read and is dropped"
            );
            (None, Vec::new())
        }
    };
    Waits {
        id: row.id,
        item,
        rows,
    }
}

#[cfg(test)]
mod tests;
