//! Copies of the store: taken while it is written to, checked, and put back.
//!
//! Promises: a copy is of one instant, complete in one file, closed to others
//! (mode 0600), and has its name only once it was read through and found whole;
//! nothing is overwritten or deleted. Refuses: to put a copy back that is not
//! whole, or while a daemon has the store.

use std::fs::{self, File};
use std::io;
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use crate::units::Timestamp;

use super::aside::{set_aside, with};
use super::error::StoreError;
use super::open::{BUSY_TIMEOUT, FILE_NAME, about_file, lock};
use super::packing;
use super::schema::{self, Content};

/// Pages that are copied at once.
const PAGES: i32 = 2_000;

/// Why a copy was not made or put back.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// There is no store to be copied.
    #[error("there is no store in {} yet; it begins when the daemon is started with `sumpward run`", folder.display())]
    NoStore {
        /// Its folder.
        folder: PathBuf,
    },
    /// There is no such copy.
    #[error("there is no file {}; name a copy that `sumpward backup` made", path.display())]
    Missing {
        /// The file.
        path: PathBuf,
    },
    /// It is something else.
    #[error("{} is no copy of a store: {reason}; name one that `sumpward backup` made", path.display())]
    NotACopy {
        /// The file.
        path: PathBuf,
        /// How it is known.
        reason: &'static str,
    },
    /// The folder of the copy is not there.
    #[error("there is no folder {}; make it first", folder.display())]
    NoFolder {
        /// The folder.
        folder: PathBuf,
    },
    /// There is something already.
    #[error("{} is there already and is not overwritten; give another name", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// A file cannot be written, read or renamed.
    #[error("{} cannot be {doing}: {source}; check the folder, its rights and its free space", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// What was being done with it.
        doing: &'static str,
        /// Why.
        source: io::Error,
    },
    /// The copy is not whole.
    #[error("{} is not whole: {reason}; it must not be put back, take another copy", path.display())]
    NotWhole {
        /// The file.
        path: PathBuf,
        /// What was found.
        reason: String,
    },
    /// The store, or the file as one, cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// What a copy holds, every part of which was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// Its schema.
    pub schema: i64,
    /// Bytes of the file.
    pub bytes: u64,
    /// Readings and estimates.
    pub values: u64,
    /// Lines of the journal.
    pub journal: u64,
    /// Unsent messages.
    pub messages: u64,
    /// Time of the newest line of the journal or snapshot.
    pub newest: Option<Timestamp>,
}

/// Copies the store in `folder` to the file `to`, whether a daemon writes to it
/// or not; tells how far it is as pages done and all pages. The store's log
/// cannot be cut while this runs.
///
/// # Errors
/// When `to` is there, or one of both files cannot be read or written, or the
/// copy is not whole; nothing is left behind then.
pub fn backup(
    folder: &Path,
    to: &Path,
    progress: impl FnMut(u64, u64),
) -> Result<Checked, BackupError> {
    if to.exists() {
        return Err(BackupError::Exists {
            path: to.to_owned(),
        });
    }
    let into = folder_of(to);
    if !into.is_dir() {
        return Err(BackupError::NoFolder {
            folder: into.to_owned(),
        });
    }
    let store = folder.join(FILE_NAME);
    if !store.exists() {
        return Err(BackupError::NoStore {
            folder: folder.to_owned(),
        });
    }
    let source = open_to_read(&store)?;
    schema::look(&source, &store).map_err(|error| about_file(error, &store))?;
    let beside = Beside::make(with(to, &format!(".{}.part", std::process::id())))?;
    copy(&source, &beside.path, progress).map_err(StoreError::doing("be copied"))?;
    let checked = check(&beside.path)?;
    beside.take_place(to)?;
    Ok(checked)
}

/// Reads a copy through: its structure, and each block of packed values.
///
/// # Errors
/// When it is not there, is no store, was written by a later version, or is not whole.
pub fn check(file: &Path) -> Result<Checked, BackupError> {
    let not_a_copy = |reason| BackupError::NotACopy {
        path: file.to_owned(),
        reason,
    };
    match fs::metadata(file) {
        Ok(found) if !found.is_file() => return Err(not_a_copy("it is a folder or a device")),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return Err(BackupError::Missing {
                path: file.to_owned(),
            });
        }
        _ => {}
    }
    read_through(file).map_err(|error| match error {
        BackupError::Store(error) => match about_file(error, file) {
            StoreError::NotAStore { reason, .. } => not_a_copy(reason),
            StoreError::Damaged { path, reason } => BackupError::NotWhole { path, reason },
            other => BackupError::Store(other),
        },
        other => other,
    })
}

fn read_through(file: &Path) -> Result<Checked, BackupError> {
    let doing = || StoreError::doing("be read through");
    let connection = open_to_read(file)?;
    let Content::Schema(schema) = schema::look(&connection, file)? else {
        return Err(BackupError::NotWhole {
            path: file.to_owned(),
            reason: "it is empty".to_owned(),
        });
    };
    let not_whole = |reason| BackupError::NotWhole {
        path: file.to_owned(),
        reason,
    };
    let found: String = connection
        .query_row("PRAGMA integrity_check(1)", (), |row| row.get(0))
        .map_err(doing())?;
    if found != "ok" {
        return Err(not_whole(found));
    }
    let count = |sql: &str| connection.query_row(sql, (), |row| row.get::<_, i64>(0));
    let mut values = count("SELECT count(*) FROM readings").map_err(doing())?;
    if schema >= FIRST_PACKED {
        let packed = packed_values(&connection).map_err(doing())?;
        values = count(UNPACKED).map_err(doing())? + packed.map_err(not_whole)?;
    }
    let newest =
        count("SELECT max((SELECT max(time) FROM journal), (SELECT max(time) FROM snapshots))");
    Ok(Checked {
        schema,
        bytes: fs::metadata(file).map_or(0, |found| found.len()),
        values: values.cast_unsigned(),
        journal: count("SELECT count(*) FROM journal")
            .map_err(doing())?
            .cast_unsigned(),
        messages: count("SELECT count(*) FROM outbox")
            .map_err(doing())?
            .cast_unsigned(),
        newest: newest.ok().map(Timestamp::from_millis),
    })
}

