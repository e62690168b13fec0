//! Telling the next one when nobody acknowledges. Decided from what was kept
//! and the settings of now; time is an argument.
//!
//! An escalation is kept from the moment its alarm is written to the journal,
//! and taken back in the transaction of the line that acknowledges or ends it.
//! When it falls due, the next contact is told, and the escalation to whoever
//! comes after them takes its place, to the end of the chain.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::settings::Contact;
use crate::store::{OutboxRow, WaitingChange, WaitingRow};
use crate::units::{Timestamp, to_wire};

use super::post::{Later, Note, Post, hand_over};

/// An alarm on its way along a chain of contacts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Escalating {
    /// The alarm, as it was told, by language.
    notes: BTreeMap<String, Note>,
    /// Its id.
    alarm: String,
    /// Who was told and did not acknowledge.
    from: String,
    /// Who is told next.
    to: String,
}

/// What comes of something that has fallen due.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Outcome {
    /// Messages that go out now.
    pub outbox: Vec<OutboxRow>,
    /// What is to happen later.
    pub waiting: Vec<WaitingRow>,
    /// What people should know.
    pub remark: Option<String>,
}

/// Something that was kept and cannot be read.
#[derive(Debug, thiserror::Error)]
#[error("what was kept for later cannot be read and is dropped: {0}")]
pub struct Unreadable(#[from] serde_json::Error);

impl Escalating {
    pub(super) fn new(
        notes: BTreeMap<String, Note>,
        alarm: &str,
        from: &Contact,
        to: &Contact,
    ) -> Self {
        Escalating {
            notes,
            alarm: alarm.to_owned(),
            from: from.name.to_string(),
            to: to.name.to_string(),
        }
    }

    /// What happens at `now`.
    fn happen(self, post: &Post, now: Timestamp) -> Outcome {
        let mut outcome = Outcome::default();
        let known = post.contacts().iter();
        let Some(next) = known.clone().find(|contact| *contact.name == self.to) else {
            outcome.remark = Some(format!(
                "alarm {}: {} was to be told next and is no contact any more",
                self.alarm, self.to
            ));
            return outcome;
        };
        outcome.remark = Some(format!(
            "alarm {}: not acknowledged after {} was told; {} is told",
            self.alarm, self.from, self.to
        ));
        let of_language = self.notes.get(&*next.language);
        let Some(note) = of_language.or_else(|| self.notes.values().next()) else {
            return outcome;
        };
        let at = next.told_at(now, note.priority);
        let note = self.next_note(note, now);
        let mut changes = Vec::new();
        let rows = post.letters(next, &note, None, at);
        hand_over(rows, at, now, &mut outcome.outbox, &mut changes);
        outcome.waiting = changes.into_iter().filter_map(added).collect();
        if let Some(after_them) = next.escalation {
            let due = at + after_them.after;
            let subject = Some(self.alarm.clone());
            let on = Escalating {
                from: self.to,
                to: post.contacts()[after_them.to].name.to_string(),
                ..self
            };
            outcome.waiting.push(Later::Escalate(on).row(due, subject));
        }
        outcome
    }

    /// The message to the next one says why they get it.
    fn next_note(&self, note: &Note, now: Timestamp) -> Note {
        let why = format!("Nobody has acknowledged this. Told before: {}.", self.from);
        let from = to_wire(&self.from).expect("text can be written");
        let payload = note.payload.as_str();
        let open = payload.strip_suffix('}').unwrap_or(payload);
        Note {
            id: format!("{}.after.{}", note.id, self.from),
            payload: format!("{open},\"escalated_from\":{from}}}"),
            text: format!("{}\n{why}", note.text),
            time: now,
            ..note.clone()
        }
    }
}

fn added(change: WaitingChange) -> Option<WaitingRow> {
    match change {
        WaitingChange::Add(row) => Some(row),
        WaitingChange::Forget { .. } | WaitingChange::Take { .. } => None,
    }
}

/// What comes of a row that has fallen due.
///
/// # Errors
/// When this version cannot read it.
pub fn happen(body: &str, post: &Post, now: Timestamp) -> Result<Outcome, Unreadable> {
    Ok(match serde_json::from_str(body)? {
        Later::Held { rows } => Outcome {
            outbox: rows,
            ..Outcome::default()
        },
        Later::Escalate(escalating) => escalating.happen(post, now),
    })
}

#[cfg(test)]
mod tests;
