//! From a journal line to the messages that tell of it.

use std::collections::HashMap;
use std::sync::Arc;

use jiff::tz::TimeZone;
use serde::Serialize;

use crate::advice::{Advice, Measure, MixerCheck};
use crate::alarm::{Priority, Transition};
use crate::engine::{AlarmLine, JournalBody, JournalRecord, Outcome, PLANT, SumpStatus};
use crate::settings::Settings;
use crate::store::{BROKER, OutboxRow, WaitingChange};
use crate::units::{Timestamp, to_wire};

use super::link::Links;
use super::post::{Note, Notes, Post};
use super::texts::{About, Reader, Texts};

/// Makes the messages of one plant.
#[derive(Debug, Clone)]
pub struct Composer {
    /// `<base>/<plant>`.
    root: String,
    texts: Texts,
    /// The plant's.
    language: Arc<str>,
    zone: TimeZone,
    sumps: HashMap<Arc<str>, Addressed>,
    /// Places of the contacts who hear of sumps that the settings have no more.
    of_gone: Vec<usize>,
    /// The people.
    post: Post,
}

#[derive(Debug, Clone)]
struct Addressed {
    title: String,
    measure: Measure,
    /// Places of the contacts who care for the sump.
    contacts: Vec<usize>,
}

/// A message, by whom it is read.
struct Told {
    topic: &'static str,
    payload: String,
    text: String,
    /// Whether contacts get it too.
    personal: bool,
}

/// An alarm as it goes over the wire.
#[derive(Serialize)]
struct AlarmMessage<'a> {
    #[serde(flatten)]
    line: &'a AlarmLine,
    sump: &'a str,
    title: &'a str,
    time: Timestamp,
    text: String,
}

/// Advice as it goes over the wire.
#[derive(Serialize)]
struct AdviceMessage<'a> {
    #[serde(flatten)]
    advice: &'a Advice,
    sump: &'a str,
    title: &'a str,
    text: String,
}

/// What came of a dose, as it goes over the wire.
#[derive(Serialize)]
struct OutcomeMessage<'a> {
    #[serde(flatten)]
    outcome: &'a Outcome,
    sump: &'a str,
    title: &'a str,
    time: Timestamp,
    text: String,
}

/// What the outlet of a mixer gave, as it goes over the wire.
#[derive(Serialize)]
struct MixerMessage<'a> {
    #[serde(flatten)]
    check: &'a MixerCheck,
    sump: &'a str,
    title: &'a str,
    time: Timestamp,
    text: String,
}

/// What the ledger has to tell, as it goes over the wire.
#[derive(Serialize)]
struct LedgerMessage<'a, T: Serialize> {
    #[serde(flatten)]
    of: &'a T,
    sump: &'a str,
    title: &'a str,
    /// When it was told.
    #[serde(rename = "told_at")]
    time: Timestamp,
    text: String,
}

/// Losses and gains are usual again.
#[derive(Serialize)]
struct Usual {
    usual: bool,
}

impl Composer {
    /// For this plant, in these words; with links where people can reach its
    /// pages.
    pub fn new(settings: &Settings, texts: Texts, links: Option<Links>) -> Self {
        let contacts_of = |place: usize| {
            let all = settings.contacts.iter().enumerate();
            let caring = all.filter(|(_, contact)| contact.sumps.contains(&place));
            caring.map(|(place, _)| place).collect()
        };
        let sumps = settings.sumps.iter().enumerate().map(|(place, sump)| {
            let addressed = Addressed {
                title: sump.title.clone(),
                measure: sump.dose.measure,
                contacts: contacts_of(place),
            };
            (Arc::clone(&sump.name), addressed)
        });
        // What is the plant's is everybody's.
        let plant = Addressed {
            title: settings.plant.name.to_string(),
            measure: settings.sumps[0].dose.measure,
            contacts: (0..settings.contacts.len()).collect(),
        };
        Composer {
            root: format!("{}/{}", settings.plant.base_topic, settings.plant.name),
            post: Post::new(settings, texts.clone(), links),
            texts,
            language: Arc::clone(&settings.texts.language),
            zone: settings.plant.time_zone.clone(),
            of_gone: {
                let all = settings.contacts.iter().enumerate();
                let caring = all.filter(|(_, contact)| !contact.sumps.is_empty());
                caring.map(|(place, _)| place).collect()
            },
            sumps: sumps.chain([(PLANT.into(), plant)]).collect(),
        }
    }

    /// The messages that a journal line calls for: one on the sump's own topic,
    /// in the plant's language and by its clocks, and those for each contact, in
    /// theirs; and what is to happen later.
    pub fn messages(
        &self,
        record: &JournalRecord,
        out: &mut Vec<OutboxRow>,
        later: &mut Vec<WaitingChange>,
    ) {
        let gone;
        let to = match self.sumps.get(&record.sump) {
            Some(to) => to,
            None => {
                gone = self.gone(&record.sump);
                &gone
            }
        };
        let plant = Reader {
            language: &self.language,
            zone: &self.zone,
        };
        let Some(own) = self.told(record, to, &plant) else {
            return;
        };
        if own.personal {
            let alarm = match &record.body {
                JournalBody::Alarm(line) => Some(line),
                _ => None,
            };
            let note = |told: &Told| Note {
                id: self.post.id(&record.sump, record.time, record.seq),
                kind: told.topic.to_owned(),
                payload: told.payload.clone(),
                text: told.text.clone(),
                time: record.time,
                priority: alarm.map_or(Priority::Low, |line| line.priority),
            };
            let for_reader = |reader: &Reader<'_>| self.told(record, to, reader);
            let mut notes = Notes::new(&plant, note(&own), |reader| {
                note(for_reader(reader).as_ref().unwrap_or(&own))
            });
            let contacts = match alarm {
                Some(line) if !is_for_people(line) => &[],
                _ => &to.contacts[..],
            };
            self.post.tell(contacts, &mut notes, alarm, later);
        }
        out.push(OutboxRow {
            receiver: BROKER.to_owned(),
            message: None,
            expires: None,
            topic: format!("{}/{}/{}", self.root, record.sump, own.topic),
            payload: own.payload,
            retain: false,
            slot: None,
            created: record.time,
        });
    }

