//! What can go wrong with the store.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;

use crate::units::{Quantity, Timestamp};

use super::packing::BlockError;

/// What can go wrong with the store: what, where, and what to do.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The folder cannot be made or used.
    #[error(
        "the store's folder {} cannot be used: {source}; name a folder on a local disk that the daemon may write to",
        path.display()
    )]
    Folder {
        /// The folder.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Another daemon has the same folder.
    #[error(
        "the store in {} is in use by another running daemon; stop that one, or give this one a folder of its own",
        path.display()
    )]
    InUse {
        /// The folder.
        path: PathBuf,
    },
    /// Something else lies where the store should be.
    #[error(
        "{} is not a store: {reason}; move it away and start again, or name another folder",
        path.display()
    )]
    NotAStore {
        /// The file.
        path: PathBuf,
        /// How it is known.
        reason: &'static str,
    },
    /// The file was written by a later version of this program.
    #[error(
        "{} has schema {found}, and this version knows schemas up to {known}; run the version that wrote it, or a later one",
        path.display()
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its schema.
        found: i64,
        /// The newest schema known here.
        known: i64,
    },
    /// The file was written by an earlier version, and no daemon of this one has had it.
    #[error(
        "{} has schema {found}, and this version reads schema {known}; start the daemon of this version on it, which brings it up and keeps what it holds",
        path.display()
    )]
    Older {
        /// The file.
        path: PathBuf,
        /// Its schema.
        found: i64,
        /// The one that is read.
        known: i64,
    },
    /// The file has been damaged.
    #[error("{} is damaged: {reason}; restore it from a backup", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found.
        reason: String,
    },
    /// A damaged file could not be renamed.
    #[error(
        "{} is damaged and cannot be set aside: {source}; move it away by hand and start again",
        path.display()
    )]
    SetAside {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// A series would change its meaning.
    #[error(
        "channel \"{channel}\" of sump \"{sump}\" is kept as {kept_quantity} in {kept_unit} and is now set up as {quantity} in {}; give the new channel a new name",
        quantity.unit()
    )]
    SeriesChanged {
        /// The sump.
        sump: Arc<str>,
        /// The channel.
        channel: Arc<str>,
        /// The quantity in the store.
        kept_quantity: Box<str>,
        /// The unit in the store.
        kept_unit: Box<str>,
        /// The quantity asked for.
        quantity: Quantity,
    },
    /// The same series was asked for twice.
    #[error(
        "channel \"{channel}\" of sump \"{sump}\" is set up twice; each channel of a sump needs a name of its own"
    )]
    SeriesTwice {
        /// The sump.
        sump: Arc<str>,
        /// The channel.
        channel: Arc<str>,
    },
    /// The database said no.
    #[error(
        "the store could not {doing}: {source}; check the disk's free space and health and who may write there"
    )]
    Database {
        /// What was being done.
        doing: &'static str,
        /// Why.
        source: rusqlite::Error,
    },
    /// The thread that writes could not be started.
    #[error("the store's writer cannot be started: {source}; raise the limit on threads")]
    Thread {
        /// Why.
        source: io::Error,
    },
    /// A block of packed values cannot be read.
    #[error(
        "the block of series {series} that begins at {first} cannot be read: {source}; the other values are not touched by it, restore these from a backup"
    )]
    Block {
        /// The series' id.
        series: i64,
        /// Time of its first value.
        first: Timestamp,
        /// What is wrong.
        source: BlockError,
    },
    /// A chore went with another that failed.
    #[error("the store put off a chore as the one beside it failed; it is tried again")]
    ChoreDropped,
    /// The writer has been stopped.
    #[error("the store's writer has stopped and takes nothing more; start the daemon again")]
    Stopped,
    /// The writer had to stop while the disk refused what it still held.
    #[error(
        "the store stopped with {rows} rows that could not be written and were not acknowledged: {source}; their senders will deliver them again"
    )]
    Unwritten {
        /// Rows of every kind.
        rows: usize,
        /// Why.
        source: Box<StoreError>,
    },
}

impl StoreError {
    /// Says what was being done when the database said no.
    pub(super) fn doing(doing: &'static str) -> impl FnOnce(rusqlite::Error) -> StoreError {
        move |source| StoreError::Database { doing, source }
    }
}
