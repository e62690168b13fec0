//! Entries on their way through the engine, and what became of each.

use std::collections::HashSet;
use std::sync::{Arc, OnceLock};

use super::Control;
use super::requests::{RequestError, wait};
use super::shape::{Answer, Imported, RowRefused};
use crate::engine::Entry;
use crate::ingest::answer::{AnswerTo, EntryOutcome};
use crate::ingest::decode::decode_entry;
use crate::ingest::intake::{Arrived, Batch, Content};
use crate::units::Timestamp;

/// Where entries come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Origin {
    /// Somebody writes them down now.
    Present,
    /// They are out of old files.
    History,
}

impl Origin {
    fn content(self, entry: Entry, answer: AnswerTo) -> Content {
        let entry = Box::new(entry);
        match self {
            Origin::Present => Content::Entry { entry, answer },
            Origin::History => Content::PastEntry { entry, answer },
        }
    }
}

impl Imported {
    fn refuse(&mut self, row: usize, why: String) {
        self.refused.push(RowRefused { row, why });
    }
}

impl Control {
    pub(super) async fn entry(&self, written: serde_json::Value) -> Result<Answer, RequestError> {
        let (place, entry) = self.read_entry(&written)?;
        let (sump, id) = key(&entry);
        let one = vec![(place, entry)];
        let outcome = self.take(one, Origin::Present).await?.pop();
        match outcome.unwrap_or(EntryOutcome::Known) {
            EntryOutcome::Refused { why } => Err(RequestError::Correction(why)),
            EntryOutcome::Known => Ok(Answer::Taken {
                sump,
                id,
                known: true,
                note: None,
            }),
            EntryOutcome::Taken { note } => Ok(Answer::Taken {
                sump,
                id,
                known: false,
                note,
            }),
        }
    }

    fn read_entry(&self, written: &serde_json::Value) -> Result<(u32, Entry), RequestError> {
        let (place, entry) = decode_entry(written.to_string().as_bytes(), &self.sumps)?;
        Ok((place as u32, entry))
    }

    pub(super) async fn entries(
        &self,
        written: &[serde_json::Value],
        origin: Origin,
    ) -> Result<Answer, RequestError> {
        let mut imported = Imported::default();
        let (mut read, mut rows) = (Vec::new(), Vec::new());
        for (row, written) in written.iter().enumerate() {
            match self.read_entry(written) {
                Ok(entry) => {
                    read.push(entry);
                    rows.push(row);
                }
                Err(why) => imported.refuse(row, why.to_string()),
            }
        }
        let outcomes = self.take(read, origin).await?;
        for (row, outcome) in rows.into_iter().zip(outcomes) {
            match outcome {
                EntryOutcome::Taken { .. } => imported.stored += 1,
                EntryOutcome::Known => imported.known += 1,
                EntryOutcome::Refused { why } => imported.refuse(row, why),
            }
        }
        imported.refused.sort_by_key(|refused| refused.row);
        Ok(Answer::Imported(imported))
    }

    /// Has entries taken that the store does not know, and says what became of
    /// each, in their order.
    async fn take(
        &self,
        entries: Vec<(u32, Entry)>,
        origin: Origin,
    ) -> Result<Vec<EntryOutcome>, RequestError> {
        let _one_at_a_time = self.entering.lock().await;
        let keys = entries.iter().map(|(_, entry)| key(entry)).collect();
        let mut known = self.known(keys).await?;
        let mut askers = Vec::with_capacity(entries.len());
        let mut contents = Vec::with_capacity(entries.len());
        for (place, entry) in entries {
            let asker = Arc::new(OnceLock::new());
            if known.insert(key(&entry)) {
                let answer = AnswerTo::Asker(Arc::clone(&asker));
                contents.push((place, origin.content(entry, answer)));
            } else {
                // It is the first to say so.
                let _ = asker.set(EntryOutcome::Known);
            }
            askers.push(asker);
        }
        self.put(contents).await?;
        let plainly = EntryOutcome::Taken { note: None };
        Ok(askers
            .iter()
            .map(|asker| asker.get().unwrap_or(&plainly).clone())
            .collect())
    }

    /// Which of these entries, by sump and id, the store has.
    async fn known(
        &self,
        keys: Vec<(String, String)>,
    ) -> Result<HashSet<(String, String)>, RequestError> {
        self.read_store(move |reader| {
            let mut known = HashSet::new();
            for (sump, id) in keys {
                if reader.has_entry(&sump, &id)? {
                    known.insert((sump, id));
                }
            }
            Ok(known)
        })
        .await
    }

    /// Hands what was read to the shards and waits until it is on the disk.
    async fn put(&self, contents: Vec<(u32, Content)>) -> Result<(), RequestError> {
        if contents.is_empty() {
            return Ok(());
        }
        let arrival: Timestamp = (self.clock)();
        let (ack, committed) = self.pending.expect(self.ix, contents.len() as u32);
        let mut batches: Vec<Batch> = (0..self.intake.shards())
            .map(|_| Batch::default())
            .collect();
        for (sump, content) in contents {
            let (shard, _) = self.intake.place(sump);
            batches[shard].arrived.push(Arrived {
                sump,
                arrival,
                content,
                ack: Some(ack.clone()),
            });
        }
        for (shard, batch) in batches.into_iter().enumerate() {
            if !batch.arrived.is_empty() && self.intake.send(shard, batch).await.is_err() {
                self.pending.forget(&ack);
                return Err(RequestError::Stopping);
            }
        }
        wait(committed).await
    }
}

fn key(entry: &Entry) -> (String, String) {
    (entry.sump.clone(), entry.id.clone())
}
