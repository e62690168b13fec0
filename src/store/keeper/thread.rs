//! The thread of the keeper.

use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{self, RecvTimeoutError, SyncSender};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::writer::WriterHandle;
use super::{Keeper, KeeperSetup};

/// Pause between rounds. Choice: looking for what to pack takes some ten
/// milliseconds where there are many rows.
const PAUSE: Duration = Duration::from_secs(5);

/// A lasting fault is told once in this time.
const TELL_EVERY: Duration = Duration::from_secs(60);

/// A keeper at work.
#[derive(Debug)]
pub struct KeeperThread {
    /// Dropped to end the thread.
    stop: SyncSender<()>,
    thread: JoinHandle<()>,
}

impl KeeperThread {
    /// Starts to keep the store in `folder`, which `writer` writes.
    ///
    /// # Errors
    /// When the store cannot be read, or no thread be had.
    pub fn start<A: Send + 'static>(
        folder: &Path,
        writer: WriterHandle<A>,
        setup: KeeperSetup,
        now: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    ) -> Result<Self, StoreError> {
        let mut keeper = Keeper::open(folder, writer, setup)?;
        let (stop, told) = mpsc::sync_channel(0);
        let work = move || {
            let mut pause = PAUSE;
            let mut last_told: Option<Instant> = None;
            while told.recv_timeout(pause) == Err(RecvTimeoutError::Timeout) {
                pause = PAUSE;
                match keeper.round(now()) {
                    Ok(true) => pause = Duration::ZERO,
                    Ok(false) | Err(StoreError::Stopped) => {}
                    Err(error) if last_told.is_none_or(|then| then.elapsed() >= TELL_EVERY) => {
                        last_told = Some(Instant::now());
                        tracing::error!(%error, "the store is not kept small");
                    }
                    Err(_) => {}
                }
            }
        };
        let thread = thread::Builder::new()
            .name("store-keeper".to_owned())
            .spawn(work)
            .map_err(|source| StoreError::Thread { source })?;
        Ok(KeeperThread { stop, thread })
    }

    /// Ends it after what it is just doing; says whether it ended well.
    pub fn stop(self) -> bool {
        drop(self.stop);
        self.thread.join().is_ok()
    }
}
