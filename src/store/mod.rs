//! The embedded store: readings, the journal, unsent messages, and where each
//! sump's watch stood, in one SQLite file `sumpward.db`.
//!
//! Promises:
//! - What a [`Batch`] holds is committed as a whole or not at all, and its
//!   acknowledgements come back in a [`Receipt`] only once it is on the disk
//!   (write-ahead log, `synchronous=FULL`). While the disk refuses, nothing is
//!   acknowledged, the same batches are tried again, and the bounded queue
//!   makes those who submit wait.
//! - The key of a value is (time, series). The first value stays; a second one
//!   is counted as duplicate or as conflict, and never changes anything. The
//!   same holds for a journal line and its key (time, sump, seq).
//! - The outbox is bounded; what it drops is the oldest of the receiver with the
//!   most, and counted. What is refused for good or expires is put aside. A slot
//!   holds one unsent message, the newest. Answers take the place of older
//!   unsent answers, so that they push nothing else out.
//! - Whoever reads along in the order of time ([`Following`]) passes nothing over:
//!   what comes in behind it is noted in the transaction that stores it, and so is
//!   what came in while it was reading. The notes are bounded; at worst some is
//!   read twice.
//! - One daemon a folder: a second one is refused. Readers never wait for the
//!   writer, nor it for them.
//! - Settled values are packed, rolled up, and deleted when they are too old, by a
//!   [`Keeper`]; packed ones are read as before, to the bit, and their keys hold.
//! - A [`backup`] is of one instant, checked before it has its name; nothing is
//!   overwritten.
//! - After a stop that was not clean the file is read through. A damaged one
//!   is set aside, never deleted, and told in [`Store::opened`].
//!
//! Refuses: a file of a newer schema, a file that is no store, a series that
//! changes its quantity or unit; values that are no number (counted).
//!
//! # The file
//!
//! | table | key | holds |
//! | --- | --- | --- |
//! | `series` | `id` | sump, channel, quantity, unit, kind (`reading` or `estimate`) |
//! | `readings` | `time`, `series` | value, quality as bits, delay (arrival − time); the recent ones |
//! | `blocks` | `id`; `series`, `first` | last, count, live, body: settled values of a series, packed as `packing/mod.rs` says |
//! | `late_readings` | `series`, `time` | as `readings`: what came to a packed time, until it is packed too |
//! | `rollups` | `series`, `step`, `start` | lowest, mean, highest good value, numbers of good and of all values, of hours and days |
//! | `rollup_minutes` | `series`, `hour` | the same of the minutes of an hour, as JSON |
//! | `rollup_due` | `series`, `hour` | hours to be rolled up again |
//! | `journal` | `time`, `sump`, `seq` | kind, body as JSON |
//! | `outbox` | `id` | topic, payload, retain, slot, created, correlation, receiver, message, attempts, next_attempt, expires |
//! | `waiting` | `id` | due, subject, body as JSON |
//! | `put_aside` | `id` | messages that were given up: receiver, message, topic, payload, created, attempts, time, why |
//! | `snapshots` | `sump` | time, body |
//! | `recent_messages` | `source`, `packet` | hash, seq |
//! | `cursors` | `name` | position, when it was moved |
//! | `late_spans` | `cursor`, `first` | last: what came in behind somebody who reads along, and is read once more |
//! | `meta` | `name` | small facts about the file itself |
//!
//! Times are milliseconds since 1970-01-01T00:00:00Z. For other tools, the
//! view `readings_plain` gives the recent readings with names, RFC 3339 times and
//! quality in words, and `rollups_plain` all rollups. `meta` has how far values are
//! packed: a value before `packed_to` is in a block or late, whatever `readings`
//! still holds. `schema.sql` has the columns, `schema_2.sql` and those after it what
//! came to them; `user_version` numbers the schema, `application_id` is 0x53756d70. The file has incremental
//! auto-vacuum from its creation on, since a delete alone frees no disk.

mod aside;
mod backup;
mod commit;
mod commit_times;
mod error;
mod followers;
mod frontiers;
mod keeper;
mod letters;
mod open;
mod outbox;
pub mod packing;
mod reader;
mod rows;
mod samples;
mod schema;
mod series;
mod spans;
mod stats;
#[cfg(test)]
mod tests;
mod waiting;
mod work;
mod writer;

pub use backup::{BackupError, Checked, backup, check, restore};
pub use commit_times::CommitTimes;
pub use error::StoreError;
pub use followers::{FOLLOWERS, FollowRow, FollowStep, Following};
pub use keeper::{Keep, Keeper, KeeperSetup, KeeperThread, Room};
pub use letters::{StoredAside, StoredLetter, StoredWaiting, WaitingLetters};
pub use open::{FILE_NAME, Opened, Store};
pub use reader::{
    Cursor, Drawn, JournalKey, Reader, RollupStep, Snapshot, Spread, Standing, StoredJournal,
    StoredMessage, StoredReading, StoredRollup, StoredSeries, Window,
};
pub use rows::{
    AnswerRow, BROKER, Batch, Before, Counts, CursorRow, JournalRow, OutboxRow, Receipt, RecentRow,
    SettledRow, SnapshotRow, Tally, WaitingChange, WaitingRow,
};
pub use series::{SeriesId, SeriesKind, SeriesMap, SeriesRow};
pub use stats::{Held, Stats};
pub use writer::{AfterCommit, Limits, Refused, Writer, WriterHandle};
