//! Telling the next one when nobody acknowledges. Decided from what was kept
//! and the settings of now; time is an argument.
//!
//! An escalation is kept from the moment its alarm is written to the journal,
//! and taken back in the transaction of the line that acknowledges or ends it.
//! When it falls due, the next contact is told, and the escalation to whoever
//! comes after them takes its place, to the end of the chain. Who hears of the
//! alarm by that alone is kept too, and told once when it needs nobody any more.
//! Where the next one is no contact any more, it goes on to the next who is; where
//! there is none, whoever was told last is told that nobody else will be.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmState, Priority, Transition};
use crate::engine::AlarmLine;
use crate::settings::Contact;
use crate::store::{StoredWaiting, WaitingChange};
use crate::units::{Span, Timestamp};

use super::closing::with_value;
use super::flood::Item;
use super::post::{Later, Note, Post, reader_of, voice};

/// Who was told by escalation is kept in mind for so long. Choice: an alarm
/// that stands longer has other stewards by then.
const FOLLOWED: Span = Span::from_hours(30 * 24);

/// An alarm on its way along a chain of contacts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Escalating {
    /// The alarm, as it was told, by voice.
    notes: BTreeMap<String, Note>,
    /// Its id.
    alarm: String,
    /// Who was told and did not acknowledge.
    from: String,
    /// Who is told next.
    to: String,
    /// Who was to come after them when it was planned, in order; nobody in what
    /// earlier versions kept.
    #[serde(default)]
    rest: Vec<String>,
}

/// What comes of something that has fallen due.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outcome {
    /// Messages, and what is to happen later.
    pub then: Vec<WaitingChange>,
    /// Other rows that happen with it.
    pub also: Vec<Taken>,
    /// What people should know.
    pub remark: Option<String>,
}

/// Another row that happens too.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Taken {
    /// The row.
    pub id: i64,
    /// What comes of it.
    pub then: Vec<WaitingChange>,
}

/// Something that was kept and cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("what was kept for later cannot be read and is dropped: {0}")]
pub struct Unreadable(#[from] serde_json::Error);

impl Escalating {
    pub(super) fn new(
        post: &Post,
        notes: BTreeMap<String, Note>,
        alarm: &str,
        from: &Contact,
        to: &Contact,
    ) -> Self {
        Escalating {
            rest: rest(post, to),
            notes,
            alarm: alarm.to_owned(),
            from: from.name.to_string(),
            to: to.name.to_string(),
        }
    }

    /// What happens at `now`.
    fn happen(self, post: &Post, now: Timestamp) -> Outcome {
        match self.next(post) {
            Some(next) => self.tell_next(next, post, now),
            None => self.tell_again(post, now),
        }
    }

    /// Who is told next: as planned, or else whom the settings of now have whoever
    /// was told last escalate to, or the next of those who were to come after.
    fn next<'p>(&self, post: &'p Post) -> Option<&'p Contact> {
        let by_settings = || {
            let escalation = post.named(&self.from)?.escalation?;
            post.contacts().get(escalation.to)
        };
        let after_them = || self.rest.iter().find_map(|name| post.named(name));
        let planned = post.named(&self.to);
        planned.or_else(by_settings).or_else(after_them)
    }

    fn tell_next(self, next: &Contact, post: &Post, now: Timestamp) -> Outcome {
        let mut outcome = Outcome {
            remark: Some(format!(
                "alarm {}: not acknowledged after {} was told; {} is told",
                self.alarm, self.from, next.name
            )),
            ..Outcome::default()
        };
        let Some(note) = note_for(&self.notes, next) else {
            return outcome;
        };
        let priority = note.priority;
        let at = next.told_at(now, priority);
        let note = self.next_note(note, next, post, now);
        let then = &mut outcome.then;
        self.deliver(next, &note, post, now, then);
        if !post.hears_anyway(next, &self.alarm, priority) {
            let follower = Follower {
                contact: next.name.to_string(),
            };
            let subject = Some(subject_of_followers(&self.alarm));
            let row = Later::Told(follower).row(now + FOLLOWED, subject);
            then.push(WaitingChange::Add(row));
        }
        if let Some(after_them) = next.escalation {
            let due = at + after_them.after;
            let subject = Some(self.alarm.clone());
            let to = &post.contacts()[after_them.to];
            let on = Escalating {
                from: next.name.to_string(),
                to: to.name.to_string(),
                rest: rest(post, to),
                ..self
            };
            let row = Later::Escalate(on).row(due, subject);
            then.push(WaitingChange::Add(row));
        }
        outcome
    }

    /// Nobody comes next any more: whoever was told last is told so, or, where they
    /// are no contact any more either, those who care for the sump.
    fn tell_again(&self, post: &Post, now: Timestamp) -> Outcome {
        let mut outcome = Outcome::default();
        let cares = |contact: &&Contact| {
            let note = note_for(&self.notes, contact);
            note.is_some_and(|note| post.hears_anyway(contact, &self.alarm, note.priority))
        };
        let told: Vec<&Contact> = match post.named(&self.from) {
            Some(last) => vec![last],
            None => post.contacts().iter().filter(cares).collect(),
        };
        for contact in &told {
            if let Some(note) = note_for(&self.notes, contact) {
                let note = self.last_note(note, contact, post, now);
                self.deliver(contact, &note, post, now, &mut outcome.then);
            }
        }
        let names: Vec<&str> = told.iter().map(|contact| &*contact.name).collect();
        outcome.remark = Some(format!(
            "alarm {}: not acknowledged after {} was told, and {}, who was to be told next, is no \
             contact any more, nor is anybody after them; told instead: {}",
            self.alarm,
            self.from,
            self.to,
            match names[..] {
                [] => "nobody, as no contact cares for it".to_owned(),
                _ => names.join(", "),
            }
        ));
        outcome
    }

    fn deliver(
        &self,
        contact: &Contact,
        note: &Note,
        post: &Post,
        now: Timestamp,
        then: &mut Vec<WaitingChange>,
    ) {
        let raised = (Transition::Raised, AlarmState::Unacknowledged);
        let step = step(post, &self.alarm, raised, note.priority, now);
        post.deliver(contact, note, Some(step), Some(&self.alarm), now, then);
    }

    /// The message to the next one says why they get it.
    fn next_note(&self, note: &Note, next: &Contact, post: &Post, now: Timestamp) -> Note {
        let values = [("from", self.from.as_str())];
        let reader = reader_of(next);
        let why = post
            .texts()
            .sentence(&reader, now, "escalation.why", &values);
        Note {
            id: format!("{}.after.{}", note.id, self.from),
            payload: with_value(&note.payload, "escalated_from", &self.from),
            text: format!("{}\n{why}", note.text),
            time: now,
            ..note.clone()
        }
    }

    /// The message to whoever is told in place of the next one says so.
    fn last_note(&self, note: &Note, contact: &Contact, post: &Post, now: Timestamp) -> Note {
        let values = [("to", self.to.as_str())];
        let reader = reader_of(contact);
        let why = post
            .texts()
            .sentence(&reader, now, "escalation.nobody_next", &values);
        Note {
            id: format!("{}.instead.of.{}", note.id, self.to),
            payload: with_value(&note.payload, "instead_of", &self.to),
            text: format!("{}\n{why}", note.text),
            time: now,
            ..note.clone()
        }
    }
}

