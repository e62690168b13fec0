//! Many alarms at once, summed up: a receiver gets one message when a flood
//! begins, one in ten minutes at most while it goes on, and one when it is over.
//! Alarms of high priority still come singly, unless they are a flood themselves.
//!
//! What is held back stands in the store as a waiting row under
//! `flood/<contact>`, written with its line of the journal, and leaves it in the
//! transaction of the summary that tells of it: a kill at any instant leaves
//! each step either held or told. While a flood goes on, the cursor of that name
//! holds when it began, and when it was last summed up. The machines' topics of
//! the sumps are not concerned, nor is what waits for a contact's working hours
//! (`notify/away`): it counts once it is told.

mod course;
mod item;
mod summary;

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde::Deserialize;

use crate::alarm::{AlarmState, Priority, Transition};
use crate::settings::Contact;
use crate::store::{CursorRow, Reader, StoreError, StoredWaiting, WaitingChange, WaitingRow};
use crate::units::{Span, Timestamp, to_wire};

use super::post::{Later, Note, Post, reader_of};

pub use item::Item;
pub use summary::{CommonCause, Group, Summary};

pub(super) use course::MANY;
use course::{Course, Due, Flood, Flow, TEN_MINUTES};
use item::hurry;

/// Beginning of the subjects and cursors, before the contact.
const SUBJECTS: &str = "flood/";
/// A row that no summary took within so long is dropped: its contact has no
/// hours, or the clock was set back. Choice.
const KEPT: Span = Span::from_hours(30 * 24);
/// Most steps in a summary; the next one has the rest.
const AT_ONCE: usize = 2000;
/// Most lines of the journal that are looked through at the start. Choice:
/// thousands of sumps write less in ten minutes.
const MOST_LINES: usize = 20_000;

/// The flow of alarms to each contact, shared by all who write messages.
#[derive(Debug, Clone, Default)]
pub(super) struct Floods(Arc<Mutex<BTreeMap<String, Course>>>);

impl Floods {
    fn lock(&self) -> MutexGuard<'_, BTreeMap<String, Course>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Summaries on their way, and what goes with them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Summed {
    /// They go out, and the rows that they tell of go.
    pub waiting: Vec<WaitingChange>,
    /// How the flood stands.
    pub cursors: Vec<CursorRow>,
}

/// What is looked at in lines of the journal.
#[derive(Deserialize)]
struct Line {
    id: String,
    condition: String,
    #[serde(default)]
    own: Option<OwnRule>,
    priority: Priority,
    transition: Transition,
    state: AlarmState,
}

/// What is looked at of a rule of the plant's own.
#[derive(Deserialize)]
struct OwnRule {
    title: String,
}

