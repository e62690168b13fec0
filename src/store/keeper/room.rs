//! Making room: where the store takes more than it may, or its disk has too little
//! left, the oldest of what there is most of goes before its time.

use std::path::Path;
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

use rusqlite::{Connection, Transaction};

use super::super::error::StoreError;
use super::Keeper;
use super::block::OldBlock;
use super::retain::{ROWS_AT_ONCE, STEPS};

/// What goes before its time all the time is logged once in this.
const TELL_EVERY: Duration = Duration::from_secs(60);

/// Blocks that are deleted before their time at once, until there is room.
const BLOCKS_FOR_ROOM: usize = 8;

/// Pages that are given back to the disk in one transaction.
const PAGES_AT_ONCE: i64 = 64;

/// Transactions in which pages are given back at once.
const GIVEN_BACK: usize = 160;

/// How much room the store may take.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Room {
    /// Bytes that it may use.
    pub most: Option<u64>,
    /// Bytes that are to stay free on its disk.
    pub least_free: u64,
}

/// Room as it is.
struct Used {
    bytes: u64,
    free_pages: i64,
    pages: i64,
}

/// A block that may have to go.
#[derive(Debug, Clone, Copy)]
struct Oldest {
    id: i64,
    first: i64,
    last: i64,
    count: i64,
}

/// What went before its time.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Forced {
    values: u64,
    /// Of these, those that somebody who forwards had not got yet.
    not_forwarded: u64,
    rollups: u64,
}

/// What went before its time and is not in the log yet.
#[derive(Debug, Default)]
pub(super) struct Untold {
    forced: Forced,
    told: Option<Instant>,
}

impl Untold {
    fn add(&mut self, forced: Forced) {
        self.forced.values += forced.values;
        self.forced.not_forwarded += forced.not_forwarded;
        self.forced.rollups += forced.rollups;
    }

    fn is_due(&self) -> bool {
        let is_silent = self.told.is_none_or(|told| told.elapsed() >= TELL_EVERY);
        is_silent && self.forced != Forced::default()
    }

    fn take(&mut self) -> Forced {
        self.told = Some(Instant::now());
        std::mem::take(&mut self.forced)
    }
}

impl<A: Send + 'static> Keeper<A> {
    /// Deletes the oldest while there is too little room: values first, whether
    /// others have them or not, then minutes, then hours.
    pub(super) fn make_room(&mut self) -> Result<(), StoreError> {
        let was_short = self.writer.stats().short_of_room.load(Relaxed);
        let mut short = self.is_short_of_room()?;
        let mut oldest = Vec::new().into_iter();
        for _ in 0..STEPS {
            if !short {
                break;
            }
            if oldest.len() == 0 {
                oldest = self.oldest_blocks()?.into_iter();
            }
            let some: Vec<Oldest> = oldest.by_ref().take(BLOCKS_FOR_ROOM).collect();
            let forced = match some.is_empty() {
                true => self.delete_rollups()?,
                false => self.force_out(&some)?,
            };
            if forced == Forced::default() {
                break;
            }
            self.count_forced(forced);
            self.give_back(0)?;
            short = self.is_short_of_room()?;
        }
        let begins = short && !was_short;
        if begins || self.untold.is_due() {
            let all = self.untold.take();
            tracing::error!(
                values = all.values,
                not_forwarded = all.not_forwarded,
                rollups = all.rollups,
                still_short = short,
                "the disk is too full: the oldest values were deleted before their time; \
                 make room, or lower what is kept"
            );
        } else if was_short && !short {
            tracing::info!("there is room on the disk again");
        }
        Ok(())
    }

    /// Looks how much room there is, and tells it.
    fn is_short_of_room(&self) -> Result<bool, StoreError> {
        let used = self.used()?;
        let free = free_bytes(&self.folder);
        let too_large = (self.setup.room.most).is_some_and(|most| used.bytes > most);
        let too_full = free.is_some_and(|free| free < self.setup.room.least_free);
        let is_short = too_large || too_full;
        let stats = self.writer.stats();
        stats.disk_free_bytes.store(free.unwrap_or(0), Relaxed);
        stats.short_of_room.store(is_short, Relaxed);
        stats.file_bytes.store(used.bytes, Relaxed);
        Ok(is_short)
    }

    fn count_forced(&mut self, forced: Forced) {
        self.untold.add(forced);
        let stats = self.writer.stats();
        let all = forced.values + forced.rollups;
        stats
            .values_deleted_for_room
            .fetch_add(forced.values, Relaxed);
        stats
            .values_deleted_unforwarded
            .fetch_add(forced.not_forwarded, Relaxed);
        stats.deleted_for_room.fetch_add(all, Relaxed);
    }

    /// The blocks that end first, of those that are complete: more than are deleted
    /// at once, as all are looked through for them.
    fn oldest_blocks(&self) -> Result<Vec<Oldest>, StoreError> {
        let packed_to = self.frontiers()?.packed_to;
        self.reader.list(
            "SELECT id, first, last, count FROM blocks WHERE first < ?1 ORDER BY last LIMIT ?2",
            (packed_to, (BLOCKS_FOR_ROOM * STEPS) as i64),
            |row| {
                Ok(Oldest {
                    id: row.get(0)?,
                    first: row.get(1)?,
                    last: row.get(2)?,
                    count: row.get(3)?,
                })
            },
        )
    }

    fn force_out(&self, some: &[Oldest]) -> Result<Forced, StoreError> {
        let not_forwarded = self.not_forwarded(some)?;
        let last = some.iter().map(|one| one.last).max().unwrap_or(i64::MIN);
        let of = some.iter().map(|one| (one.id, one.count)).collect();
        let values = self.delete_blocks(of, last.saturating_add(1))?;
        let stats = self.writer.stats();
        stats.deleted_to_ms.fetch_max(last, Relaxed);
        Ok(Forced {
            values,
            not_forwarded,
            rollups: 0,
        })
    }

    /// How many of their values somebody who forwards has not got yet.
    fn not_forwarded(&self, some: &[Oldest]) -> Result<u64, StoreError> {
        let awaited = self.awaited_values()?;
        let mut count = 0;
        for one in some {
            count += match awaited.among(one.first, one.last) {
                Some(true) => one.count.cast_unsigned(),
                Some(false) => 0,
                None => self.count_in(one, |time| awaited.holds(time))?,
            };
        }
        Ok(count)
    }

    /// How many values of a block are such; of one that cannot be read all.
    fn count_in(&self, one: &Oldest, is_such: impl Fn(i64) -> bool) -> Result<u64, StoreError> {
        let columns = OldBlock::COLUMNS;
        let sql = format!("SELECT {columns} FROM blocks WHERE id = ?1");
        let block = self.reader.first(&sql, [one.id], OldBlock::read)?;
        Ok(match block.map(|block| block.unpack()) {
            None => 0,
            Some(Ok(values)) => values.iter().filter(|value| is_such(value.time)).count() as u64,
            Some(Err(_)) => one.count.cast_unsigned(),
        })
    }

    fn delete_rollups(&self) -> Result<Forced, StoreError> {
        let mut forced = Forced::default();
        for sql in [OLDEST_MINUTES, OLDEST_HOURS] {
            let some = self.chore(Box::new(move |transaction| {
                transaction.prepare_cached(sql)?.execute([ROWS_AT_ONCE])
            }))?;
            if some > 0 {
                forced.rollups = some as u64;
                break;
            }
        }
        Ok(forced)
    }

    /// Gives free pages back to the disk, but for some.
    pub(super) fn give_back(&self, spare: i64) -> Result<(), StoreError> {
        for _ in 0..GIVEN_BACK {
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
