//! Whom a message goes to, on which roads and when.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::alarm::{AlarmState, Priority};
use crate::engine::{AlarmLine, PLANT};
use crate::settings::{Contact, Settings};
use crate::store::{BROKER, Before, OutboxRow, WaitingChange, WaitingRow};
use crate::units::{Span, Timestamp, to_wire};

use super::away;
use super::closing::{in_payload, in_text};
use super::escalation::{Escalating, Follower, Settled};
use super::flood::{self, Floods, Item};
use super::link::Links;
use super::texts::{Reader, Texts};

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

/// A note in the languages and by the clocks of those who are told, each made
/// when it is first asked for.
pub(super) struct Notes<F> {
    made: BTreeMap<String, Note>,
    make: F,
}

impl<F: FnMut(&Reader<'_>) -> Note> Notes<F> {
    /// From the note for one reader, and how others are made.
    pub(super) fn new(reader: &Reader<'_>, note: Note, make: F) -> Self {
        Notes {
            made: BTreeMap::from([(voice(reader), note)]),
            make,
        }
    }

    fn of(&mut self, contact: &Contact) -> &Note {
        let reader = reader_of(contact);
        let make = &mut self.make;
        let known = self.made.entry(voice(&reader));
        known.or_insert_with(|| make(&reader))
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
    /// Messages that wait for somebody's working hours, or behind what does; of
    /// an alarm with the step that they tell of.
    Away {
        item: Option<Item>,
        rows: Vec<OutboxRow>,
    },
    /// Messages that wait for somebody's working hours, as earlier versions kept
    /// them.
    Held { rows: Vec<OutboxRow> },
    /// An alarm that nobody has acknowledged.
    Escalate(Escalating),
    /// A step of an alarm that comes in a summary.
    Flooded { item: Item },
    /// Somebody was told by escalation alone, and hears how it ends.
    Told(Follower),
    /// An alarm needs nobody any more.
    Settled(Settled),
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
    /// Names and titles of the sumps, in their places.
    sumps: Arc<[(Arc<str>, String)]>,
    floods: Floods,
    expire_after: Span,
    texts: Texts,
    links: Option<Links>,
}

impl Post {
    /// For this plant, in these words; with links where people can reach its
    /// pages.
    pub fn new(settings: &Settings, texts: Texts, links: Option<Links>) -> Self {
        Post {
            contacts: settings.contacts.clone().into(),
            plant: Arc::clone(&settings.plant.name),
            sumps: settings
                .sumps
                .iter()
                .map(|sump| (sump.name.clone(), sump.title.clone()))
                .collect(),
            floods: Floods::default(),
            expire_after: settings.messages.expire_after,
            texts,
            links,
        }
    }

    pub(super) fn plant(&self) -> &str {
        &self.plant
    }

    pub(super) fn floods(&self) -> &Floods {
        &self.floods
    }

    /// Title of the sump that an alarm is about, by the alarm's id.
    pub(super) fn title_of(&self, alarm: &str) -> String {
        let sump = alarm.split('/').next().unwrap_or(alarm);
        let mut sumps = self.sumps.iter();
        match sumps.find(|(name, _)| **name == *sump) {
            Some((_, title)) => title.clone(),
            None if sump == PLANT => self.plant.to_string(),
            None => sump.to_owned(),
        }
    }

    /// The words.
    pub fn texts(&self) -> &Texts {
        &self.texts
    }

    /// The contacts, by name.
    pub(super) fn contacts(&self) -> &[Contact] {
        &self.contacts
    }

    /// The contact of this name, where there still is one.
    pub(super) fn named(&self, name: &str) -> Option<&Contact> {
        self.contacts.iter().find(|contact| *contact.name == *name)
    }

    /// The id of the note that tells of a journal line.
    pub(super) fn id(&self, sump: &str, time: Timestamp, seq: u64) -> String {
        format!("{}.{sump}.{}.{seq}", self.plant, time.millis())
    }

    /// Tells those of the contacts at these places who want to know.
    pub(super) fn tell(
        &self,
        caring: &[usize],
        notes: &mut Notes<impl FnMut(&Reader<'_>) -> Note>,
        alarm: Option<&AlarmLine>,
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
        let step = alarm.map(|line| Item::new(line, &self.title_of(&line.id), time));
        for contact in &wanted {
            let asking = alarm.filter(|line| line.state.asks());
            let asking = asking.map(|line| line.id.as_str());
            self.deliver(
                contact,
                notes.of(contact),
                step.clone(),
                asking,
                time,
                later,
            );
        }
        // Each step to this state asks anew for somebody to take the alarm on.
        if let Some(line) = alarm.filter(|line| line.state == AlarmState::Unacknowledged) {
            self.plan_escalations(&wanted, notes, line, later);
        }
        if let Some(line) = alarm.filter(|line| line.state != AlarmState::Unacknowledged) {
            self.settle(&wanted, notes, line, later);
        }
    }

    /// One message to one contact at `now`, in its turn: at once, when they work again,
    /// behind what waits for that, or in a summary. With a link where they may
    /// acknowledge the alarm `asking`.
    pub(super) fn deliver(
        &self,
        contact: &Contact,
        note: &Note,
        step: Option<Item>,
        asking: Option<&str>,
        now: Timestamp,
        later: &mut Vec<WaitingChange>,
    ) {
        let at = contact.told_at(now, note.priority);
        let is_away = at > now;
        if let Some(step) = step.clone()
            && !is_away
            && self.is_held(contact, step, later)
        {
            return;
        }
        let rows = self.letters(contact, note, asking, at);
        if rows.is_empty() {
            return;
        }
        later.push(match step {
            _ if is_away => WaitingChange::Add(away::row_of(contact, step, rows, at)),
            // What hurries waits for nothing but what a summary of a flood has yet
            // to tell of the same alarm.
            Some(step) if step.priority == Priority::High => WaitingChange::InTurn {
                before: Before {
                    subjects: vec![flood::subject_of(contact)],
                    alarm: Some(step.alarm.clone()),
                },
                outbox: rows,
                row: flood::row_of(contact, step),
            },
            step => WaitingChange::InTurn {
                before: Before {
                    subjects: vec![flood::subject_of(contact), away::subject_of(contact)],
                    alarm: None,
                },
                outbox: rows.clone(),
                row: away::row_of(contact, step, rows, at),
            },
        });
    }

    /// Those who were told by escalation alone hear of it too.
    fn settle(
        &self,
        told: &[&Contact],
        notes: &mut Notes<impl FnMut(&Reader<'_>) -> Note>,
        line: &AlarmLine,
        later: &mut Vec<WaitingChange>,
    ) {
        let (time, _) = notes.occasion();
        let mut all = BTreeMap::new();
        for first in told {
            for contact in self.chain(first).skip(1) {
                let voice = voice(&reader_of(contact));
                all.insert(voice, notes.of(contact).clone());
            }
        }
        if !all.is_empty() {
            let settled = Later::Settled(Settled::new(all, line));
            later.push(WaitingChange::Add(settled.row(time, None)));
        }
    }

    /// Whether a contact hears of this alarm without any escalation.
    pub(super) fn hears_anyway(&self, contact: &Contact, alarm: &str, priority: Priority) -> bool {
        let sump = alarm.split('/').next().unwrap_or(alarm);
        let place = self.sumps.iter().position(|(name, _)| **name == *sump);
        let cares = match place {
            Some(place) => contact.sumps.contains(&place),
            // What is the plant's is everybody's.
            None => sump == PLANT,
        };
        cares && priority >= contact.priorities
    }

    /// One escalation for each contact who would be told next, the soonest.
    fn plan_escalations(
        &self,
        told: &[&Contact],
        notes: &mut Notes<impl FnMut(&Reader<'_>) -> Note>,
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
            let chain = self.chain(to);
            let chain = chain.map(|one| (voice(&reader_of(one)), notes.of(one).clone()));
            let escalating = Escalating::new(self, chain.collect(), &line.id, contact, to);
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
    pub(super) fn chain<'a>(&'a self, first: &'a Contact) -> impl Iterator<Item = &'a Contact> {
        std::iter::successors(Some(first), |contact| {
            contact.escalation.map(|next| &self.contacts[next.to])
        })
    }

    /// The note on all roads of a contact, to be sent at once.
    pub fn written(&self, contact: &Contact, note: &Note) -> Vec<OutboxRow> {
        self.letters(contact, note, None, note.time)
    }

    /// The note on all roads of a contact who is told at `at`, with a link where
    /// they may acknowledge the alarm `asking`.
    pub(super) fn letters(
        &self,
        contact: &Contact,
        note: &Note,
        asking: Option<&str>,
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
        let url = asking.and_then(|alarm| self.link(contact, alarm, at));
        let payload = match &url {
            Some(url) => in_payload(&note.payload, url),
            None => note.payload.clone(),
        };
        let mut rows = Vec::new();
        if let Some(topic) = &contact.topic {
            rows.push(row(BROKER.to_owned(), topic.clone(), payload.clone()));
        }
        if contact.mail.is_some() {
            let text = match &url {
                Some(url) => {
                    let words =
                        self.texts
                            .sentence(&reader_of(contact), at, "link.acknowledge", &[]);
                    in_text(&note.text, &words, url)
                }
                None => note.text.clone(),
            };
            rows.push(row(Road::Mail.receiver(&contact.name), String::new(), text));
        }
        if contact.webhook.is_some() {
            let receiver = Road::Webhook.receiver(&contact.name);
            let body = self.envelope(&id, contact, &note.kind, &payload);
            rows.push(row(receiver, String::new(), body));
        }
        rows
    }

    /// The link by which a contact who is told at `at` acknowledges an alarm, where
    /// there are links.
    pub(super) fn link(&self, contact: &Contact, alarm: &str, at: Timestamp) -> Option<String> {
        let links = self.links.as_ref()?;
        Some(links.url(alarm, &contact.name, at))
    }

    /// The object that a webhook gets. The message in it is the same to the
    /// byte as over MQTT.
    fn envelope(&self, id: &str, contact: &Contact, kind: &str, payload: &str) -> String {
        let text = |text: &str| to_wire(&text).expect("text can be written");
        format!(
            "{{\"id\":{},\"plant\":{},\"contact\":{},\"kind\":{},\"message\":{}}}",
            text(id),
            text(&self.plant),
            text(&contact.name),
            text(kind),
            payload
        )
    }
}

/// Tells readers apart who are told in different words.
pub(super) fn voice(reader: &Reader<'_>) -> String {
    let zone = reader.zone.iana_name().unwrap_or_default();
    format!("{} {zone}", reader.language)
}

/// How a contact reads.
pub(super) fn reader_of(contact: &Contact) -> Reader<'_> {
    Reader {
        language: &contact.language,
        zone: &contact.time_zone,
    }
}
