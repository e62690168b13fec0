//! Deleting: what is older than it is to be kept, and, where the disk is too
//! full, the oldest of what there is most of.

use std::ops::AddAssign;
use std::path::Path;
use std::sync::atomic::Ordering::Relaxed;

use rusqlite::{Connection, Transaction};

use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::super::frontiers::{self, RAW_FROM};
use super::super::series::SeriesKind;
use super::Keeper;

/// How often it is looked at what is too old.
const LOOK_EVERY: Span = Span::from_mins(1);

/// Rows and blocks that are deleted in one transaction.
const ROWS_AT_ONCE: i64 = 500;
const BLOCKS_AT_ONCE: i64 = 64;

/// Blocks that are deleted before their time at once, until there is room.
const BLOCKS_FOR_ROOM: i64 = 8;

/// Transactions of one kind in one round; the rest is left to the next.
const STEPS: usize = 50;

/// Pages that are given back to the disk in one transaction.
const PAGES_AT_ONCE: i64 = 200;

/// Free pages that are kept for what comes next.
const SPARE_PAGES: i64 = 2_000;

/// How long each kind of value is kept; nothing is for ever.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Keep {
    /// Readings as they came.
    pub readings: Option<Span>,
    /// What the engine made of them.
    pub estimates: Option<Span>,
    /// Minutes, rolled up.
    pub minutes: Option<Span>,
    /// Hours, rolled up.
    pub hours: Option<Span>,
    /// Days, rolled up.
    pub days: Option<Span>,
    /// The journal.
    pub journal: Option<Span>,
}

/// How much room the store may take.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Room {
    /// Bytes that it may use.
    pub most: Option<u64>,
    /// Bytes that are to stay free on its disk.
    pub least_free: u64,
}

/// What was deleted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Deleted {
    values: u64,
    rollups: u64,
    journal: u64,
}

impl AddAssign for Deleted {
    fn add_assign(&mut self, other: Deleted) {
        self.values += other.values;
        self.rollups += other.rollups;
        self.journal += other.journal;
    }
}

/// Room as it is.
struct Used {
    bytes: u64,
    free_pages: i64,
    pages: i64,
}

