//! The thread that writes: collects batches, commits them together, and tells
//! what may be acknowledged.

use std::mem;
use std::sync::atomic::Ordering::{Relaxed, Release};
use std::sync::mpsc::{Receiver, SyncSender};
use std::sync::{Arc, Condvar, Mutex, PoisonError};
use std::time::{Duration, Instant};

use rusqlite::Transaction;

use super::commit::Committer;
use super::error::StoreError;
use super::rows::{Batch, Counts, Receipt};
use super::stats::Stats;
use super::writer::{AfterCommit, Limits};

/// Pause before a failed commit is tried again; doubled each time.
const FIRST_PAUSE: Duration = Duration::from_millis(100);

/// The pause grows no longer than this.
const LONGEST_PAUSE: Duration = Duration::from_secs(5);

/// A lasting write error is told once in this time.
const TELL_EVERY: Duration = Duration::from_secs(30);

/// A small piece of work that rides in a transaction of the writer: it must be
/// short, and able to be done again after a transaction that failed. What it
/// gives goes back to whoever asked for it.
pub(super) type Chore = Box<dyn Fn(&Transaction<'_>) -> rusqlite::Result<usize> + Send>;

/// What the thread can be asked to do.
#[expect(
    clippy::large_enum_variant,
    reason = "nearly all of them are batches, and few wait at a time"
)]
pub(super) enum Command<A> {
    /// Commit this.
    Batch(Batch<A>),
    /// Take these messages out of the outbox.
    Delivered(Vec<i64>),
    /// Do this with the next commit, and tell what it gave; once, as what is
    /// committed with it comes first.
    Chore(Chore, SyncSender<Result<usize, StoreError>>),
    /// Commit at once and answer then.
    Flush(SyncSender<()>),
    /// Commit at once, close the store and end.
    Stop,
}

/// Raised once, when the writer is to give up on a disk that refuses.
#[derive(Debug, Default)]
pub(super) struct StopSign {
    raised: Mutex<bool>,
    changed: Condvar,
}

impl StopSign {
    pub(super) fn raise(&self) {
        *self.raised.lock().unwrap_or_else(PoisonError::into_inner) = true;
        self.changed.notify_all();
    }

    /// Waits until `pause` is over or the sign is raised; says whether it is.
    fn wait(&self, pause: Duration) -> bool {
        let raised = self.raised.lock().unwrap_or_else(PoisonError::into_inner);
        let waited = self
            .changed
            .wait_timeout_while(raised, pause, |raised| !*raised);
        *waited.unwrap_or_else(PoisonError::into_inner).0
    }
}

/// What has come together for the next commit.
struct Group<A> {
    batches: Vec<Batch<A>>,
    delivered: Vec<i64>,
    flushed: Vec<SyncSender<()>>,
    chores: Vec<Chore>,
    asked: Vec<SyncSender<Result<usize, StoreError>>>,
    rows: usize,
    urgent: bool,
    last: bool,
}

impl<A> Group<A> {
    fn new() -> Self {
        Group {
            batches: Vec::new(),
            delivered: Vec::new(),
            flushed: Vec::new(),
            chores: Vec::new(),
            asked: Vec::new(),
            rows: 0,
            urgent: false,
            last: false,
        }
    }

    fn take(&mut self, command: Command<A>) {
        match command {
            Command::Batch(batch) => {
                self.rows += batch.rows();
                self.urgent |= batch.urgent;
                self.batches.push(batch);
            }
            Command::Delivered(ids) => {
                self.rows += ids.len();
                self.delivered.extend(ids);
            }
            Command::Chore(chore, done) => {
                self.chores.push(chore);
                self.asked.push(done);
            }
            Command::Flush(done) => {
                self.urgent = true;
                self.flushed.push(done);
            }
            Command::Stop => self.last = true,
        }
    }

    fn is_due(&self, rows: usize) -> bool {
        self.urgent || self.last || self.rows >= rows
    }

    fn is_empty(&self) -> bool {
        self.batches.is_empty() && self.delivered.is_empty() && self.chores.is_empty()
    }
}

/// The state of the thread.
pub(super) struct Work<A> {
    commands: Receiver<Command<A>>,
    committer: Committer,
    limits: Limits,
    after_commit: AfterCommit<A>,
    stats: Arc<Stats>,
    stop_sign: Arc<StopSign>,
    group: Group<A>,
    last_told: Option<Instant>,
}

impl<A> Work<A> {
    pub(super) fn new(
        commands: Receiver<Command<A>>,
        committer: Committer,
        limits: Limits,
        after_commit: AfterCommit<A>,
        stats: Arc<Stats>,
        stop_sign: Arc<StopSign>,
    ) -> Self {
        Work {
            commands,
            committer,
            limits,
            after_commit,
            stats,
            stop_sign,
            group: Group::new(),
            last_told: None,
        }
    }

    /// Works until it is told to stop or no handle is left.
    pub(super) fn run(mut self) -> Result<(), StoreError> {
        while let Ok(command) = self.commands.recv() {
            self.take(command);
            self.collect();
            self.commit()?;
            if self.group.last {
                return self.committer.close();
            }
        }
        Ok(())
    }