/// Puts a copy in the place of the store in `folder`, which is set aside; gives
/// where it is then. An older schema is brought up when the daemon opens it.
///
/// # Errors
/// When a daemon has the store, the copy is not whole, or a file cannot be
/// written; the store is as before then.
pub fn restore(file: &Path, folder: &Path) -> Result<(Checked, Option<PathBuf>), BackupError> {
    let _lock = lock(folder)?;
    check(file)?;
    let path = folder.join(FILE_NAME);
    let beside = Beside::make(folder.join(format!("{FILE_NAME}.restoring")))?;
    let failed = |source| BackupError::File {
        path: beside.path.clone(),
        doing: "written",
        source,
    };
    fs::copy(file, &beside.path).map_err(failed)?;
    fs::set_permissions(&beside.path, fs::Permissions::from_mode(0o600)).map_err(failed)?;
    let checked = check(&beside.path)?;
    let aside = if path.exists() {
        Some(set_aside(&path, "before-restore")?)
    } else {
        None
    };
    beside.take_place(&path)?;
    Ok((checked, aside))
}

/// The first schema with blocks.
const FIRST_PACKED: i64 = 5;

/// Values that are in no block.
const UNPACKED: &str = "SELECT (SELECT count(*) FROM late_readings)
    + (SELECT count(*) FROM readings
       WHERE time >= (SELECT value FROM meta WHERE name = 'packed_to'))";

/// The number of values in blocks, each of which is unpacked; or what is wrong
/// with one.
fn packed_values(connection: &Connection) -> rusqlite::Result<Result<i64, String>> {
    let mut select = connection.prepare(
        "SELECT series, first, count, body FROM blocks
         WHERE first < (SELECT value FROM meta WHERE name = 'packed_to')",
    )?;
    let mut rows = select.query(())?;
    let mut values = 0;
    while let Some(row) = rows.next()? {
        let (series, first, count): (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let wrong = match packing::unpack(row.get_ref(3)?.as_blob().unwrap_or_default()) {
            Ok(unpacked) if unpacked.len() as i64 == count => None,
            Ok(unpacked) => Some(format!("{} values instead of {count}", unpacked.len())),
            Err(error) => Some(error.to_string()),
        };
        if let Some(wrong) = wrong {
            let first = Timestamp::from_millis(first);
            return Ok(Err(format!(
                "the block of series {series} that begins at {first}: {wrong}"
            )));
        }
        values += count;
    }
    Ok(Ok(values))
}

fn open_to_read(path: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)
        .map_err(StoreError::doing("open its file for reading"))?;
    connection
        .busy_timeout(BUSY_TIMEOUT)
        .map_err(StoreError::doing("set its patience"))?;
    Ok(connection)
}

/// Copies the database as it is at one instant. The transaction around it keeps
/// the instant: without it each commit of the daemon would begin the copy anew.
fn copy(
    source: &Connection,
    to: &Path,
    mut progress: impl FnMut(u64, u64),
) -> rusqlite::Result<()> {
    let instant = source.unchecked_transaction()?;
    instant.query_row("SELECT count(*) FROM meta", (), |_| Ok(()))?;
    let mut copy = Connection::open(to)?;
    {
        let backup = Backup::new(source, &mut copy)?;
        loop {
            let step = backup.step(PAGES)?;
            let at = backup.progress();
            let (all, left) = (at.pagecount.max(0), at.remaining.max(0));
            progress(
                (all - left).unsigned_abs().into(),
                all.unsigned_abs().into(),
            );
            if step == StepResult::Done {
                break;
            }
        }
    }
    instant.finish()?;
    // One file, complete by itself, as if it had been closed in good order.
    copy.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(()))?;
    copy.execute("UPDATE meta SET value = 1 WHERE name = 'clean_stop'", ())?;
    copy.close().map_err(|(_, error)| error)
}

/// The folder that a file is in.
fn folder_of(file: &Path) -> &Path {
    let folder = file.parent();
    let named = folder.filter(|folder| !folder.as_os_str().is_empty());
    named.unwrap_or(Path::new("."))
}

/// A file that is written beside the place it is for; deleted unless it took
/// it.
struct Beside {
    path: PathBuf,
}

impl Beside {
    fn make(path: PathBuf) -> Result<Beside, BackupError> {
        let made = File::options()
            .write(true)
            .create_new(true)
            .mode(0o600)
            .open(&path);
        match made {
            Ok(_) => Ok(Beside { path }),
            Err(source) => Err(BackupError::File {
                path,
                doing: "made",
                source,
            }),
        }
    }

    /// Gives it its name, on the disk, if nothing has it yet.
    fn take_place(self, to: &Path) -> Result<(), BackupError> {
        let place = || -> io::Result<()> {
            File::open(&self.path)?.sync_all()?;
            fs::hard_link(&self.path, to)?;
            File::open(folder_of(to))?.sync_all()
        };
        place().map_err(|source| BackupError::File {
            path: to.to_owned(),
            doing: "given its name",
            source,
        })
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        // It may have been made only in part, and a disk that is full leaves a journal
        // beside it; what cannot be deleted is told by its name.
        for path in [self.path.clone(), with(&self.path, "-journal")] {
            let _ = fs::remove_file(path);
        }
    }
}
