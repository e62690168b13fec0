//! The write-ahead log: it is folded into the file as it grows, but not past
//! what somebody still reads. Another program that keeps a transaction open
//! makes it grow; that is told, and once it is gone the log is cut.

use std::cell::Cell;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering::Relaxed;
use std::time::{Duration, Instant};

use rusqlite::{Connection, OpenFlags};

use super::super::error::StoreError;
use super::super::open::{FILE_NAME, JOURNAL_SIZE_LIMIT};
use super::super::stats::Stats;

/// A log larger than this is tried to be cut; without other readers it never
/// grows to twice its usual limit.
const LARGE: u64 = 2 * JOURNAL_SIZE_LIMIT as u64;

/// Chores after which it is folded. Choice: a commit of others that comes meanwhile
/// waits for the disk to take what is folded, so that it is to be little.
const CHORES: u32 = 4;

/// It is tried and told once in this time.
const TRY_EVERY: Duration = Duration::from_secs(10);
const TELL_EVERY: Duration = Duration::from_secs(300);

/// Looks at the log.
#[derive(Debug)]
pub(super) struct WalWatch {
    path: PathBuf,
    connection: Connection,
    tried: Option<Instant>,
    told: Option<Instant>,
    /// Chores since it was folded.
    chores: Cell<u32>,
    /// Bytes from which on it is cut.
    large: u64,
    /// Most pages that a chore has written.
    #[cfg(test)]
    largest: Cell<i64>,
}

impl WalWatch {
    pub(super) fn open(folder: &Path) -> Result<Self, StoreError> {
        let path = folder.join(FILE_NAME);
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(&path, flags)
            .and_then(|connection| {
                // It waits for nobody: the writer would wait with it.
                connection.busy_timeout(Duration::ZERO)?;
                Ok(connection)
            })
            .map_err(StoreError::doing("open its file to cut its log"))?;
        Ok(WalWatch {
            path: folder.join(format!("{FILE_NAME}-wal")),
            connection,
            tried: None,
            told: None,
            chores: Cell::new(0),
            large: LARGE,
            #[cfg(test)]
            largest: Cell::default(),
        })
    }

    /// Looks at the log, and cuts it where it has become large.
    pub(super) fn look(&mut self, stats: &Stats) -> Result<(), StoreError> {
        let size = self.size();
        stats.wal_bytes.store(size, Relaxed);
        let now = Instant::now();
        let waits = |then: Option<Instant>, pause| then.is_some_and(|then| now - then < pause);
        if size < self.large || waits(self.tried, TRY_EVERY) {
            return Ok(());
        }
        self.tried = Some(now);
        self.cut().map_err(StoreError::doing("cut its log"))?;
        let left = self.size();
        stats.wal_bytes.store(left, Relaxed);
        if left < self.large {
            tracing::info!(before = size, now = left, "the store's log was cut");
        } else if !waits(self.told, TELL_EVERY) {
            self.told = Some(now);
            tracing::warn!(
                bytes = left,
                "the store's log cannot be cut: another program keeps reading from {FILE_NAME}; \
                 end it, or have it read in shorter transactions"
            );
        }
        Ok(())
    }

    #[cfg(test)]
    pub(super) fn may_have(&mut self, bytes: u64) {
        self.large = bytes;
        self.tried = None;
    }

    /// Takes note of what is in the log, and folds it, so that the next one begins at
    /// its head.
    #[cfg(test)]
    pub(super) fn note_pages(&self) {
        let pages = self
            .connection
            .query_row("PRAGMA wal_checkpoint(PASSIVE)", (), |row| row.get(1))
            .unwrap_or(0);
        self.largest.set(self.largest.get().max(pages));
    }

    #[cfg(test)]
    pub(super) fn take_largest(&self) -> i64 {
        self.largest.take()
    }

    /// Folds the log beside the writer once in some chores, which make it grow
    /// fast: else a commit would have to.
    pub(super) fn fold_now_and_then(&self) {
        let chores = self.chores.get() + 1;
        self.chores.set(chores % CHORES);
        if chores == CHORES {
            // Another who is just doing it, or a reader, is no fault.
            let _ = self
                .connection
                .query_row("PRAGMA wal_checkpoint(PASSIVE)", (), |_| Ok(()));
        }
    }

    fn size(&self) -> u64 {
        fs::metadata(&self.path).map_or(0, |found| found.len())
    }

    /// Folds what it can beside the writer, and then the little that is left
    /// with the writer standing still.
    fn cut(&self) -> rusqlite::Result<()> {
        for how in ["PASSIVE", "TRUNCATE"] {
            let sql = format!("PRAGMA wal_checkpoint({how})");
            let (all, folded) = self.connection.query_row(&sql, (), |row| {
                Ok((row.get::<_, i64>(1)?, row.get::<_, i64>(2)?))
            })?;
            if folded < all {
                break;
            }
        }
        Ok(())
    }
}
