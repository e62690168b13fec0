//! What is told to the writer of an entry.

use std::sync::{Arc, OnceLock};

use serde::Serialize;

use crate::engine::Entry;
use crate::units::{Timestamp, to_wire};

/// Whom to tell what became of an entry.
#[derive(Debug, Clone, PartialEq)]
pub enum AnswerTo {
    /// Nobody waits.
    Nobody,
    /// A conversation on this machine, which looks here after the commit.
    Asker(Arc<OnceLock<EntryOutcome>>),
    /// Whoever listens to this topic.
    Topic(AnswerTopic),
}

/// Where an answer is published.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AnswerTopic {
    /// The topic.
    pub topic: String,
    /// By which the writer knows its own entry again (MQTT 5.0, 3.3.2.3.6).
    pub correlation: Option<Vec<u8>>,
}

/// What became of an entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum EntryOutcome {
    /// It is in the journal.
    Taken {
        /// What there is to say about it.
        note: Option<String>,
    },
    /// It was there before.
    Known,
    /// It is not taken.
    Refused {
        /// Why.
        why: String,
    },
}

/// An answer as it is published.
#[derive(Debug, Serialize)]
struct Published<'a> {
    id: Option<&'a str>,
    sump: Option<&'a str>,
    time: Option<Timestamp>,
    answer: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    note: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<&'a str>,
}

impl EntryOutcome {
    /// The answer about this entry, as JSON.
    pub fn published(&self, entry: &Entry) -> String {
        let (answer, note, why) = match self {
            EntryOutcome::Taken { note } => ("taken", note.as_deref(), None),
            EntryOutcome::Known => ("known", None, None),
            EntryOutcome::Refused { why } => ("refused", None, Some(why.as_str())),
        };
        json(&Published {
            id: Some(&entry.id),
            sump: Some(&entry.sump),
            time: Some(entry.time),
            answer,
            note,
            why,
        })
    }
}

/// A longer id is none that an entry can have, and is not given back, bytes.
const LONGEST_ID: usize = 200;

/// The answer to something that cannot be read as an entry; with its id, where
/// that can be made out.
pub(super) fn unreadable(payload: &[u8], why: &str) -> String {
    #[derive(serde::Deserialize)]
    struct Id {
        id: Option<String>,
    }
    let read = serde_json::from_slice::<Id>(payload).ok();
    let id = read.and_then(|read| read.id);
    json(&Published {
        id: id.as_deref().filter(|id| id.len() <= LONGEST_ID),
        sump: None,
        time: None,
        answer: "refused",
        note: None,
        why: Some(why),
    })
}

fn json(published: &Published<'_>) -> String {
    to_wire(published).expect("an answer has text keys only")
}