    fn take(&mut self, command: Command<A>) {
        self.stats.queue_depth.fetch_sub(1, Relaxed);
        self.group.take(command);
    }

    /// Lets more come together until the group is due. What already waits in
    /// the queue is taken even when the time is up.
    fn collect(&mut self) {
        let until = Instant::now() + self.limits.linger;
        while !self.group.is_due(self.limits.group_rows) {
            // A chore alone does not wait, but what waits already goes with it.
            let left = if self.group.rows > 0 {
                until.saturating_duration_since(Instant::now())
            } else {
                Duration::ZERO
            };
            match self.commands.recv_timeout(left) {
                Ok(command) => self.take(command),
                Err(_) => return,
            }
        }
    }

    /// Commits the group, however long the disk refuses; gives up only when
    /// asked to stop.
    fn commit(&mut self) -> Result<(), StoreError> {
        let mut pause = FIRST_PAUSE;
        let mut stopping = false;
        while !self.group.is_empty() {
            let begun = Instant::now();
            let group = &self.group;
            match self
                .committer
                .commit(&group.batches, &group.delivered, &group.chores)
            {
                Ok((counts, done)) => {
                    self.answer_chores(done);
                    self.settle(counts, begun.elapsed());
                    break;
                }
                // It may be their fault, and nothing is to wait for them.
                Err(error) if !self.group.chores.is_empty() => {
                    self.drop_chores(error);
                    continue;
                }
                Err(error) if stopping => return Err(self.give_up(error)),
                Err(error) => self.tell(&error, begun),
            }
            stopping = self.stop_sign.wait(pause);
            pause = LONGEST_PAUSE.min(pause * 2);
        }
        for done in self.group.flushed.drain(..) {
            // Whoever asked may have gone.
            let _ = done.send(());
        }
        self.group.urgent = false;
        Ok(())
    }

    /// Tells those who asked for chores what they gave; they may have gone.
    fn answer_chores(&mut self, done: Vec<usize>) {
        self.group.chores.clear();
        for (asked, done) in self.group.asked.drain(..).zip(done) {
            let _ = asked.send(Ok(done));
        }
    }

    /// Leaves the chores out; the first who asked learns why.
    fn drop_chores(&mut self, error: StoreError) {
        self.group.chores.clear();
        let mut why = Some(error);
        for asked in self.group.asked.drain(..) {
            let _ = asked.send(Err(why.take().unwrap_or(StoreError::ChoreDropped)));
        }
    }

    /// Counts what has been committed, hands it back, and begins a new group.
    fn settle(&mut self, counts: Counts, commit_time: Duration) {
        self.count(counts, commit_time);
        let mut emptied = mem::take(&mut self.group.batches);
        let only_chores = emptied.is_empty() && self.group.delivered.is_empty();
        self.group.delivered.clear();
        self.group.rows = 0;
        let mut acks = Vec::with_capacity(emptied.iter().map(|batch| batch.acks.len()).sum());
        for batch in &mut emptied {
            acks.append(&mut batch.acks);
            batch.clear();
        }
        if only_chores {
            return;
        }
        (self.after_commit)(Receipt {
            acks,
            emptied,
            counts,
            commit_time,
        });
    }

    fn count(&mut self, counts: Counts, commit_time: Duration) {
        let stats = &self.stats;
        stats.rows_stored.fetch_add(counts.stored, Relaxed);
        stats.duplicates.fetch_add(counts.duplicates, Relaxed);
        stats.conflicts.fetch_add(counts.conflicts, Relaxed);
        stats.refused.fetch_add(counts.refused, Relaxed);
        stats
            .journal_conflicts
            .fetch_add(counts.journal_conflicts, Relaxed);
        stats
            .outbox_dropped
            .fetch_add(counts.outbox_dropped, Relaxed);
        stats.put_aside.fetch_add(counts.put_aside, Relaxed);
        stats.expired.fetch_add(counts.expired, Relaxed);
        stats
            .outbox_depth
            .store(self.committer.outbox_depth(), Relaxed);
        stats.commits.fetch_add(1, Relaxed);
        stats
            .commit_number
            .store(self.committer.commit_number(), Release);
        let micros = u64::try_from(commit_time.as_micros()).unwrap_or(u64::MAX);
        stats.last_commit_us.store(micros, Relaxed);
        stats.commit_times.observe(commit_time);
        tracing::debug!(rows = self.group.rows, micros, "committed");
        if stats.failing.swap(false, Relaxed) {
            tracing::info!(rows = self.group.rows, "the store can write again");
        }
    }

    /// Counts a failed attempt and says so, but not each time.
    fn tell(&mut self, error: &StoreError, now: Instant) {
        self.stats.write_errors.fetch_add(1, Relaxed);
        self.stats.failing.store(true, Relaxed);
        if self
            .last_told
            .is_none_or(|told| now.duration_since(told) >= TELL_EVERY)
        {
            self.last_told = Some(now);
            tracing::error!(
                %error,
                waiting_rows = self.group.rows,
                "nothing is acknowledged until the store can write"
            );
        }
    }

    fn give_up(&self, error: StoreError) -> StoreError {
        self.stats.write_errors.fetch_add(1, Relaxed);
        StoreError::Unwritten {
            rows: self.group.rows,
            source: Box::new(error),
        }
    }
}
