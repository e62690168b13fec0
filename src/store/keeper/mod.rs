//! Keeps the store small: packs what is settled, rolls it up, and deletes what
//! is older than it is to be kept.
//!
//! It reads by itself and reckons on a thread of its own; what changes the file
//! goes to the writer as small chores, each in a transaction with what is
//! committed anyway, so that nothing waits for more than one of them. Every
//! chore leaves the store whole: killed at any instant, each value is there
//! once.

mod awaited;
mod block;
mod census;
mod merge;
mod pack;
mod retain;
mod roll;
mod room;
mod thread;
mod total;
mod wal;

use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering::Relaxed;

use crate::units::{Span, Timestamp};

use super::error::StoreError;
use super::frontiers::Frontiers;
use super::packing::Packer;
use super::reader::Reader;
use super::work::Chore;
use super::writer::WriterHandle;

use census::Census;
use pack::Crowd;
pub use retain::Keep;
pub use room::Room;
use room::Untold;
pub use thread::KeeperThread;
use wal::WalWatch;

/// Late values are counted up to so many.
const LATE_COUNTED: i64 = 100_000;

/// What the keeper is to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeeperSetup {
    /// Readings are packed once they are so old, by stretches of a day or of
    /// some hundred thousand.
    pub pack_after: Span,
    /// How long what is kept.
    pub keep: Keep,
    /// How much room it may take.
    pub room: Room,
}

impl Default for KeeperSetup {
    fn default() -> Self {
        KeeperSetup {
            pack_after: Span::from_hours(6),
            keep: Keep::default(),
            room: Room::default(),
        }
    }
}

/// Keeps a store small. There is one a store.
#[derive(Debug)]
pub struct Keeper<A> {
    folder: PathBuf,
    reader: Reader,
    writer: WriterHandle<A>,
    setup: KeeperSetup,
    packer: Packer,
    crowd: Crowd,
    /// When late values were merged last.
    merged: Option<Timestamp>,
    /// When it was looked for what is too old.
    retained: Option<Timestamp>,
    wal: WalWatch,
    census: Census,
    untold: Untold,
}

impl<A: Send + 'static> Keeper<A> {
    /// A keeper of the store in `folder`, which `writer` writes.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn open(
        folder: &Path,
        writer: WriterHandle<A>,
        setup: KeeperSetup,
    ) -> Result<Self, StoreError> {
        Ok(Keeper {
            folder: folder.to_owned(),
            reader: Reader::open(folder)?,
            writer,
            setup,
            packer: Packer::new(),
            crowd: Crowd::default(),
            merged: None,
            retained: None,
            wal: WalWatch::open(folder)?,
            census: Census::default(),
            untold: Untold::default(),
        })
    }

    /// Does what is due at `now`, one stretch of time at most; says whether
    /// there may be more to do at once.
    ///
    /// # Errors
    /// When the store cannot be read, or the writer could not do what it was
    /// asked; then nothing is lost, and another round may come further.
    pub fn round(&mut self, now: Timestamp) -> Result<bool, StoreError> {
        self.drop_rows()?;
        let mut more = self.pack(now)?;
        self.merge_late(now)?;
        more |= self.roll()?;
        self.retain(now)?;
        self.make_room()?;
        self.wal.look(&self.writer.stats())?;
        self.count(now)?;
        self.count_held()?;
        Ok(more)
    }

    /// Tells how it stands.
    fn count(&self, now: Timestamp) -> Result<(), StoreError> {
        let frontiers = self.frontiers()?;
        let stats = self.writer.stats();
        let lag = |to: i64| now.millis().saturating_sub(to).max(0).cast_unsigned();
        if frontiers.packed_to != i64::MIN {
            stats
                .packing_lag_ms
                .store(lag(frontiers.packed_to), Relaxed);
        }
        if frontiers.rolled_to != i64::MIN {
            stats
                .rolling_lag_ms
                .store(lag(frontiers.rolled_to), Relaxed);
        }
        stats
            .late_values
            .store(self.late_values(LATE_COUNTED)?, Relaxed);
        Ok(())
    }

    fn frontiers(&self) -> Result<Frontiers, StoreError> {
        self.reader.at_once(|transaction| {
            Frontiers::read(transaction).map_err(StoreError::doing("see how far it is packed"))
        })
    }

    /// Has the log cut from so many bytes on, at once.
    #[cfg(test)]
    pub(super) fn wal_may_have(&mut self, bytes: u64) {
        self.wal.may_have(bytes);
    }

    /// Most pages that one of its transactions has written since this was asked last.
    #[cfg(test)]
    pub(super) fn take_largest_chore(&self) -> i64 {
        self.wal.take_largest()
    }

    fn chore(&self, chore: Chore) -> Result<usize, StoreError> {
        let done = self.writer.chore(chore)?;
        #[cfg(test)]
        self.wal.note_pages();
        self.wal.fold_now_and_then();
        Ok(done)
    }
}
