//! Opening the store: the folder, the lock, the file, and what to do when the
//! last one who had it open did not close it.

use std::fs::{DirBuilder, File, TryLockError};
use std::io::Read;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::aside::set_aside;
use super::error::StoreError;
use super::schema::{self, Content};
use super::series::{self, SeriesMap, SeriesRow};

/// Name of the store's file in its folder.
pub const FILE_NAME: &str = "sumpward.db";

/// Held locked while a daemon has the store open.
const LOCK_NAME: &str = "sumpward.lock";

/// How long to wait for another program that writes to the file.
pub(super) const BUSY_TIMEOUT: Duration = Duration::from_secs(2);

/// The write-ahead log is cut back to this after it was larger, bytes.
pub(super) const JOURNAL_SIZE_LIMIT: i64 = 64 << 20;

/// The write-ahead log is folded into the file when it has so many pages
/// (32 MB). A page that many commits have touched by then is written back once:
/// with thousands of series every commit touches most of its pages alone, and
/// SQLite's default of 1,000 cost a fifth more processor time a row (measured
/// with `benches/store_insert.rs`).
const CHECKPOINT_PAGES: i64 = 8_000;

/// Bytes of a file that are looked at for signs of a store.
const LOOKED_AT: u64 = 1 << 20;

/// Memory for pages, KiB; SQLite takes KiB as a negative number.
const CACHE_KIB: i64 = 8 << 10;

/// How the store was found when it was opened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Opened {
    /// New, or closed in good order.
    Clean,
    /// Not closed the last time; it was checked and is whole.
    AfterUncleanStop,
    /// Damaged: it was renamed, and a new one begun.
    SetAside {
        /// Where the damaged file is now.
        path: PathBuf,
        /// What was found.
        reason: String,
    },
}

/// An open store. There is one a folder, whoever holds it may write.
#[derive(Debug)]
pub struct Store {
    pub(super) connection: Connection,
    opened: Opened,
    /// Keeps other daemons out until it is dropped, after the connection.
    _lock: File,
}

impl Store {
    /// Opens the store in `folder`; makes the folder (mode 0700) and the file
    /// where they are missing, and brings an older schema up. A damaged file
    /// is set aside, see [`Store::opened`].
    ///
    /// # Errors
    /// When the folder cannot be used, another daemon has it, the file is no
    /// store or has a newer schema, or the disk refuses.
    pub fn open(folder: &Path) -> Result<Store, StoreError> {
        let lock = lock(folder)?;
        let path = folder.join(FILE_NAME);
        let (connection, opened) = match open_file(&path) {
            Err(StoreError::Damaged { reason, .. }) => {
                let aside = set_aside(&path, "damaged")?;
                let (connection, _) = open_file(&path)?;
                let path = aside;
                (connection, Opened::SetAside { path, reason })
            }
            other => other?,
        };
        Ok(Store {
            connection,
            opened,
            _lock: lock,
        })
    }

    /// How the store was found.
    pub fn opened(&self) -> &Opened {
        &self.opened
    }

    /// Finds or makes the row of each series. The place in `rows` becomes the
    /// series' [`crate::engine::SeriesIx`].
    ///
    /// # Errors
    /// When a series that is there already has another quantity or unit, when
    /// one is named twice, or the disk refuses; nothing is changed then.
    pub fn register(&mut self, rows: &[SeriesRow]) -> Result<SeriesMap, StoreError> {
        series::register(&mut self.connection, rows)
    }

    /// Marks the store as closed in good order and folds the write-ahead log
    /// into the file, which is then complete by itself.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn close(self) -> Result<(), StoreError> {
        mark_clean(&self.connection, true)?;
        self.connection
            .query_row("PRAGMA wal_checkpoint(TRUNCATE)", (), |_| Ok(()))
            .map_err(StoreError::doing("fold its write-ahead log into the file"))
    }
}

/// Keeps everybody else out of the folder until it is dropped.
pub(super) fn lock(folder: &Path) -> Result<File, StoreError> {
    let unusable = |source| StoreError::Folder {
        path: folder.to_owned(),
        source,
    };
    DirBuilder::new()
        .recursive(true)
        .mode(0o700)
        .create(folder)
        .map_err(unusable)?;
    let file = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(folder.join(LOCK_NAME))
        .map_err(unusable)?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(StoreError::InUse {
            path: folder.to_owned(),
        }),
        Err(TryLockError::Error(source)) => Err(unusable(source)),
    }
}