/// Who comes after a contact, in order.
fn rest(post: &Post, contact: &Contact) -> Vec<String> {
    let after_them = post.chain(contact).skip(1);
    after_them.map(|one| one.name.to_string()).collect()
}

/// What a summary would tell of it.
fn step(
    post: &Post,
    alarm: &str,
    (transition, state): (Transition, AlarmState),
    priority: Priority,
    now: Timestamp,
) -> Item {
    let named = alarm
        .split_once('/')
        .and_then(|(_, rest)| rest.rsplit_once('/'));
    Item {
        alarm: alarm.to_owned(),
        title: post.title_of(alarm),
        condition: named.map_or(alarm, |(condition, _)| condition).to_owned(),
        own_title: None,
        priority,
        transition: transition.name().to_owned(),
        state,
        is_new: transition == Transition::Raised,
        time: now,
        told: false,
    }
}

/// Of those who were told by escalation, the rows stand under this.
fn subject_of_followers(alarm: &str) -> String {
    format!("told/{alarm}")
}

/// The note in a contact's words; without it in any.
fn note_for<'a>(notes: &'a BTreeMap<String, Note>, contact: &Contact) -> Option<&'a Note> {
    let own = notes.get(&voice(&reader_of(contact)));
    // Earlier versions kept them by language alone.
    let own = own.or_else(|| notes.get(&*contact.language));
    own.or_else(|| notes.values().next())
}

/// Somebody who was told by escalation, and of nothing else of the alarm.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Follower {
    /// Their name.
    contact: String,
}

/// The step with which an alarm needs nobody any more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Settled {
    /// The step, as it was told, by voice.
    notes: BTreeMap<String, Note>,
    /// The alarm's id.
    alarm: String,
    /// Which step.
    transition: Transition,
    /// Where the alarm stands after it; normal in what earlier versions kept.
    #[serde(default)]
    state: AlarmState,
}

impl Settled {
    pub(super) fn new(notes: BTreeMap<String, Note>, line: &AlarmLine) -> Self {
        Settled {
            notes,
            alarm: line.id.clone(),
            transition: line.transition,
            state: line.state,
        }
    }

    /// Each follower is told once; their row goes with it.
    fn happen(&self, post: &Post, now: Timestamp, followers: Vec<StoredWaiting>) -> Outcome {
        let mut outcome = Outcome::default();
        for row in followers {
            let mut taken = Taken {
                id: row.id,
                ..Taken::default()
            };
            let named = match serde_json::from_str(&row.body) {
                Ok(Later::Told(follower)) => Some(follower.contact),
                _ => None,
            };
            let mut contacts = post.contacts().iter();
            let contact = contacts.find(|one| named.as_deref() == Some(&*one.name));
            if let Some((contact, note)) =
                contact.zip(contact.and_then(|one| note_for(&self.notes, one)))
            {
                let ended = (self.transition, self.state);
                let step = step(post, &self.alarm, ended, note.priority, now);
                post.deliver(contact, note, Some(step), None, now, &mut taken.then);
            }
            outcome.also.push(taken);
        }
        outcome
    }
}

/// What comes of a row that has fallen due; `kept` gives the rows that wait
/// under a subject.
///
/// # Errors
/// When this version cannot read it, or `kept` fails.
pub fn happen<E: From<Unreadable>>(
    body: &str,
    post: &Post,
    now: Timestamp,
    kept: impl FnOnce(&str) -> Result<Vec<StoredWaiting>, E>,
) -> Result<Outcome, E> {
    Ok(
        match serde_json::from_str(body).map_err(Unreadable::from)? {
            Later::Held { rows } => Outcome {
                then: vec![WaitingChange::Send { outbox: rows }],
                ..Outcome::default()
            },
            Later::Escalate(escalating) => escalating.happen(post, now),
            // How it ended was never told, or no summary took it; it is too
            // late for that.
            Later::Told(_) | Later::Flooded { .. } | Later::Away { .. } => Outcome::default(),
            Later::Settled(settled) => {
                let followers = kept(&subject_of_followers(&settled.alarm))?;
                settled.happen(post, now, followers)
            }
        },
    )
}

#[cfg(test)]
mod tests;