impl<A: Send + 'static> Keeper<A> {
    /// Deletes what is too old or too much.
    pub(super) fn retain(&mut self, now: Timestamp) -> Result<(), StoreError> {
        if (self.retained).is_some_and(|then| now - then < LOOK_EVERY && now >= then) {
            return Ok(());
        }
        self.retained = Some(now);
        let old = self.delete_old(now)?;
        if old != Deleted::default() {
            let Deleted {
                values,
                rollups,
                journal,
            } = old;
            tracing::info!(
                values,
                rollups,
                journal,
                "deleted what is older than it is kept"
            );
        }
        let forced = self.make_room()?;
        if forced != Deleted::default() {
            // It may not have been enough yet.
            self.retained = None;
        }
        self.give_back(SPARE_PAGES)?;
        let stats = self.writer.stats();
        let count = |total: Deleted| total.values + total.rollups + total.journal;
        stats.deleted.fetch_add(count(old), Relaxed);
        stats.deleted_for_room.fetch_add(count(forced), Relaxed);
        Ok(())
    }

    fn delete_old(&mut self, now: Timestamp) -> Result<Deleted, StoreError> {
        let keep = self.setup.keep;
        let before = |span: Option<Span>| span.map(|span| (now - span).millis());
        let mut deleted = Deleted::default();
        let kinds = [
            (SeriesKind::Reading, keep.readings),
            (SeriesKind::Estimate, keep.estimates),
        ];
        for (kind, span) in kinds {
            let Some(before) = before(span) else { continue };
            // First others must have it, and the hours be rolled up.
            let before = before.min(self.frontiers()?.rolled_to);
            let before = before.min(self.awaited("values")?.unwrap_or(i64::MAX));
            deleted.values += self.delete_blocks_before(kind, before)?;
        }
        if let Some(before) = before(keep.minutes) {
            deleted.rollups += self.delete_some(
                "DELETE FROM rollup_minutes WHERE id IN (
                    SELECT old.id FROM series JOIN rollup_minutes AS old
                    ON old.series = series.id AND old.hour < ?1 LIMIT ?2)",
                before,
            )?;
        }
        for (step, span) in [(3_600_000, keep.hours), (86_400_000, keep.days)] {
            let Some(before) = before(span) else { continue };
            let sql: &'static str = if step == 3_600_000 {
                OLD_HOURS
            } else {
                OLD_DAYS
            };
            deleted.rollups += self.delete_some(sql, before)?;
        }
        if let Some(before) = before(keep.journal) {
            let before = before.min(self.awaited("journal")?.unwrap_or(i64::MAX));
            deleted.journal += self.delete_some(
                "DELETE FROM journal WHERE (time, sump, seq) IN (
                    SELECT time, sump, seq FROM journal WHERE time < ?1
                    ORDER BY time, sump, seq LIMIT ?2)",
                before,
            )?;
        }
        Ok(deleted)
    }

    /// The time up to which all who forward have the values or the journal.
    fn awaited(&self, what: &str) -> Result<Option<i64>, StoreError> {
        let found = self.reader.first(
            "SELECT min(time) FROM (
                SELECT min(position) AS time FROM cursors
                WHERE name LIKE 'forward/%' AND name LIKE '%/' || ?1
                UNION ALL
                SELECT min(first) FROM late_spans WHERE cursor LIKE '%/' || ?1)",
            [what],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(found.flatten())
    }

    fn delete_blocks_before(&self, kind: SeriesKind, before: i64) -> Result<u64, StoreError> {
        let mut values = 0;
        for _ in 0..STEPS {
            let some: Vec<(i64, i64)> = self.reader.list(
                "SELECT old.id, old.count FROM series
                 JOIN blocks AS old ON old.series = series.id AND old.first < ?2
                 WHERE series.kind = ?1 AND old.last < ?2 LIMIT ?3",
                (kind.name(), before, BLOCKS_AT_ONCE),
                |row| Ok((row.get(0)?, row.get(1)?)),
            )?;
            if some.is_empty() {
                break;
            }
            values += self.delete_blocks(some, before)?;
        }
        Ok(values)
    }

    fn delete_blocks(&self, some: Vec<(i64, i64)>, before: i64) -> Result<u64, StoreError> {
        let values: i64 = some.iter().map(|(_, count)| count).sum();
        self.chore(Box::new(move |transaction| {
            frontiers::advance(transaction, RAW_FROM, before)?;
            some.iter()
                .map(|(id, _)| super::block::remove(transaction, *id))
                .sum()
        }))?;
        Ok(values.cast_unsigned())
    }

    fn delete_some(&self, sql: &'static str, before: i64) -> Result<u64, StoreError> {
        let mut deleted = 0;
        for _ in 0..STEPS {
            let some = self.chore(Box::new(move |transaction| {
                transaction
                    .prepare_cached(sql)?
                    .execute((before, ROWS_AT_ONCE))
            }))?;
            deleted += some as u64;
            if (some as i64) < ROWS_AT_ONCE {
                break;
            }
        }
        Ok(deleted)
    }

    /// Deletes the oldest while there is too little room: values first, whether
    /// others have them or not, then minutes, then hours.
    fn make_room(&mut self) -> Result<Deleted, StoreError> {
        let mut deleted = Deleted::default();
        let mut short = false;
        for _ in 0..STEPS {
            if !self.is_short_of_room()? {
                short = false;
                break;
            }
            short = true;
            let some = self.delete_oldest()?;
            if some == Deleted::default() {
                break;
            }
            deleted += some;
            self.give_back(0)?;
        }
        let stats = self.writer.stats();
        if stats.short_of_room.swap(short, Relaxed) != short || deleted != Deleted::default() {
            let Deleted {
                values, rollups, ..
            } = deleted;
            if short || deleted != Deleted::default() {
                tracing::error!(
                    values,
                    rollups,
                    still_short = short,
                    "the disk is too full: the oldest values were deleted before their time; \
                     make room, or lower what is kept"
                );
            } else {
                tracing::info!("there is room on the disk again");
            }
        }
        Ok(deleted)
    }

    fn is_short_of_room(&self) -> Result<bool, StoreError> {
        let used = self.used()?;
        let stats = self.writer.stats();
        stats.file_bytes.store(used.bytes, Relaxed);
        let free = free_bytes(&self.folder);
        stats.disk_free_bytes.store(free.unwrap_or(0), Relaxed);
        let too_large = (self.setup.room.most).is_some_and(|most| used.bytes > most);
        let too_full = free.is_some_and(|free| free < self.setup.room.least_free);
        Ok(too_large || too_full)
    }

    fn delete_oldest(&self) -> Result<Deleted, StoreError> {
        let mut deleted = Deleted::default();
        let packed_to = self.frontiers()?.packed_to;
        let blocks: Vec<(i64, i64, i64)> = self.reader.list(
            "SELECT id, count, last FROM blocks WHERE first < ?1 ORDER BY last LIMIT ?2",
            (packed_to, BLOCKS_FOR_ROOM),
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )?;
        if let Some(last) = blocks.last().map(|(.., last)| *last) {
            let some = blocks
                .into_iter()
                .map(|(id, count, _)| (id, count))
                .collect();
            deleted.values = self.delete_blocks(some, last + 1)?;
            return Ok(deleted);
        }
        for sql in [OLDEST_MINUTES, OLDEST_HOURS] {
            let some = self.chore(Box::new(move |transaction| {
                transaction.prepare_cached(sql)?.execute([ROWS_AT_ONCE])
            }))?;
            if some > 0 {
                deleted.rollups = some as u64;
                return Ok(deleted);
            }
        }
        Ok(deleted)
    }

    /// Gives free pages back to the disk, but for some.
    fn give_back(&self, spare: i64) -> Result<(), StoreError> {
        for _ in 0..STEPS {
            let used = self.used()?;
            // A few are needed again at once; moving pages for them is no gain.
            if used.free_pages <= spare.max(used.pages / 20 * i64::from(spare > 0)) {
                break;
            }
            self.chore(Box::new(vacuum))?;
        }
        Ok(())
    }

    fn used(&self) -> Result<Used, StoreError> {
        let ask = |name: &str| self.reader.first(name, (), |row| row.get::<_, i64>(0));
        let pages = ask("PRAGMA page_count")?.unwrap_or(0);
        let free_pages = ask("PRAGMA freelist_count")?.unwrap_or(0);
        let size = ask("PRAGMA page_size")?.unwrap_or(0);
        Ok(Used {
            bytes: ((pages - free_pages) * size).cast_unsigned(),
            free_pages,
            pages,
        })
    }
}