/// Opens the file and leaves it marked as not closed.
fn open_file(path: &Path) -> Result<(Connection, Opened), StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let mut connection = Connection::open_with_flags(path, flags)
        .map_err(StoreError::doing("open its file"))
        .map_err(|error| about_file(error, path))?;
    let opened = prepare(&mut connection, path).map_err(|error| about_file(error, path));
    if matches!(opened, Err(StoreError::Damaged { .. })) {
        // Closing would write the log into the damaged file; it is evidence.
        connection
            .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)
            .map_err(StoreError::doing("close a damaged file"))?;
    }
    opened.map(|opened| (connection, opened))
}

fn prepare(connection: &mut Connection, path: &Path) -> Result<Opened, StoreError> {
    connection
        .busy_timeout(BUSY_TIMEOUT)
        .map_err(StoreError::doing("set its patience"))?;
    let content = schema::look(connection, path)?;
    configure(connection, content).map_err(StoreError::doing("set its mode of writing"))?;
    schema::migrate(connection, content)?;
    let opened = if is_clean(connection)? {
        Opened::Clean
    } else {
        check(connection, path)?;
        Opened::AfterUncleanStop
    };
    mark_clean(connection, false)?;
    Ok(opened)
}

fn configure(connection: &Connection, content: Content) -> rusqlite::Result<()> {
    if content == Content::Empty {
        // Has an effect only before the first table; a later change would
        // rewrite the whole file.
        connection.pragma_update(None, "auto_vacuum", "INCREMENTAL")?;
    }
    connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
    connection.pragma_update(None, "synchronous", "FULL")?;
    connection.pragma_update(None, "foreign_keys", true)?;
    connection.pragma_update(None, "cache_size", -CACHE_KIB)?;
    connection.pragma_update_and_check(None, "wal_autocheckpoint", CHECKPOINT_PAGES, |_| Ok(()))?;
    connection.pragma_update_and_check(None, "journal_size_limit", JOURNAL_SIZE_LIMIT, |_| Ok(()))
}

/// Reads through the whole file.
fn check(connection: &Connection, path: &Path) -> Result<(), StoreError> {
    let found: String = connection
        .query_row("PRAGMA quick_check(1)", (), |row| row.get(0))
        .map_err(StoreError::doing("check its file"))?;
    if found == "ok" {
        return Ok(());
    }
    Err(StoreError::Damaged {
        path: path.to_owned(),
        reason: found,
    })
}

fn is_clean(connection: &Connection) -> Result<bool, StoreError> {
    connection
        .query_row(
            "SELECT value FROM meta WHERE name = 'clean_stop'",
            (),
            |row| row.get(0),
        )
        .map_err(StoreError::doing("see how it was closed"))
}

fn mark_clean(connection: &Connection, clean: bool) -> Result<(), StoreError> {
    connection
        .execute(
            "UPDATE meta SET value = ?1 WHERE name = 'clean_stop'",
            [clean],
        )
        .map(|_| ())
        .map_err(StoreError::doing("note how it is closed"))
}

/// Tells apart what is wrong with the file from what is wrong around it.
pub(super) fn about_file(error: StoreError, path: &Path) -> StoreError {
    let StoreError::Database { source, .. } = &error else {
        return error;
    };
    match source.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) if was_a_store(path) => StoreError::Damaged {
            path: path.to_owned(),
            reason: "its beginning has been overwritten".to_owned(),
        },
        Some(ErrorCode::NotADatabase) => StoreError::NotAStore {
            path: path.to_owned(),
            reason: "it is no database",
        },
        Some(ErrorCode::DatabaseCorrupt) => StoreError::Damaged {
            path: path.to_owned(),
            reason: source.to_string(),
        },
        _ => error,
    }
}

/// Whether a file that can no longer be opened bears the signs of a store: the
/// mark in its header, or the text of its tables.
fn was_a_store(path: &Path) -> bool {
    let mut beginning = Vec::new();
    let read = File::open(path).and_then(|file| file.take(LOOKED_AT).read_to_end(&mut beginning));
    let sign = b"CREATE TABLE series";
    read.is_ok()
        && (beginning.get(68..72) == Some(&schema::APPLICATION_ID.to_be_bytes()[4..])
            || beginning.windows(sign.len()).any(|bytes| bytes == sign))
}
