//! How work is handed to the thread that writes.

use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;
use std::sync::mpsc::{self, SyncSender, TrySendError};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use super::commit::Committer;
use super::error::StoreError;
use super::open::Store;
use super::rows::{Batch, Receipt};
use super::series::SeriesMap;
use super::stats::Stats;
use super::work::{Chore, Command, StopSign, Work};

/// How much the writer takes on, and how long it waits for more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Commands that may wait for the writer; a submitter beyond that waits.
    pub queue: usize,
    /// Commit once so many rows have come together.
    pub group_rows: usize,
    /// Commit so long after the first row at the latest.
    pub linger: Duration,
    /// Messages that the outbox holds; beyond that the oldest is dropped.
    pub outbox_rows: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Limits {
            queue: 64,
            group_rows: 2_000,
            linger: Duration::from_millis(20),
            outbox_rows: 10_000,
        }
    }
}

/// Told of each commit, on the writer's thread: while it runs, nothing is
/// written.
pub type AfterCommit<A> = Box<dyn FnMut(Receipt<A>) + Send>;

/// The owner of the writing thread. Dropped without [`Writer::stop`], the
/// thread ends once the last handle is gone, and the store counts as not
/// closed in good order.
#[derive(Debug)]
pub struct Writer<A> {
    handle: WriterHandle<A>,
    stop_sign: Arc<StopSign>,
    thread: Option<JoinHandle<Result<(), StoreError>>>,
}

/// Hands work to the writer.
#[derive(Debug)]
pub struct WriterHandle<A> {
    commands: SyncSender<Command<A>>,
    stats: Arc<Stats>,
}

/// A batch that the writer did not take.
#[derive(Debug)]
pub enum Refused<A> {
    /// The queue is full; try again.
    Full(Batch<A>),
    /// The writer has stopped.
    Stopped(Batch<A>),
}

impl<A: Send + 'static> Writer<A> {
    /// Starts the thread. `after_commit` is called there after each commit.
    ///
    /// # Errors
    /// When the outbox cannot be read or no thread be had.
    pub fn start(
        store: Store,
        series: SeriesMap,
        limits: Limits,
        after_commit: AfterCommit<A>,
    ) -> Result<Writer<A>, StoreError> {
        let committer = Committer::new(store, series, limits.outbox_rows)?;
        let (sender, commands) = mpsc::sync_channel(limits.queue);
        let stats = Arc::new(Stats::default());
        stats.outbox_depth.store(committer.outbox_depth(), Relaxed);
        let stop_sign = Arc::new(StopSign::default());
        let work = Work::new(
            commands,
            committer,
            limits,
            after_commit,
            Arc::clone(&stats),
            Arc::clone(&stop_sign),
        );
        let thread = thread::Builder::new()
            .name("store-writer".to_owned())
            .spawn(move || work.run())
            .map_err(|source| StoreError::Thread { source })?;
        Ok(Writer {
            handle: WriterHandle {
                commands: sender,
                stats,
            },
            stop_sign,
            thread: Some(thread),
        })
    }

    /// A handle to hand work to the writer.
    pub fn handle(&self) -> WriterHandle<A> {
        self.handle.clone()
    }

    /// What the writer has done so far.
    pub fn stats(&self) -> Arc<Stats> {
        Arc::clone(&self.handle.stats)
    }

    /// From now on a commit that fails is not waited for any longer: after one
    /// more attempt the writer ends, and everybody who waits for it is told.
    pub fn lose_patience(&self) {
        self.stop_sign.raise();
    }

    /// Commits what was submitted before, closes the store in good order and
    /// ends the thread. While the disk refuses, one more attempt is made.
    ///
    /// # Errors
    /// When rows could not be written, which were not acknowledged either, or
    /// the store could not be closed.
    pub fn stop(mut self) -> Result<(), StoreError> {
        self.stop_sign.raise();
        // Fails when the thread has ended already; joining it tells why.
        let _ = self.handle.send(Command::Stop);
        let thread = self.thread.take().expect("only stop takes the thread");
        thread
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic))
    }
}

impl<A> Drop for Writer<A> {
    fn drop(&mut self) {
        self.stop_sign.raise();
    }
}

impl<A> Clone for WriterHandle<A> {
    fn clone(&self) -> Self {
        WriterHandle {
            commands: self.commands.clone(),
            stats: Arc::clone(&self.stats),
        }
    }
}

impl<A> WriterHandle<A> {
    /// Hands a batch over; waits while the queue is full.
    ///
    /// # Errors
    /// When the writer has stopped.
    pub fn submit(&self, batch: Batch<A>) -> Result<(), StoreError> {
        self.send(Command::Batch(batch))
    }

    /// Hands a batch over if there is room in the queue.
    ///
    /// # Errors
    /// When there is none or the writer has stopped; the batch comes back.
    #[expect(
        clippy::result_large_err,
        reason = "the batch comes back to be submitted again, as from a channel"
    )]
    pub fn try_submit(&self, batch: Batch<A>) -> Result<(), Refused<A>> {
        self.stats.queue_depth.fetch_add(1, Relaxed);
        let Err(refused) = self.commands.try_send(Command::Batch(batch)) else {
            return Ok(());
        };
        self.stats.queue_depth.fetch_sub(1, Relaxed);
        Err(match refused {
            TrySendError::Full(Command::Batch(batch)) => Refused::Full(batch),
            TrySendError::Disconnected(Command::Batch(batch)) => Refused::Stopped(batch),
            _ => unreachable!("what comes back is what was sent"),
        })
    }

    /// Takes delivered messages out of the outbox, with the next commit; an
    /// id that is no longer there is passed over.
    ///
    /// # Errors
    /// When the writer has stopped.
    pub fn remove_outbox(&self, ids: Vec<i64>) -> Result<(), StoreError> {
        self.send(Command::Delivered(ids))
    }

    /// Waits until everything that was handed over before is committed.
    ///
    /// # Errors
    /// When the writer has stopped before.
    pub fn flush(&self) -> Result<(), StoreError> {
        let (done, wait) = mpsc::sync_channel(1);
        self.send(Command::Flush(done))?;
        wait.recv().map_err(|_| StoreError::Stopped)
    }

    /// What the writer and the keeper have done so far.
    pub fn stats(&self) -> Arc<Stats> {
        Arc::clone(&self.stats)
    }

    /// Has the writer do a chore with its next commit; gives what it gave, once
    /// it is on the disk.
    pub(super) fn chore(&self, chore: Chore) -> Result<usize, StoreError> {
        let (done, wait) = mpsc::sync_channel(1);
        self.send(Command::Chore(chore, done))?;
        wait.recv().unwrap_or(Err(StoreError::Stopped))
    }

    fn send(&self, command: Command<A>) -> Result<(), StoreError> {
        self.stats.queue_depth.fetch_add(1, Relaxed);
        self.commands.send(command).map_err(|_| {
            self.stats.queue_depth.fetch_sub(1, Relaxed);
            StoreError::Stopped
        })
    }
}
