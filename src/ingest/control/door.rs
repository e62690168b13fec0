//! Entries of people who write them by other ways of this machine.

use std::sync::{Arc, OnceLock};

use super::pending::Pending;
use crate::engine::Entry;
use crate::ingest::answer::{AnswerTo, EntryOutcome};
use crate::ingest::intake::{Arrived, Batch, Content, Intake};
use crate::units::Timestamp;

/// Hands entries to the engine, one by one.
#[derive(Clone)]
pub struct EntryDoor {
    /// Its place among the sources.
    pub ix: u16,
    /// The doors of the shards.
    pub intake: Intake,
    /// What waits for its commit.
    pub pending: Arc<Pending>,
    /// The clock.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
}

impl EntryDoor {
    /// Has an entry about the sump at this place taken, and says what became of
    /// it once that is on the disk; nothing where the daemon stops before: then
    /// it is not known, and the same entry may be handed in again.
    pub async fn enter(&self, place: u32, entry: Entry) -> Option<EntryOutcome> {
        let asker = Arc::new(OnceLock::new());
        let (ack, committed) = self.pending.expect(self.ix, 1);
        let arrived = Arrived {
            sump: place,
            arrival: (self.clock)(),
            content: Content::Entry {
                entry: Box::new(entry),
                answer: AnswerTo::Asker(Arc::clone(&asker)),
            },
            ack: Some(ack.clone()),
        };
        let batch = Batch {
            arrived: vec![arrived],
            ..Batch::default()
        };
        let (shard, _) = self.intake.place(place);
        if self.intake.send(shard, batch).await.is_err() {
            self.pending.forget(&ack);
            return None;
        }
        committed.await.ok()?;
        asker.get().cloned()
    }
}
