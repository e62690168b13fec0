//! Whom a message goes to, on which roads and when.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmState, Priority};
use crate::engine::AlarmLine;
use crate::settings::{Contact, Settings};
use crate::store::{BROKER, OutboxRow, WaitingChange, WaitingRow};
use crate::units::{Span, Timestamp, to_wire};

use super::closing::closing_lines;
use super::escalation::Escalating;

/// A road to a person that has a sender of its own; topics are the broker's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Road {
    /// Mail.
    Mail,
    /// JSON, posted.
    Webhook,
}

impl Road {
    /// The receiver of a contact's messages on this road, in the outbox.
    pub fn receiver(self, contact: &str) -> String {
        match self {
            Road::Mail => format!("{contact}/mail"),
            Road::Webhook => format!("{contact}/webhook"),
        }
    }
}

/// A message to people, before it is known who gets it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Note {
    /// What tells it from all others; the contact's name comes to it.
    pub id: String,
    /// What kind of message it is, as the end of the plant's topic says.
    pub kind: String,
    /// The message as an object of JSON.
    pub payload: String,
    /// In words; the first line says what it is about.
    pub text: String,
    /// When it was made.
    pub time: Timestamp,
    /// How much hurry.
    pub priority: Priority,
}

/// A note in the languages of those who are told, each made when it is first
/// asked for.
pub(super) struct Notes<F> {
    made: BTreeMap<String, Note>,
    make: F,
}

impl<F: FnMut(&str) -> Note> Notes<F> {
    /// From the note in one language, and how others are made.
    pub(super) fn new(language: &str, note: Note, make: F) -> Self {
        Notes {
            made: BTreeMap::from([(language.to_owned(), note)]),
            make,
        }
    }

    fn of(&mut self, language: &str) -> &Note {
        let make = &mut self.make;
        let known = self.made.entry(language.to_owned());
        known.or_insert_with(|| make(language))
    }

    /// What they all have in common: when, and how much hurry.
    fn occasion(&self) -> (Timestamp, Priority) {
        let any = self.made.values().next().expect("made with one");
        (any.time, any.priority)
    }
}

/// What is to happen at a later time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "what", rename_all = "snake_case")]
pub(super) enum Later {
    /// Messages that wait for somebody's working hours.
    Held { rows: Vec<OutboxRow> },
    /// An alarm that nobody has acknowledged.
    Escalate(Escalating),
}

impl Later {
    /// As a row that is due then.
    pub(super) fn row(&self, due: Timestamp, subject: Option<String>) -> WaitingRow {
        WaitingRow {
            due,
            subject,
            body: to_wire(self).expect("it has text keys only"),
        }
    }
}

/// The contacts of a plant, and what their messages have in common.
#[derive(Debug, Clone)]
pub struct Post {
    contacts: Arc<[Contact]>,
    plant: Arc<str>,
    expire_after: Span,
}

impl Post {
    /// For this plant.
    pub fn new(settings: &Settings) -> Self {
        Post {
            contacts: settings.contacts.clone().into(),
            plant: Arc::clone(&settings.plant.name),
            expire_after: settings.messages.expire_after,
        }
    }

    /// The contacts, by name.
    pub(super) fn contacts(&self) -> &[Contact] {
        &self.contacts
    }

    /// The id of the note that tells of a journal line.
    pub(super) fn id(&self, sump: &str, time: Timestamp, seq: u64) -> String {
        format!("{}.{sump}.{}.{seq}", self.plant, time.millis())
    }

    /// Tells those of the contacts at these places who want to know.
    pub(super) fn tell(
        &self,
        caring: &[usize],
        notes: &mut Notes<impl FnMut(&str) -> Note>,
        alarm: Option<&AlarmLine>,
        out: &mut Vec<OutboxRow>,
        later: &mut Vec<WaitingChange>,
    ) {
        let (time, priority) = notes.occasion();
        if let Some(line) = alarm {
            // Whatever the step, what was to happen before it is past.
            let subject = line.id.clone();
            later.push(WaitingChange::Forget { subject });
        }
        let wanted = caring.iter().map(|place| &self.contacts[*place]);
        let wanted: Vec<&Contact> = wanted
            .filter(|contact| priority >= contact.priorities)
            .collect();
        for contact in &wanted {
            let closing = alarm.and_then(|line| closing_lines(line, contact));
            let at = contact.told_at(time, priority);
            let note = notes.of(&contact.language);
            let rows = self.letters(contact, note, closing.as_deref(), at);
            hand_over(rows, at, time, out, later);
        }
        // Each step to this state asks anew for somebody to take the alarm on.
        if let Some(line) = alarm.filter(|line| line.state == AlarmState::Unacknowledged) {
            self.plan_escalations(&wanted, notes, line, later);
        }
    }

