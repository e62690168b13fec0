//! From a journal line to the messages that tell of it.

use std::collections::HashMap;
use std::sync::Arc;

use serde::Serialize;

use crate::advice::{Advice, MixerCheck};
use crate::engine::{AlarmLine, JournalBody, JournalRecord, Outcome, SumpStatus};
use crate::settings::Settings;
use crate::store::OutboxRow;
use crate::units::{Timestamp, to_wire};

use super::{ledger_text, text};

/// Makes the messages of one plant.
#[derive(Debug, Clone)]
pub struct Composer {
    /// `<base>/<plant>`.
    root: String,
    sumps: HashMap<Arc<str>, Addressed>,
}

#[derive(Debug, Clone)]
struct Addressed {
    title: String,
    /// Topics of the people who care for the sump.
    contacts: Vec<String>,
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
    /// For this plant.
    pub fn new(settings: &Settings) -> Self {
        let contacts_of = |place: usize| {
            let caring = settings
                .contacts
                .iter()
                .filter(|contact| contact.sumps.contains(&place));
            caring.filter_map(|contact| contact.topic.clone()).collect()
        };
        let sumps = settings.sumps.iter().enumerate().map(|(place, sump)| {
            let addressed = Addressed {
                title: sump.title.clone(),
                contacts: contacts_of(place),
            };
            (Arc::clone(&sump.name), addressed)
        });
        Composer {
            root: format!("{}/{}", settings.plant.base_topic, settings.plant.name),
            sumps: sumps.collect(),
        }
    }

    /// The messages that a journal line calls for.
    pub fn messages(&self, record: &JournalRecord, out: &mut Vec<OutboxRow>) {
        let Some(to) = self.sumps.get(&record.sump) else {
            return;
        };
        let (sump, title, time) = (&*record.sump, to.title.as_str(), record.time);
        let (topic, payload, personal) = match &record.body {
            JournalBody::Alarm(line) => {
                let text = text::alarm_text(title, time, line);
                (
                    "alarm",
                    json(&AlarmMessage {
                        line,
                        sump,
                        title,
                        time,
                        text,
                    }),
                    true,
                )
            }
            JournalBody::Advice { advice } => {
                let text = text::advice_text(title, advice);
                (
                    "advice",
                    json(&AdviceMessage {
                        advice,
                        sump,
                        title,
                        text,
                    }),
                    false,
                )
            }
            JournalBody::AdviceOutcome(outcome) => {
                let text = text::outcome_text(title, outcome);
                (
                    "outcome",
                    json(&OutcomeMessage {
                        outcome,
                        sump,
                        title,
                        time,
                        text,
                    }),
                    true,
                )
            }
            JournalBody::MixerChecked(check) => {
                let text = text::mixer_text(title, check);
                (
                    "mixer",
                    json(&MixerMessage {
                        check,
                        sump,
                        title,
                        time,
                        text,
                    }),
                    true,
                )
            }
            JournalBody::Movement { movement } => {
                let text = ledger_text::movement_text(title, movement);
                let told = LedgerMessage {
                    of: movement,
                    sump,
                    title,
                    time,
                    text,
                };
                ("movement", json(&told), false)
            }
            JournalBody::Departure {
                departure: Some(departure),
            } => {
                let text = ledger_text::departure_text(title, departure);
                let told = LedgerMessage {
                    of: departure,
                    sump,
                    title,
                    time,
                    text,
                };
                ("departure", json(&told), false)
            }
            JournalBody::Departure { departure: None } => {
                let text = ledger_text::usual_again_text(title);
                let of = Usual { usual: true };
                let told = LedgerMessage {
                    of: &of,
                    sump,
                    title,
                    time,
                    text,
                };
                ("departure", json(&told), false)
            }
            JournalBody::MovementLogged { .. }
            | JournalBody::AdviceFollowed { .. }
            | JournalBody::AdviceWithdrawn { .. }
            | JournalBody::AdviceRestored { .. }
            | JournalBody::Entry { .. } => return,
        };
        let contacts = to.contacts.iter().filter(|_| personal);
        for topic in contacts
            .cloned()
            .chain([format!("{}/{sump}/{topic}", self.root)])
        {
            out.push(OutboxRow {
                topic,
                payload: payload.clone(),
                retain: false,
                slot: None,
                created: time,
            });
        }
    }

    /// The retained state of a sump.
    pub fn state(&self, status: &SumpStatus) -> OutboxRow {
        let topic = format!("{}/{}/state", self.root, status.sump);
        OutboxRow {
            slot: Some(topic.clone()),
            topic,
            payload: json(status),
            retain: true,
            created: status.time,
        }
    }

    /// What a source is doing, retained.
    pub fn source(&self, name: &str, status: &impl Serialize, time: Timestamp) -> OutboxRow {
        let topic = format!("{}/source/{name}", self.root);
        OutboxRow {
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

fn json(message: &impl Serialize) -> String {
    to_wire(message).expect("messages have text keys only")
}
