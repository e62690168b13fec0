//! Everything that one scrape tells, as plain values.

use std::sync::Arc;

use crate::engine::{AlarmCounts, SumpFigures};
use crate::store::Held;
use crate::units::Timestamp;

/// Everything that one scrape tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Scrape {
    /// Name of the plant.
    pub plant: Arc<str>,
    /// The time of the scrape.
    pub now: Timestamp,
    /// The sumps, in the order of the settings.
    pub sumps: Vec<SumpFigures>,
    /// The plant's own alarms.
    pub plant_alarms: AlarmCounts,
    /// The daemon's own figures.
    pub daemon: DaemonFigures,
}

/// The daemon's own figures.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct DaemonFigures {
    /// When it started, s since 1970.
    pub started_s: f64,
    /// Whether all shards answered in time; else the plant's values may be old.
    pub all_answered: bool,
    /// The sources of readings and entries.
    pub sources: Vec<SourceFigures>,
    /// The shards of the engine.
    pub shards: Vec<ShardFigures>,
    /// The store.
    pub store: StoreFigures,
    /// What waits to be sent, by kind of receiver; nothing where the store did not
    /// answer in time.
    pub outbox: Vec<OutboxFigures>,
    /// What was sent.
    pub messages: MessageFigures,
    /// The servers that get what is stored.
    pub forward: Vec<ForwardFigures>,
}

/// One source. All counts are since the start.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SourceFigures {
    /// Its name in the settings.
    pub name: Arc<str>,
    /// `broker`, `modbus`, `serial` or `control`.
    pub kind: &'static str,
    /// Whether there is a connection.
    pub connected: bool,
    /// Messages, lines or answers.
    pub messages: u64,
    /// Readings in them.
    pub readings: u64,
    /// Messages that were not taken, by reason.
    pub refused: [(&'static str, u64); 4],
    /// Messages delivered again: `known`, and `undecided` where that cannot be told.
    pub repeated: [(&'static str, u64); 2],
    /// Times that messages of an edge node were missing.
    pub gaps: u64,
    /// Values dropped, as there was no room for them.
    pub dropped: u64,
}

/// One shard of the engine.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ShardFigures {
    /// How long it has worked, s.
    pub busy_s: f64,
    /// Readings, entries and the like that it has taken.
    pub contents: u64,
    /// Values kept as late.
    pub late: u64,
    /// Batches that wait for it.
    pub batches_waiting: usize,
    /// Readings and the like in them.
    pub contents_waiting: usize,
}

/// The store.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StoreFigures {
    /// Values by what became of them.
    pub values: [(&'static str, u64); 4],
    /// Transactions.
    pub commits: u64,
    /// How long they took: upper end of each step, s, and how many fell into it.
    pub commit_steps: Vec<(f64, u64)>,
    /// All of them together, s.
    pub commit_sum_s: f64,
    /// Attempts that failed.
    pub write_errors: u64,
    /// Whether the last one did.
    pub failing: bool,
    /// Commands that wait for the writer.
    pub queue: usize,
    /// Bytes of its files, by name.
    pub bytes: [(&'static str, u64); 2],
    /// Values packed since the start.
    pub packed: u64,
    /// Values that came to packed times and are not packed yet, up to 100,000.
    pub late: u64,
    /// How far packing and rolling up are behind the clock, s.
    pub lags_s: [(&'static str, f64); 2],
    /// What the store holds; none before it was counted.
    pub held: Option<Held>,
    /// Values, rollups and lines of the journal deleted as they were too old.
    pub deleted: u64,
    /// Values deleted before their time, by whether all who forward had them.
    pub forced_values: [(&'static str, u64); 2],
    /// Rollups deleted before their time.
    pub forced_rollups: u64,
    /// Whether it is short of room.
    pub short_of_room: bool,
    /// Bytes that are free on its disk, where the disk tells.
    pub disk_free: Option<u64>,
    /// Messages in the outbox that were given up, by reason.
    pub messages_dropped: [(&'static str, u64); 3],
}

/// What waits for one kind of receiver.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct OutboxFigures {
    /// `broker`, `mail` or `webhook`.
    pub kind: &'static str,
    /// Messages.
    pub messages: u64,
    /// Age of the oldest, s.
    pub oldest_s: f64,
}

/// One server that gets what is stored. Counts are since the start.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ForwardFigures {
    /// Its name in the settings.
    pub target: Arc<str>,
    /// Whether it takes what is sent.
    pub sending: bool,
    /// How far it is behind, s.
    pub behind_s: f64,
    /// Readings and estimates that wait for it.
    pub waiting: u64,
    /// Lines that it has taken.
    pub lines: u64,
    /// Times that the same was sent again.
    pub retries: u64,
    /// Lines that it will never take.
    pub refused: u64,
}

/// Messages and attempts to send them, since the start.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct MessageFigures {
    /// By road and by what became of them.
    pub sent: [(&'static str, &'static str, u64); 5],
}