const OLD_HOURS: &str = "DELETE FROM rollups WHERE (series, step, start) IN (
    SELECT old.series, old.step, old.start FROM series JOIN rollups AS old
    ON old.series = series.id AND old.step = 3600000 AND old.start < ?1 LIMIT ?2)";

const OLD_DAYS: &str = "DELETE FROM rollups WHERE (series, step, start) IN (
    SELECT old.series, old.step, old.start FROM series JOIN rollups AS old
    ON old.series = series.id AND old.step = 86400000 AND old.start < ?1 LIMIT ?2)";

const OLDEST_MINUTES: &str = "DELETE FROM rollup_minutes WHERE id IN (
    SELECT id FROM rollup_minutes ORDER BY hour LIMIT ?1)";

const OLDEST_HOURS: &str = "DELETE FROM rollups WHERE (series, step, start) IN (
    SELECT series, step, start FROM rollups WHERE step = 3600000 ORDER BY start LIMIT ?1)";

fn vacuum(transaction: &Transaction<'_>) -> rusqlite::Result<usize> {
    step_through(
        transaction,
        &format!("PRAGMA incremental_vacuum({PAGES_AT_ONCE})"),
    )
}

/// Runs a statement to its end, whatever it gives on the way.
fn step_through(connection: &Connection, sql: &str) -> rusqlite::Result<usize> {
    let mut statement = connection.prepare(sql)?;
    let mut rows = statement.query(())?;
    let mut steps = 0;
    while rows.next()?.is_some() {
        steps += 1;
    }
    Ok(steps)
}

/// Bytes that are free for us on the disk of this folder.
fn free_bytes(folder: &Path) -> Option<u64> {
    let found = rustix::fs::statvfs(folder).ok()?;
    Some(found.f_bavail.saturating_mul(found.f_frsize))
}
