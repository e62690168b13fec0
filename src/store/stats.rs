//! What the writer has done so far, for whoever wants to show it.

use std::sync::Mutex;
use std::sync::atomic::Ordering::Relaxed;
use std::sync::atomic::{AtomicBool, AtomicI64, AtomicU64, AtomicUsize};

use super::commit_times::CommitTimes;

/// What a store holds, counted from time to time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Held {
    /// Packed blocks.
    pub blocks: u64,
    /// Values in them.
    pub packed_values: u64,
    /// Hours of which the minutes are kept.
    pub minute_hours: u64,
    /// Hours, rolled up.
    pub hours: u64,
    /// Days, rolled up.
    pub days: u64,
    /// Lines of the journal.
    pub journal_lines: u64,
}

/// Counters of one writer since it was started, each exact by itself; two of
/// them read one after the other may lie a commit apart.
#[derive(Debug, Default)]
pub struct Stats {
    /// Readings and estimates stored.
    pub rows_stored: AtomicU64,
    /// Values that were there already and said the same.
    pub duplicates: AtomicU64,
    /// Values that were there already and said something else; the first stays.
    pub conflicts: AtomicU64,
    /// Values that are no number or belong to no registered series.
    pub refused: AtomicU64,
    /// Journal lines whose key was there already with another content; the
    /// first stays.
    pub journal_conflicts: AtomicU64,
    /// Transactions committed.
    pub commits: AtomicU64,
    /// How long each commit took.
    pub commit_times: CommitTimes,
    /// Number of the newest commit that can be read. Whoever asks for it first
    /// and reads then, reads as of this commit or a later one.
    pub commit_number: AtomicU64,
    /// How long the last commit took, µs.
    pub last_commit_us: AtomicU64,
    /// Attempts to commit that failed.
    pub write_errors: AtomicU64,
    /// Whether the last attempt failed, so that nothing is acknowledged now.
    pub failing: AtomicBool,
    /// Unsent messages dropped because the outbox was full.
    pub outbox_dropped: AtomicU64,
    /// Messages put aside because they were refused for good.
    pub put_aside: AtomicU64,
    /// Messages put aside because nobody took them in time.
    pub expired: AtomicU64,
    /// Unsent messages in the outbox.
    pub outbox_depth: AtomicUsize,
    /// Commands that wait for the writer.
    pub queue_depth: AtomicUsize,
    /// Values packed into blocks, late ones included.
    pub values_packed: AtomicU64,
    /// Late values that are not in blocks yet, counted up to 100,000.
    pub late_values: AtomicU64,
    /// How far packing is behind the clock, ms.
    pub packing_lag_ms: AtomicU64,
    /// How far rollups are behind the clock, ms.
    pub rolling_lag_ms: AtomicU64,
    /// Values, rollups and journal lines deleted as they were too old.
    pub deleted: AtomicU64,
    /// The same before their time, as the disk was too full.
    pub deleted_for_room: AtomicU64,
    /// Readings and estimates among these.
    pub values_deleted_for_room: AtomicU64,
    /// Of these, those that somebody who forwards had not got yet.
    pub values_deleted_unforwarded: AtomicU64,
    /// Time of the newest of them, ms; 0 where there are none.
    pub deleted_to_ms: AtomicI64,
    /// Whether the store takes more room than it may, or leaves the disk less.
    pub short_of_room: AtomicBool,
    /// Bytes of the file that are in use; 0 before it was looked at.
    pub file_bytes: AtomicU64,
    /// Bytes of the write-ahead log.
    pub wal_bytes: AtomicU64,
    /// Bytes that are free on the disk; 0 where it does not tell.
    pub disk_free_bytes: AtomicU64,
    /// What the store holds, as it was counted last; none before the first count.
    pub held: Mutex<Option<Held>>,
}

impl Stats {
    /// The counts in words, for the log.
    pub fn summary(&self) -> String {
        format!(
            "stored {}, duplicates {}, conflicts {}, refused {}, commits {}, last commit {} µs, \
             write errors {}, messages waiting {}, messages dropped {}, expired {}, refused for good {}, \
             packed {}, late {}, deleted {}, deleted for room {}, bytes {}, log {}",
            self.rows_stored.load(Relaxed),
            self.duplicates.load(Relaxed),
            self.conflicts.load(Relaxed),
            self.refused.load(Relaxed),
            self.commits.load(Relaxed),
            self.last_commit_us.load(Relaxed),
            self.write_errors.load(Relaxed),
            self.outbox_depth.load(Relaxed),
            self.outbox_dropped.load(Relaxed),
            self.expired.load(Relaxed),
            self.put_aside.load(Relaxed),
            self.values_packed.load(Relaxed),
            self.late_values.load(Relaxed),
            self.deleted.load(Relaxed),
            self.deleted_for_room.load(Relaxed),
            self.file_bytes.load(Relaxed),
            self.wal_bytes.load(Relaxed),
        )
    }
}
