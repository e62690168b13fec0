//! Reading from the store while it is being written to.

mod draw;
mod ends;
mod follow;
mod gather;
mod journal;
mod range;
mod rollups;
mod settled;
mod values;

use std::cell::RefCell;
use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Params, Row};

use crate::units::Timestamp;

use super::error::StoreError;
use super::open::{BUSY_TIMEOUT, FILE_NAME, about_file};
use super::rows::RecentRow;
use super::schema::{self, Content};

pub use draw::{Drawn, Spread};
pub use follow::{Standing, Window};
use gather::Unpacked;
pub use journal::{JournalKey, StoredJournal};
pub use rollups::{RollupStep, StoredRollup};
pub use values::{StoredReading, StoredSeries};

/// One unsent message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredMessage {
    /// Its id; ids grow and never come back.
    pub id: i64,
    /// Where it goes.
    pub topic: String,
    /// What it says.
    pub payload: String,
    /// Whether the broker is to keep it.
    pub retain: bool,
    /// When it was made.
    pub created: Timestamp,
    /// By which the receiver knows what it asked for.
    pub correlation: Option<Vec<u8>>,
}

/// Where a sump's watch stood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Snapshot {
    /// The sump's time.
    pub time: Timestamp,
    /// What the watch needs to go on from there.
    pub body: Vec<u8>,
}

/// How far somebody has come who works through something in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cursor {
    /// Whose cursor, and through what.
    pub name: String,
    /// How far.
    pub position: u64,
    /// When it was moved.
    pub moved_at: Timestamp,
}

/// A connection that only reads. Each call sees the store as of one commit;
/// none keeps the writer waiting.
#[derive(Debug)]
pub struct Reader {
    connection: Connection,
    unpacked: RefCell<Unpacked>,
}

impl Reader {
    /// Opens the store in `folder` for reading, whether a daemon has it or
    /// not.
    ///
    /// # Errors
    /// When there is none, or it has another schema than this version writes.
    pub fn open(folder: &Path) -> Result<Reader, StoreError> {
        let path = folder.join(FILE_NAME);
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(&path, flags)
            .map_err(StoreError::doing("open its file for reading"))?;
        connection
            .busy_timeout(BUSY_TIMEOUT)
            .map_err(StoreError::doing("set its patience"))?;
        match schema::look(&connection, &path).map_err(|error| about_file(error, &path))? {
            Content::Schema(schema::NEWEST) => Ok(Reader {
                connection,
                unpacked: RefCell::default(),
            }),
            Content::Schema(found) => Err(StoreError::Older {
                path,
                found,
                known: schema::NEWEST,
            }),
            Content::Empty => Err(StoreError::NotAStore {
                path,
                reason: "it is empty",
            }),
        }
    }

    /// Unsent messages to the broker after an id, oldest first, `limit` at most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outbox_after(&self, id: i64, limit: usize) -> Result<Vec<StoredMessage>, StoreError> {
        self.list(
            "SELECT id, topic, payload, retain, created, correlation FROM outbox
             WHERE receiver = 'broker' AND id > ?1 ORDER BY id LIMIT ?2",
            (id, limit as i64),
            |row| {
                Ok(StoredMessage {
                    id: row.get(0)?,
                    topic: row.get(1)?,
                    payload: row.get(2)?,
                    retain: row.get(3)?,
                    created: Timestamp::from_millis(row.get(4)?),
                    correlation: row.get(5)?,
                })
            },
        )
    }

    /// Number of unsent messages.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn outbox_depth(&self) -> Result<u64, StoreError> {
        self.count("SELECT count(*) FROM outbox", ())
    }

    /// Where a sump's watch stood last.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn snapshot(&self, sump: &str) -> Result<Option<Snapshot>, StoreError> {
        self.first(
            "SELECT time, body FROM snapshots WHERE sump = ?1",
            [sump],
            |row| {
                Ok(Snapshot {
                    time: Timestamp::from_millis(row.get(0)?),
                    body: row.get(1)?,
                })
            },
        )
    }

    /// Of which sumps a watch is kept, the plant's among them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn kept_sumps(&self) -> Result<Vec<Arc<str>>, StoreError> {
        self.list("SELECT sump FROM snapshots ORDER BY sump", (), |row| {
            row.get::<_, String>(0).map(Arc::from)
        })
    }

    /// The time of the newest snapshot of any sump.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn newest_snapshot(&self) -> Result<Option<Timestamp>, StoreError> {
        let newest = self.first("SELECT max(time) FROM snapshots", (), |row| {
            row.get::<_, Option<i64>>(0)
        })?;
        Ok(newest.flatten().map(Timestamp::from_millis))
    }

    /// The cursors whose name begins so, the one that stood still longest
    /// first.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn cursors(&self, beginning: &str) -> Result<Vec<Cursor>, StoreError> {
        self.list(
            "SELECT name, position, moved_at FROM cursors
             WHERE substr(name, 1, length(?1)) = ?1 ORDER BY moved_at, name",
            [beginning],
            |row| {
                Ok(Cursor {
                    name: row.get(0)?,
                    position: row.get::<_, i64>(1)?.cast_unsigned(),
                    moved_at: Timestamp::from_millis(row.get(2)?),
                })
            },
        )
    }

    /// What is kept of a source's recent messages, by packet identifier.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn recent_messages(&self, source: &Arc<str>) -> Result<Vec<RecentRow>, StoreError> {
        self.list(
            "SELECT packet, hash, seq FROM recent_messages WHERE source = ?1 ORDER BY packet",
            [source],
            |row| {
                Ok(RecentRow {
                    source: Arc::clone(source),
                    packet: row.get(0)?,
                    hash: row.get::<_, i64>(1)?.cast_unsigned(),
                    seq: row.get::<_, i64>(2)?.cast_unsigned(),
                })
            },
        )
    }

    pub(in crate::store) fn list<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_map(params, read)?.collect())
            .map_err(StoreError::doing("be read"))
    }

    pub(in crate::store) fn first<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Option<T>, StoreError> {
        self.connection
            .prepare_cached(sql)
            .and_then(|mut select| select.query_row(params, read).optional())
            .map_err(StoreError::doing("be read"))
    }

    pub(in crate::store) fn count(
        &self,
        sql: &str,
        params: impl Params,
    ) -> Result<u64, StoreError> {
        let found = self.first(sql, params, |row| row.get::<_, i64>(0))?;
        Ok(found.map_or(0, |count| {
            u64::try_from(count).expect("a count is not negative")
        }))
    }
}
