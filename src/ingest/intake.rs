//! The way from the sources to the shards.

use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use tokio::sync::{OwnedSemaphorePermit, Semaphore, mpsc};

use crate::engine::{
    DiskFull, Entry, ForwardStuck, ListedAlarm, Lost, Quality, StockLeft, TroubleKind,
};
use crate::units::Timestamp;

use super::answer::{AnswerTo, AnswerTopic};
use super::recent::Trace;

/// Batches that may wait for one shard.
const BATCHES_WAITING: usize = 64;
/// Readings and the like that may wait for one shard, some 10 MB. One batch may
/// hold more if it is alone: a single message can have many thousands.
const CONTENTS_WAITING: usize = 64 * 1024;

/// Says which message of which connection is to be acknowledged.
#[derive(Debug, Clone)]
pub struct Ack {
    /// The source.
    pub source: u16,
    /// Which of its connections; an acknowledgement never outlives its own.
    pub epoch: u64,
    /// The message's packet identifier.
    pub packet: u16,
    /// Where the message held several readings: those not yet committed.
    pub open: Option<Arc<AtomicU32>>,
}

impl Ack {
    /// One reading of the message has been committed; says whether it was the
    /// last.
    pub fn settle(&self) -> bool {
        let one = |open: &Arc<AtomicU32>| open.fetch_sub(1, Ordering::AcqRel) == 1;
        self.open.as_ref().is_none_or(one)
    }
}

/// What a message held.
#[derive(Debug, Clone, PartialEq)]
pub enum Content {
    /// A value of a channel, in the unit that its instrument reports in.
    Reading {
        /// Place of the channel in its sump.
        channel: u16,
        /// The time that the source gave.
        claimed: Option<Timestamp>,
        /// The value.
        value: f64,
        /// Marks set so far.
        quality: Quality,
    },
    /// A value that was true at an unknown time before.
    Baseline {
        /// Place of the channel in its sump.
        channel: u16,
        /// The value.
        value: f64,
    },
    /// Something other than a reading was heard of a channel.
    Trouble {
        /// Place of the channel in its sump.
        channel: u16,
        /// When it was so, where that is not when it arrived.
        time: Option<Timestamp>,
        /// What was heard.
        kind: TroubleKind,
    },
    /// A source was lost, or is there again; goes to the plant.
    Source {
        /// Its name.
        name: Arc<str>,
        /// Since when it is gone, and why; nothing where it is there.
        lost: Option<Lost>,
    },
    /// A stock was reckoned anew; goes to the plant.
    Stock {
        /// Name of the fluid.
        fluid: Arc<str>,
        /// How much there should be.
        left: StockLeft,
    },
    /// How a server of series stands; goes to the plant.
    Forward {
        /// Its name.
        name: Arc<str>,
        /// How it is stuck; nothing where it gets what it is to get.
        stuck: Option<Box<ForwardStuck>>,
    },
    /// How the store's disk stands; goes to the plant.
    Disk {
        /// How full it is; nothing where there is room.
        full: Option<Box<DiskFull>>,
    },
    /// What the sumps suppress since they started after a stand-still; goes to the
    /// plant.
    StartUp {
        /// All of it.
        listed: Vec<ListedAlarm>,
    },
    /// What a person wrote.
    Entry {
        /// The entry.
        entry: Box<Entry>,
        /// Who is told what becomes of it.
        answer: AnswerTo,
    },
    /// An answer to what cannot be read as an entry.
    Answer {
        /// Where it goes.
        to: AnswerTopic,
        /// What it says.
        payload: String,
    },
    /// What a person wrote, out of history.
    PastEntry {
        /// The entry.
        entry: Box<Entry>,
        /// Who is told what becomes of it.
        answer: AnswerTo,
    },
    /// A message that is on its way to the store already, or in it: only its
    /// acknowledgement is wanted, behind whatever came before it.
    Known,
}

impl Content {
    /// Whether it is a value of a channel at a time.
    pub fn is_reading(&self) -> bool {
        matches!(self, Content::Reading { .. })
    }
}

/// One reading or entry of a message.
#[derive(Debug, Clone)]
pub struct Arrived {
    /// Place of the sump in the settings; the plant itself stands behind the
    /// last one.
    pub sump: u32,
    /// When it came.
    pub arrival: Timestamp,
    /// What it held.
    pub content: Content,
    /// How to acknowledge it, where that is wanted.
    pub ack: Option<Ack>,
}

