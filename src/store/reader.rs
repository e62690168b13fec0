//! Reading from the store while it is being written to.

use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, OpenFlags, OptionalExtension, Params, Row};

use crate::engine::Quality;
use crate::units::{Span, Timestamp};

use super::error::StoreError;
use super::open::{BUSY_TIMEOUT, FILE_NAME};
use super::rows::RecentRow;
use super::schema::{self, Content};
use super::series::{SeriesId, SeriesKind};

/// One stored value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoredReading {
    /// Its series.
    pub series: SeriesId,
    /// Its time.
    pub time: Timestamp,
    /// The value in the series' unit.
    pub value: f64,
    /// Its marks.
    pub quality: Quality,
    /// How long after its time it arrived.
    pub delay: Span,
}

/// A series of readings, as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredSeries {
    /// Its id.
    pub id: SeriesId,
    /// The sump.
    pub sump: String,
    /// The channel.
    pub channel: String,
    /// What it measures, by name.
    pub quantity: String,
}

/// One line of the journal, as stored. The order is that of the journal.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct StoredJournal {
    /// The sump's time when it was written.
    pub time: Timestamp,
    /// The sump.
    pub sump: String,
    /// Counts the sump's lines.
    pub seq: u64,
    /// What kind of line it is.
    pub kind: String,
    /// The line, as JSON.
    pub body: String,
}

