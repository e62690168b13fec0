//! What is handed to the writer, and what it hands back.

use std::sync::{Arc, OnceLock};
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::engine::Sample;
use crate::units::Timestamp;

use super::followers::FollowRow;

/// One line of the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JournalRow {
    /// The sump's time when it was written.
    pub time: Timestamp,
    /// The sump.
    pub sump: Arc<str>,
    /// Counts the sump's lines.
    pub seq: u64,
    /// What kind of line it is.
    pub kind: &'static str,
    /// The line, as JSON.
    pub body: String,
}

/// The receiver of what goes out over MQTT.
pub const BROKER: &str = "broker";

/// One message to be sent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OutboxRow {
    /// Whom it is for: [`BROKER`], or a contact and a road.
    pub receiver: String,
    /// By which whoever gets it knows it again; the broker's need none.
    pub message: Option<String>,
    /// Put aside once this is over.
    pub expires: Option<Timestamp>,
    /// Where it goes; empty where the receiver says it.
    pub topic: String,
    /// What it says.
    pub payload: String,
    /// Whether the broker is to keep it for those who subscribe later.
    pub retain: bool,
    /// A state rather than an event: it takes the place of an unsent message
    /// with the same slot.
    pub slot: Option<String>,
    /// When it was made.
    pub created: Timestamp,
}

/// Something that is to happen later.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitingRow {
    /// When it is due.
    pub due: Timestamp,
    /// By which it is taken back.
    pub subject: Option<String>,
    /// What it is, as JSON.
    pub body: String,
}

/// What comes before a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Before {
    /// Whatever waits under one of these subjects.
    pub subjects: Vec<String>,
    /// Of that only what is about this alarm: `item.alarm` in its body.
    pub alarm: Option<String>,
}

/// A change of what is to happen later.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WaitingChange {
    /// One thing more.
    Add(WaitingRow),
    /// These messages go out now.
    Send {
        /// The messages.
        outbox: Vec<OutboxRow>,
    },
    /// These messages go out now where nothing waits that comes before them; else
    /// the row waits behind it. That is looked at in the transaction, so that
    /// nothing overtakes what was held back.
    InTurn {
        /// What comes before them.
        before: Before,
        /// The messages.
        outbox: Vec<OutboxRow>,
        /// What waits in their place.
        row: WaitingRow,
    },
    /// Nothing of this subject is to happen any more.
    Forget {
        /// The subject.
        subject: String,
    },
    /// It happens now: these changes take its place. None of them where it has
    /// been taken back in between.
    Take {
        /// Which.
        id: i64,
        /// What comes of it, in this order.
        then: Vec<WaitingChange>,
    },
}

/// What became of an attempt to deliver a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SettledRow {
    /// It arrived.
    Delivered {
        /// The message.
        id: i64,
    },
    /// It did not; it is tried again.
    Again {
        /// The message.
        id: i64,
        /// Not before then.
        at: Timestamp,
    },
    /// It never will.
    PutAside {
        /// The message.
        id: i64,
        /// When that was known.
        time: Timestamp,
        /// Why.
        why: String,
    },
}

/// An answer to somebody who asked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AnswerRow {
    /// Where it goes.
    pub topic: String,
    /// What it says.
    pub payload: String,
    /// By which the asker knows what it asked.
    pub correlation: Option<Vec<u8>>,
    /// When it was made.
    pub created: Timestamp,
}

/// Where a sump's watch stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SnapshotRow {
    /// The sump.
    pub sump: Arc<str>,
    /// The sump's time.
    pub time: Timestamp,
    /// What the watch needs to go on from here.
    pub body: Vec<u8>,
}

/// What is kept of a message that had no time of its own, to know a second
/// delivery by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RecentRow {
    /// The source of readings.
    pub source: Arc<str>,
    /// The message's packet identifier; 0 for the beginning of a session.
    pub packet: u16,
    /// A hash of its content.
    pub hash: u64,
    /// Its place among the source's messages.
    pub seq: u64,
}

/// How far somebody has come who works through something in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CursorRow {
    /// Whose cursor, and through what.
    pub name: String,
    /// How far; nothing takes the cursor away.
    pub position: Option<u64>,
    /// When it was moved.
    pub moved_at: Timestamp,
}

/// Where the counts of one batch are put once it is on the disk, for those who
/// must know what became of their own rows.
pub type Tally = Arc<OnceLock<Counts>>;