/// What goes to a shard at once.
#[derive(Debug, Default)]
pub struct Batch {
    /// The messages in the order in which they came.
    pub arrived: Vec<Arrived>,
    /// What is to be kept of messages without a time of their own, with their
    /// readings: source and trace.
    pub recent: Vec<(Arc<str>, Trace)>,
    /// The clock, where nothing came.
    pub clock: Option<Timestamp>,
    /// The room that it takes in its shard's queue; given back with it.
    pub(super) room: Option<OwnedSemaphorePermit>,
}

/// The shards are gone: the daemon is stopping.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the engine has stopped; nothing more is taken in")]
pub struct IntakeClosed;

/// The doors of the shards. A sump always goes to the same one.
#[derive(Debug, Clone)]
pub struct Intake {
    shards: Vec<Door>,
}

#[derive(Debug, Clone)]
struct Door {
    batches: mpsc::Sender<Batch>,
    room: Arc<Semaphore>,
}

impl Intake {
    /// Doors of `count` shards and what comes out behind them.
    pub fn open(count: usize) -> (Intake, Vec<mpsc::Receiver<Batch>>) {
        let open = |_| {
            let (batches, behind) = mpsc::channel(BATCHES_WAITING);
            let room = Arc::new(Semaphore::new(CONTENTS_WAITING));
            (Door { batches, room }, behind)
        };
        let (shards, behind) = (0..count.max(1)).map(open).unzip();
        (Intake { shards }, behind)
    }

    /// How many shards there are.
    pub fn shards(&self) -> usize {
        self.shards.len()
    }

    /// The shard of a sump, and the sump's place in it.
    pub fn place(&self, sump: u32) -> (usize, usize) {
        let (sump, count) = (sump as usize, self.shards.len());
        (sump % count, sump / count)
    }

    /// Hands a batch to a shard, waiting while it is busy.
    ///
    /// # Errors
    /// When the shard has stopped.
    pub async fn send(&self, shard: usize, mut batch: Batch) -> Result<(), IntakeClosed> {
        self.hand_over(shard, &mut batch).await
    }

    /// As [`Self::send`], for whoever may stop waiting: the batch stays with him
    /// until the shard has it.
    ///
    /// # Errors
    /// When the shard has stopped.
    pub async fn hand_over(&self, shard: usize, batch: &mut Batch) -> Result<(), IntakeClosed> {
        let door = &self.shards[shard];
        let wanted = batch.arrived.len().min(CONTENTS_WAITING) as u32;
        let room = Arc::clone(&door.room).acquire_many_owned(wanted).await;
        let place = door.batches.reserve().await.map_err(|_| IntakeClosed)?;
        batch.room = room.ok();
        place.send(std::mem::take(batch));
        Ok(())
    }

    /// What waits for a shard: batches, and readings and the like in them.
    pub fn waiting(&self, shard: usize) -> (usize, usize) {
        let door = &self.shards[shard];
        let batches = door.batches.max_capacity() - door.batches.capacity();
        (batches, CONTENTS_WAITING - door.room.available_permits())
    }

    /// Tells the time to every shard that has nothing waiting.
    pub fn tell_time(&self, clock: Timestamp) {
        for shard in &self.shards {
            // Who has something to read reads the time from that: told here, it
            // would pass over the time of what is held until there is room, and
            // make that late.
            if shard.room.available_permits() < CONTENTS_WAITING {
                continue;
            }
            let _ = shard.batches.try_send(Batch {
                clock: Some(clock),
                ..Batch::default()
            });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn batch(contents: usize) -> Batch {
        let arrived = Arrived {
            sump: 0,
            arrival: Timestamp::MIN,
            content: Content::Known,
            ack: None,
        };
        Batch {
            arrived: vec![arrived; contents],
            ..Batch::default()
        }
    }

    #[tokio::test]
    async fn what_waits_is_bounded_however_much_a_batch_holds() {
        let (intake, mut behind) = Intake::open(1);
        let large = CONTENTS_WAITING / 4 + 1;
        for _ in 0..3 {
            intake.send(0, batch(large)).await.unwrap();
        }
        let mut fourth = Box::pin(intake.send(0, batch(large)));
        let mut context = std::task::Context::from_waker(std::task::Waker::noop());
        assert!(fourth.as_mut().poll(&mut context).is_pending());
        drop(behind[0].recv().await);
        fourth.await.unwrap();
        // One that is larger than the room waits for all of it, not for ever.
        while behind[0].try_recv().is_ok() {}
        intake.send(0, batch(2 * CONTENTS_WAITING)).await.unwrap();
    }
}