/// Where to go on in the journal: after the line with this key.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct JournalKey {
    /// The line's time.
    pub time: Timestamp,
    /// The line's sump.
    pub sump: String,
    /// The line's number.
    pub seq: u64,
}

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
        match schema::look(&connection, &path)? {
            Content::Schema(schema::NEWEST) => Ok(Reader { connection }),
            _ => Err(StoreError::NotAStore {
                path,
                reason: "its schema is not the one of this version; let the daemon open it once",
            }),
        }
    }

    /// Number of stored values of a kind; reads them all.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn count_readings(&self, kind: SeriesKind) -> Result<u64, StoreError> {
        self.count(
            "SELECT count(*) FROM series JOIN readings ON readings.series = series.id
             WHERE series.kind = ?1",
            [kind.name()],
        )
    }

    /// Values of one series with `from <= time < to`, by time, `limit` at
    /// most. Looks at every value of that time, whatever its series.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn readings(
        &self,
        series: SeriesId,
        from: Timestamp,
        to: Timestamp,
        limit: usize,
    ) -> Result<Vec<StoredReading>, StoreError> {
        self.list(
            "SELECT series, time, value, quality, delay FROM readings
             WHERE series = ?1 AND time >= ?2 AND time < ?3 ORDER BY time LIMIT ?4",
            (series.0, from.millis(), to.millis(), limit as i64),
            reading,
        )
    }

    /// Calls `each` with the readings (not the estimates) of all sumps whose
    /// time is `since` or later, in the order (arrival, time, series). The
    /// store's log cannot be cut while this runs: meant for the start, before
    /// much is written.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn readings_since(
        &self,
        since: Timestamp,
        mut each: impl FnMut(StoredReading),
    ) -> Result<(), StoreError> {
        let doing = || StoreError::doing("read readings");
        let mut select = self
            .connection
            .prepare_cached(
                "SELECT series, time, value, quality, delay FROM readings
                 WHERE time >= ?1
                   AND series IN (SELECT id FROM series WHERE kind = 'reading')
                 ORDER BY time + delay, time, series",
            )
            .map_err(doing())?;
        let mut rows = select.query([since.millis()]).map_err(doing())?;
        while let Some(row) = rows.next().map_err(doing())? {
            each(reading(row).map_err(doing())?);
        }
        Ok(())
    }

    /// The live readings (not the estimates, and nothing that came late) with
    /// `from <= arrival < to`, in the order (arrival, time, series). Those whose
    /// time and arrival lie more than `apart` from each other are left out.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn live_readings_arrived(
        &self,
        from: Timestamp,
        to: Timestamp,
        apart: Span,
    ) -> Result<Vec<StoredReading>, StoreError> {
        self.list(
            "SELECT series, time, value, quality, delay FROM readings
             WHERE time >= ?1 AND time <= ?2
               AND time + delay >= ?3 AND time + delay < ?4 AND quality & ?5 = 0
               AND series IN (SELECT id FROM series WHERE kind = 'reading')
             ORDER BY time + delay, time, series",
            (
                (from - apart).millis(),
                (to + apart).millis(),
                from.millis(),
                to.millis(),
                Quality::LATE.bits(),
            ),
            reading,
        )
    }

    /// Every series of readings that was ever registered.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn series_of_readings(&self) -> Result<Vec<StoredSeries>, StoreError> {
        self.list(
            "SELECT id, sump, channel, quantity FROM series WHERE kind = 'reading' ORDER BY id",
            (),
            |row| {
                Ok(StoredSeries {
                    id: SeriesId(row.get(0)?),
                    sump: row.get(1)?,
                    channel: row.get(2)?,
                    quantity: row.get(3)?,
                })
            },
        )
    }

    /// Lines of the journal in its order, from the beginning or after a line,
    /// `limit` at most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal(
        &self,
        after: Option<&JournalKey>,
        limit: usize,
    ) -> Result<Vec<StoredJournal>, StoreError> {
        let (time, sump, seq) = place(after);
        self.list(
            "SELECT time, sump, seq, kind, body FROM journal
             WHERE (time, sump, seq) > (?1, ?2, ?3) ORDER BY time, sump, seq LIMIT ?4",
            (time, sump, seq, limit as i64),
            journal_line,
        )
    }

    /// The same of one kind alone. Lines of other kinds are read over.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal_of_kind(
        &self,
        kind: &str,
        after: Option<&JournalKey>,
        limit: usize,
    ) -> Result<Vec<StoredJournal>, StoreError> {
        let (time, sump, seq) = place(after);
        self.list(
            "SELECT time, sump, seq, kind, body FROM journal
             WHERE (time, sump, seq) > (?1, ?2, ?3) AND kind = ?4
             ORDER BY time, sump, seq LIMIT ?5",
            (time, sump, seq, kind, limit as i64),
            journal_line,
        )
    }

    /// The time of the first value that did not come late, as history that was
    /// imported does.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn first_live_reading(&self) -> Result<Option<Timestamp>, StoreError> {
        self.first(
            "SELECT time FROM readings WHERE quality & ?1 = 0 ORDER BY time LIMIT 1",
            [Quality::LATE.bits()],
            |row| row.get(0).map(Timestamp::from_millis),
        )
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

    /// Lines of the journal of this time and later, in its order, `limit` at
    /// most: of more the newest.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal_since(
        &self,
        since: Timestamp,
        limit: usize,
    ) -> Result<Vec<StoredJournal>, StoreError> {
        let mut lines = self.list(
            "SELECT time, sump, seq, kind, body FROM journal WHERE time >= ?1
             ORDER BY time DESC, sump DESC, seq DESC LIMIT ?2",
            (since.millis(), limit as i64),
            journal_line,
        )?;
        lines.reverse();
        Ok(lines)
    }

    /// Number of journal lines of a kind; with `field`, only those whose body
    /// has this text in the field of this name at its top.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn count_journal(
        &self,
        kind: &str,
        field: Option<(&str, &str)>,
    ) -> Result<u64, StoreError> {
        let Some((name, text)) = field else {
            return self.count("SELECT count(*) FROM journal WHERE kind = ?1", [kind]);
        };
        self.count(
            "SELECT count(*) FROM journal WHERE kind = ?1
             AND iif(json_valid(body), json_extract(body, '$.' || ?2) = ?3, FALSE)",
            (kind, format!("\"{name}\""), text),
        )
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

    /// Whether the journal holds an entry of this sump with this id.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn has_entry(&self, sump: &str, id: &str) -> Result<bool, StoreError> {
        let found = self.first(
            "SELECT 1 FROM journal WHERE kind = 'entry' AND sump = ?1
             AND iif(json_valid(body), json_extract(body, '$.entry.id'), NULL) = ?2",
            (sump, id),
            |_| Ok(()),
        )?;
        Ok(found.is_some())
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

    pub(super) fn list<T>(
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

    pub(super) fn first<T>(
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

    pub(super) fn count(&self, sql: &str, params: impl Params) -> Result<u64, StoreError> {
        let found = self.first(sql, params, |row| row.get::<_, i64>(0))?;
        Ok(found.map_or(0, |count| {
            u64::try_from(count).expect("a count is not negative")
        }))
    }
}

/// Where to go on: after this line, or from the beginning.
fn place(after: Option<&JournalKey>) -> (i64, &str, i64) {
    match after {
        Some(key) => (key.time.millis(), key.sump.as_str(), key.seq as i64),
        None => (i64::MIN, "", i64::MIN),
    }
}

fn reading(row: &Row<'_>) -> rusqlite::Result<StoredReading> {
    Ok(StoredReading {
        series: SeriesId(row.get(0)?),
        time: Timestamp::from_millis(row.get(1)?),
        value: row.get(2)?,
        quality: Quality::from_bits(row.get(3)?),
        delay: Span::from_millis(row.get(4)?),
    })
}

fn journal_line(row: &Row<'_>) -> rusqlite::Result<StoredJournal> {
    Ok(StoredJournal {
        time: Timestamp::from_millis(row.get(0)?),
        sump: row.get(1)?,
        seq: row.get::<_, i64>(2)? as u64,
        kind: row.get(3)?,
        body: row.get(4)?,
    })
}

impl StoredJournal {
    /// The key of this line.
    pub fn key(&self) -> JournalKey {
        JournalKey {
            time: self.time,
            sump: self.sump.clone(),
            seq: self.seq,
        }
    }
}