    /// A sump that the settings have no more: nobody knows who cared for it, so that
    /// everybody who cares for any hears of it.
    fn gone(&self, sump: &str) -> Addressed {
        Addressed {
            title: sump.to_owned(),
            measure: self.sumps[PLANT].measure,
            contacts: self.of_gone.clone(),
        }
    }

    /// The people, and what their messages have in common.
    pub fn post(&self) -> &Post {
        &self.post
    }

    /// What a journal line tells this reader; none where it is for nobody.
    fn told(&self, record: &JournalRecord, to: &Addressed, reader: &Reader<'_>) -> Option<Told> {
        let (sump, title, time) = (&*record.sump, to.title.as_str(), record.time);
        let about = About {
            sump,
            title,
            time,
            measure: to.measure,
        };
        let texts = &self.texts;
        let (topic, payload, text, personal) = match &record.body {
            JournalBody::Alarm(line) => {
                let text = texts.alarm(reader, &about, line);
                (
                    "alarm",
                    json(&AlarmMessage {
                        line,
                        sump,
                        title,
                        time,
                        text: text.clone(),
                    }),
                    text,
                    true,
                )
            }
            JournalBody::Advice { advice } => {
                let text = texts.advice(reader, &about, advice);
                (
                    "advice",
                    json(&AdviceMessage {
                        advice,
                        sump,
                        title,
                        text: text.clone(),
                    }),
                    text,
                    false,
                )
            }
            JournalBody::AdviceOutcome(outcome) => {
                let text = texts.outcome(reader, &about, outcome);
                (
                    "outcome",
                    json(&OutcomeMessage {
                        outcome,
                        sump,
                        title,
                        time,
                        text: text.clone(),
                    }),
                    text,
                    true,
                )
            }
            JournalBody::MixerChecked(check) => {
                let text = texts.mixer(reader, &about, check);
                (
                    "mixer",
                    json(&MixerMessage {
                        check,
                        sump,
                        title,
                        time,
                        text: text.clone(),
                    }),
                    text,
                    true,
                )
            }
            JournalBody::Movement { movement } => {
                let text = texts.movement(reader, &about, movement);
                let told = LedgerMessage {
                    of: movement,
                    sump,
                    title,
                    time,
                    text: text.clone(),
                };
                ("movement", json(&told), text, false)
            }
            JournalBody::Departure {
                departure: Some(departure),
            } => {
                let text = texts.departure(reader, &about, Some(departure));
                let told = LedgerMessage {
                    of: departure,
                    sump,
                    title,
                    time,
                    text: text.clone(),
                };
                ("departure", json(&told), text, false)
            }
            JournalBody::Departure { departure: None } => {
                let text = texts.departure(reader, &about, None);
                let of = Usual { usual: true };
                let told = LedgerMessage {
                    of: &of,
                    sump,
                    title,
                    time,
                    text: text.clone(),
                };
                ("departure", json(&told), text, false)
            }
            JournalBody::MovementLogged { .. }
            | JournalBody::AdviceFollowed { .. }
            | JournalBody::AdviceWithdrawn { .. }
            | JournalBody::AdviceRestored { .. }
            | JournalBody::Entry { .. } => return None,
        };
        Some(Told {
            topic,
            payload,
            text,
            personal,
        })
    }

    /// The retained state of a sump.
    pub fn state(&self, status: &SumpStatus) -> OutboxRow {
        let topic = format!("{}/{}/state", self.root, status.sump);
        OutboxRow {
            receiver: BROKER.to_owned(),
            message: None,
            expires: None,
            slot: Some(topic.clone()),
            topic,
            payload: json(status),
            retain: true,
            created: status.time,
        }
    }

    /// What a source is doing, retained.
    pub fn source(&self, name: &str, status: &impl Serialize, time: Timestamp) -> OutboxRow {
        self.retained(format!("{}/source/{name}", self.root), status, time)
    }

    /// How forwarding to a target goes, retained.
    pub fn target(&self, name: &str, status: &impl Serialize, time: Timestamp) -> OutboxRow {
        self.retained(format!("{}/forward/{name}", self.root), status, time)
    }

    fn retained(&self, topic: String, status: &impl Serialize, time: Timestamp) -> OutboxRow {
        OutboxRow {
            receiver: BROKER.to_owned(),
            message: None,
            expires: None,
            slot: Some(topic.clone()),
            topic,
            payload: json(status),
            retain: true,
            created: time,
        }
    }

    /// The topic that says whether the daemon is there.
    pub fn status_topic(&self) -> String {
        format!("{}/status", self.root)
    }
}

/// What is suppressed is told by what suppresses it, and nobody hears of its
/// coming and going.
fn is_for_people(line: &AlarmLine) -> bool {
    match line.transition {
        Transition::Suppressed => false,
        Transition::Unsuppressed => line.transition.annunciates(line.state),
        _ => true,
    }
}

fn json(message: &impl Serialize) -> String {
    to_wire(message).expect("messages have text keys only")
}