    /// One escalation for each contact who would be told next, the soonest.
    fn plan_escalations(
        &self,
        told: &[&Contact],
        notes: &mut Notes<impl FnMut(&str) -> Note>,
        line: &AlarmLine,
        later: &mut Vec<WaitingChange>,
    ) {
        let (time, priority) = notes.occasion();
        let mut planned: Vec<(usize, Timestamp, Escalating)> = Vec::new();
        for contact in told {
            let Some(next) = contact.escalation else {
                continue;
            };
            let due = contact.told_at(time, priority) + next.after;
            let to = &self.contacts[next.to];
            let chain = self.chain(to).map(|one| &*one.language);
            let chain = chain.map(|language| (language.to_owned(), notes.of(language).clone()));
            let escalating = Escalating::new(chain.collect(), &line.id, contact, to);
            match planned.iter_mut().find(|(to, ..)| *to == next.to) {
                Some(other) if other.1 <= due => {}
                Some(other) => *other = (next.to, due, escalating),
                None => planned.push((next.to, due, escalating)),
            }
        }
        for (_, due, escalating) in planned {
            let subject = Some(line.id.clone());
            let row = Later::Escalate(escalating).row(due, subject);
            later.push(WaitingChange::Add(row));
        }
    }

    /// A contact and those who come after them.
    fn chain<'a>(&'a self, first: &'a Contact) -> impl Iterator<Item = &'a Contact> {
        std::iter::successors(Some(first), |contact| {
            contact.escalation.map(|next| &self.contacts[next.to])
        })
    }

    /// The note on all roads of a contact, to be sent at once.
    pub fn written(&self, contact: &Contact, note: &Note) -> Vec<OutboxRow> {
        self.letters(contact, note, None, note.time)
    }

    /// The note on all roads of a contact who is told at `at`.
    pub(super) fn letters(
        &self,
        contact: &Contact,
        note: &Note,
        closing: Option<&str>,
        at: Timestamp,
    ) -> Vec<OutboxRow> {
        let id = format!("{}.{}", note.id, contact.name);
        let row = |receiver: String, topic: String, payload: String| OutboxRow {
            receiver,
            message: Some(id.clone()),
            expires: Some(at + self.expire_after),
            topic,
            payload,
            retain: false,
            slot: None,
            created: note.time,
        };
        let mut rows = Vec::new();
        if let Some(topic) = &contact.topic {
            rows.push(row(BROKER.to_owned(), topic.clone(), note.payload.clone()));
        }
        if contact.mail.is_some() {
            let text = match closing {
                Some(closing) => format!("{}\n\n{closing}", note.text),
                None => note.text.clone(),
            };
            rows.push(row(Road::Mail.receiver(&contact.name), String::new(), text));
        }
        if contact.webhook.is_some() {
            let receiver = Road::Webhook.receiver(&contact.name);
            let body = self.envelope(&id, contact, note);
            rows.push(row(receiver, String::new(), body));
        }
        rows
    }

    /// The object that a webhook gets. The message in it is the same to the
    /// byte as over MQTT.
    fn envelope(&self, id: &str, contact: &Contact, note: &Note) -> String {
        let text = |text: &str| to_wire(&text).expect("text can be written");
        format!(
            "{{\"id\":{},\"plant\":{},\"contact\":{},\"kind\":{},\"message\":{}}}",
            text(id),
            text(&self.plant),
            text(&contact.name),
            text(&note.kind),
            note.payload
        )
    }
}

/// Into the outbox, or for later where they are told later.
pub(super) fn hand_over(
    rows: Vec<OutboxRow>,
    at: Timestamp,
    now: Timestamp,
    out: &mut Vec<OutboxRow>,
    later: &mut Vec<WaitingChange>,
) {
    if at <= now {
        out.extend(rows);
    } else if !rows.is_empty() {
        let row = Later::Held { rows }.row(at, None);
        later.push(WaitingChange::Add(row));
    }
}