impl Post {
    /// Goes on where a daemon before this one stood.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn take_up_floods(&self, reader: &Reader, now: Timestamp) -> Result<(), StoreError> {
        let lines = reader.journal_since(now - TEN_MINUTES, MOST_LINES)?;
        let alarms = lines.into_iter().filter(|stored| stored.kind == "alarm");
        let new: Vec<Item> = alarms
            .filter_map(|stored| {
                let line = serde_json::from_str::<Line>(&stored.body).ok()?;
                let is_new = line.transition.annunciates(line.state);
                is_new.then(|| Item {
                    title: self.title_of(&line.id),
                    alarm: line.id,
                    condition: line.condition,
                    own_title: line.own.map(|own| own.title),
                    priority: line.priority,
                    transition: line.transition.name().to_owned(),
                    state: line.state,
                    is_new,
                    time: stored.time,
                    told: true,
                })
            })
            .collect();
        let cursors = reader.cursors(SUBJECTS)?;
        let mut floods = self.floods().lock();
        for contact in self.contacts() {
            let subject = subject_of(contact);
            let cursor = cursors.iter().find(|cursor| cursor.name == subject);
            let flood = match cursor {
                Some(cursor) => Some(Flood {
                    since: Timestamp::from_millis(cursor.position.cast_signed()),
                    told: Some(cursor.moved_at),
                }),
                None => {
                    let held = reader.waiting_under(&subject, 1)?;
                    held.first().map(|_| Flood {
                        since: now,
                        told: None,
                    })
                }
            };
            // What waits for their hours has not come to them.
            let hears = |item: &&Item| {
                self.hears_anyway(contact, &item.alarm, item.priority)
                    && contact.told_at(item.time, item.priority) <= item.time
            };
            let newest = new.iter().filter(hears).cloned();
            floods.insert(contact.name.to_string(), Course::take_up(newest, flood));
        }
        Ok(())
    }

    /// Whether a step reaches the contact in a summary instead of a message of
    /// its own; then it is kept for that.
    pub(super) fn is_held(
        &self,
        contact: &Contact,
        item: Item,
        later: &mut Vec<WaitingChange>,
    ) -> bool {
        let mut floods = self.floods().lock();
        let course = floods.entry(contact.name.to_string()).or_default();
        let at_once = item.priority == Priority::High && course.takes_one_more(item.time);
        let flow = course.take(&item, at_once);
        drop(floods);
        let keep = |item: Item| WaitingChange::Add(row_of(contact, item));
        match flow {
            Flow::Single => return false,
            Flow::Held => {}
            Flow::Begins(before) => later.extend(before.into_iter().map(keep)),
        }
        if !at_once {
            later.push(keep(item));
        }
        !at_once
    }

    /// What waited for their working hours reaches a contact singly at `now`: that
    /// counts as much as what is new.
    pub(super) fn handle_told_singly(&self, contact: &Contact, items: &[Item], now: Timestamp) {
        let mut floods = self.floods().lock();
        let course = floods.entry(contact.name.to_string()).or_default();
        for item in items.iter().filter(|item| item.is_new()) {
            course.handle_told_singly(Item {
                time: now,
                told: true,
                ..item.clone()
            });
        }
    }

    /// The summaries that are due at `now`: of floods, then of what waited for
    /// somebody's working hours.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn summaries(&self, reader: &Reader, now: Timestamp) -> Result<Summed, StoreError> {
        let mut summed = Summed::default();
        let back = self.back(reader, now, &mut summed)?;
        self.flood_summaries(reader, now, &back, &mut summed)?;
        for contact in back {
            self.tell_what_waited(contact, reader, now, &mut summed)?;
        }
        Ok(summed)
    }

    /// Where somebody is `back` and hears of what waited for them, what a flood
    /// holds back for them comes before it.
    fn flood_summaries(
        &self,
        reader: &Reader,
        now: Timestamp,
        back: &[&Contact],
        summed: &mut Summed,
    ) -> Result<(), StoreError> {
        let mut subjects = reader.waiting_subjects(SUBJECTS)?;
        let floods = self.floods().lock();
        let going = floods.iter().filter(|(_, course)| course.flood().is_some());
        subjects.extend(going.map(|(name, _)| format!("{SUBJECTS}{name}")));
        drop(floods);
        subjects.sort();
        subjects.dedup();
        for subject in subjects {
            let held = reader.waiting_under(&subject, AT_ONCE)?;
            let mut contacts = self.contacts().iter();
            match contacts.find(|contact| subject_of(contact) == subject) {
                Some(contact) => {
                    let is_back = back.iter().any(|one| one.name == contact.name);
                    self.sum_up(contact, held, is_back, now, summed);
                }
                None => {
                    tracing::warn!(
                        subject,
                        steps = held.len(),
                        "alarms that were held back are for no contact any more and are dropped"
                    );
                    summed.waiting.extend(held.iter().map(gone));
                }
            }
        }
        Ok(())
    }

    fn sum_up(
        &self,
        contact: &Contact,
        held: Vec<StoredWaiting>,
        is_back: bool,
        now: Timestamp,
        summed: &mut Summed,
    ) {
        let items: Vec<Item> = held.iter().filter_map(held_back).collect();
        if contact.told_at(now, hurry(&items)) > now {
            return;
        }
        let mut floods = self.floods().lock();
        let course = floods.entry(contact.name.to_string()).or_default();
        let flood = course.flood();
        // What was held back just when a flood ended is told by itself.
        let due = match flood {
            Some(_) => {
                let comes_before = (is_back && !held.is_empty()).then_some(Due::GoesOn);
                course.due(now, !held.is_empty()).or(comes_before)
            }
            None => (!held.is_empty()).then_some(Due::End),
        };
        let Some(due) = due else {
            return;
        };
        course.handle_told(due, now);
        let still = course.flood();
        drop(floods);
        let since = flood.map_or(now, |flood| flood.since);
        let summary = Summary::new(due, since, items);
        let note = self.flood_note(contact, &summary, now);
        let outbox = self.letters(contact, &note, None, now);
        summed.waiting.push(WaitingChange::Send { outbox });
        summed.waiting.extend(held.iter().map(gone));
        summed.cursors.push(CursorRow {
            name: subject_of(contact),
            position: still.map(|flood| flood.since.millis().cast_unsigned()),
            moved_at: now,
        });
    }

    fn flood_note(&self, contact: &Contact, summary: &Summary, now: Timestamp) -> Note {
        /// The summary as it goes over the wire.
        #[derive(serde::Serialize)]
        struct Message<'a> {
            #[serde(flatten)]
            summary: &'a Summary,
            time: Timestamp,
            text: &'a str,
        }
        let plant = self.plant();
        let text = self.texts().flood(&reader_of(contact), plant, now, summary);
        let message = Message {
            summary,
            time: now,
            text: &text,
        };
        Note {
            id: format!("{plant}.flood.{}", now.millis()),
            kind: "flood".to_owned(),
            payload: to_wire(&message).expect("messages have text keys only"),
            text,
            time: now,
            priority: summary.worst,
        }
    }
}

/// The step that is held back in a row.
fn held_back(row: &StoredWaiting) -> Option<Item> {
    match serde_json::from_str(&row.body) {
        Ok(Later::Flooded { item }) => Some(item),
        _ => None,
    }
}

/// What a flood holds back for a contact waits under this.
pub(super) fn subject_of(contact: &Contact) -> String {
    format!("{SUBJECTS}{}", contact.name)
}

/// A step that comes in a summary of a flood.
pub(super) fn row_of(contact: &Contact, item: Item) -> WaitingRow {
    let due = item.time + KEPT;
    Later::Flooded { item }.row(due, Some(subject_of(contact)))
}

/// The row goes; what it held is told otherwise.
pub(super) fn gone(row: &StoredWaiting) -> WaitingChange {
    WaitingChange::Take {
        id: row.id,
        then: Vec::new(),
    }
}