/// Rows that are committed together, and what may be acknowledged then. A
/// batch is never torn apart; several may share a transaction.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch<A> {
    /// Readings and estimates.
    pub samples: Vec<Sample>,
    /// Journal lines.
    pub journal: Vec<JournalRow>,
    /// Messages to send.
    pub outbox: Vec<OutboxRow>,
    /// Answers to send; of unsent ones the newest are kept.
    pub answers: Vec<AnswerRow>,
    /// Changes of what is to happen later, in their order.
    pub waiting: Vec<WaitingChange>,
    /// What became of messages.
    pub settled: Vec<SettledRow>,
    /// What expires by then is put aside.
    pub expire: Option<Timestamp>,
    /// Snapshots; the last of a sump stays.
    pub snapshots: Vec<SnapshotRow>,
    /// Recent messages; the last of a packet identifier by its place stays.
    pub recent: Vec<RecentRow>,
    /// Cursors; the last of a name stays.
    pub cursors: Vec<CursorRow>,
    /// Steps of those who read along, in their order.
    pub followed: Vec<FollowRow>,
    /// Gets the counts of this batch's samples alone. Its samples then come
    /// behind those of the batches that are counted together.
    pub tally: Option<Tally>,
    /// Comes back in the [`Receipt`] once all of the above is on the disk.
    pub acks: Vec<A>,
    /// Commit without waiting for more.
    pub urgent: bool,
}

impl<A> Default for Batch<A> {
    fn default() -> Self {
        Batch {
            samples: Vec::new(),
            journal: Vec::new(),
            outbox: Vec::new(),
            answers: Vec::new(),
            waiting: Vec::new(),
            settled: Vec::new(),
            expire: None,
            snapshots: Vec::new(),
            recent: Vec::new(),
            cursors: Vec::new(),
            followed: Vec::new(),
            tally: None,
            acks: Vec::new(),
            urgent: false,
        }
    }
}

impl<A> Batch<A> {
    /// Rows of every kind, acknowledgements included.
    pub fn rows(&self) -> usize {
        self.samples.len()
            + self.journal.len()
            + self.outbox.len()
            + self.answers.len()
            + self.waiting.len()
            + self.settled.len()
            + usize::from(self.expire.is_some())
            + self.snapshots.len()
            + self.recent.len()
            + self.cursors.len()
            + self.followed.len()
            + self.acks.len()
    }

    /// Takes everything out and keeps the memory for the next use.
    pub fn clear(&mut self) {
        self.samples.clear();
        self.journal.clear();
        self.outbox.clear();
        self.answers.clear();
        self.waiting.clear();
        self.settled.clear();
        self.expire = None;
        self.snapshots.clear();
        self.recent.clear();
        self.cursors.clear();
        self.followed.clear();
        self.tally = None;
        self.acks.clear();
        self.urgent = false;
    }
}

/// What became of the rows of one commit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Readings and estimates stored.
    pub stored: u64,
    /// Values that were there already and said the same.
    pub duplicates: u64,
    /// Values that were there already and said something else.
    pub conflicts: u64,
    /// Values that are no number or belong to no registered series.
    pub refused: u64,
    /// Journal lines whose key was there already with another content.
    pub journal_conflicts: u64,
    /// Messages added to the outbox.
    pub outbox_added: u64,
    /// The oldest messages, dropped because the outbox was full.
    pub outbox_dropped: u64,
    /// Messages put aside because they were refused for good.
    pub put_aside: u64,
    /// Messages put aside because nobody took them in time.
    pub expired: u64,
}

impl Counts {
    /// Adds what became of other samples.
    pub(super) fn add_samples(&mut self, other: Counts) {
        self.stored += other.stored;
        self.duplicates += other.duplicates;
        self.conflicts += other.conflicts;
        self.refused += other.refused;
    }
}

/// Told after each commit, in the order of the commits.
#[derive(Debug)]
pub struct Receipt<A> {
    /// What may be acknowledged now, in the order in which it was submitted.
    pub acks: Vec<A>,
    /// The batches, emptied, to be filled again without new memory.
    pub emptied: Vec<Batch<A>>,
    /// What became of the rows.
    pub counts: Counts,
    /// How long the transaction took, the disk included.
    pub commit_time: Duration,
}
