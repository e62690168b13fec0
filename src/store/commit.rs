//! One transaction: everything that has been collected, or nothing.

use rusqlite::{Connection, Transaction, TransactionBehavior};

use super::error::StoreError;
use super::followers::{Followers, Touched};
use super::frontiers::Frontiers;
use super::open::Store;
use super::outbox::Depths;
use super::rows::{Batch, Counts, CursorRow, JournalRow, RecentRow, SnapshotRow};
use super::samples::Samples;
use super::series::SeriesMap;
use super::spans::Spans;
use super::work::Chore;

/// Holds the store for writing.
pub(super) struct Committer {
    store: Store,
    samples: Samples,
    /// Rows that the outbox may hold.
    outbox_limit: usize,
    /// What waits to be sent.
    depths: Depths,
    /// Who reads along.
    followers: Followers,
}

impl Committer {
    pub(super) fn new(
        store: Store,
        series: SeriesMap,
        outbox_limit: usize,
    ) -> Result<Committer, StoreError> {
        let depths =
            Depths::count(&store.connection).map_err(StoreError::doing("count its outbox"))?;
        let followers =
            Followers::load(&store.connection).map_err(StoreError::doing("read who follows it"))?;
        let frontiers = Frontiers::read(&store.connection)
            .map_err(StoreError::doing("see how far it is packed"))?;
        Ok(Committer {
            store,
            samples: Samples::new(series, frontiers),
            outbox_limit,
            depths,
            followers,
        })
    }

    /// Messages in the outbox.
    pub(super) fn outbox_depth(&self) -> usize {
        self.depths.outbox
    }

    /// The number of the newest commit, counted from the start.
    pub(super) fn commit_number(&self) -> u64 {
        self.followers.commit_number()
    }

    /// Commits the batches, in their order, takes delivered messages out of the
    /// outbox, and does the chores. After an error nothing has happened, and the
    /// same call may be made again. Gives what each chore gave besides.
    pub(super) fn commit<A>(
        &mut self,
        batches: &[Batch<A>],
        delivered: &[i64],
        chores: &[Chore],
    ) -> Result<(Counts, Vec<usize>), StoreError> {
        let transaction =
            begin(&mut self.store.connection).map_err(StoreError::doing("begin a transaction"))?;
        let mut touched = Touched::new();
        let is_followed = !self.followers.is_empty();
        let samples = &mut self.samples;
        samples.follow(is_followed);
        let together = batches.iter().filter(|batch| batch.tally.is_none());
        let mut counts = samples.write(&transaction, together.flat_map(|batch| &batch.samples))?;
        let mut apart = Vec::new();
        for batch in batches {
            if let Some(tally) = &batch.tally {
                let own = samples.write(&transaction, &batch.samples)?;
                counts.add_samples(own);
                apart.push((tally, own));
            }
        }
        touched.values = samples.touched();
        let mut depths = self.depths;
        depths
            .write(
                &transaction,
                batches,
                delivered,
                self.outbox_limit,
                &mut counts,
            )
            .map_err(StoreError::doing("write its outbox"))?;
        for batch in batches {
            let touched = is_followed.then_some(&mut touched.journal);
            counts.journal_conflicts += journal(&transaction, &batch.journal, touched)
                .map_err(StoreError::doing("write its journal"))?;
            snapshots(&transaction, &batch.snapshots)
                .map_err(StoreError::doing("write snapshots"))?;
            recent(&transaction, &batch.recent)
                .map_err(StoreError::doing("write recent messages"))?;
            cursors(&transaction, &batch.cursors).map_err(StoreError::doing("move cursors"))?;
        }
        let steps = batches.iter().flat_map(|batch| &batch.followed);
        let followers = self.followers.after(&touched, steps);
        if let Some(list) = &followers {
            self.followers
                .write(&transaction, list)
                .map_err(StoreError::doing("note where its followers stand"))?;
        }
        let done: rusqlite::Result<Vec<usize>> =
            chores.iter().map(|chore| chore(&transaction)).collect();
        let done = done.map_err(StoreError::doing("put settled readings in order"))?;
        let frontiers = (!chores.is_empty())
            .then(|| Frontiers::read(&transaction))
            .transpose()
            .map_err(StoreError::doing("see how far it is packed"))?;
        transaction
            .commit()
            .map_err(StoreError::doing("commit a transaction"))?;
        self.depths = depths;
        self.followers.settle(followers, touched);
        if let Some(frontiers) = frontiers {
            self.samples.go_on(frontiers);
        }
        for (tally, own) in apart {
            // A batch is committed once; a tally that two share keeps the first.
            let _ = tally.set(own);
        }
        Ok((counts, done))
    }

    /// Closes the store in good order.
    pub(super) fn close(self) -> Result<(), StoreError> {
        self.store.close()
    }
}

fn begin(connection: &mut Connection) -> rusqlite::Result<Transaction<'_>> {
    connection.transaction_with_behavior(TransactionBehavior::Immediate)
}

/// Gives the number of lines whose key was taken by another content.
fn journal(
    transaction: &Transaction<'_>,
    rows: &[JournalRow],
    mut touched: Option<&mut Spans>,
) -> rusqlite::Result<u64> {
    let mut conflicts = 0;
    if rows.is_empty() {
        return Ok(conflicts);
    }
    let mut insert = transaction.prepare_cached(
        "INSERT INTO journal (time, sump, seq, kind, body)
         VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
    )?;
    let mut same = transaction.prepare_cached(
        "SELECT 1 FROM journal
         WHERE time = ?1 AND sump = ?2 AND seq = ?3 AND kind = ?4 AND body = ?5",
    )?;
    for row in rows {
        let line = (
            row.time.millis(),
            &row.sump,
            row.seq as i64,
            row.kind,
            &row.body,
        );
        if insert.execute(line)? == 1 {
            if let Some(touched) = &mut touched {
                touched.add_time(row.time);
            }
        } else if !same.exists(line)? {
            conflicts += 1;
        }
    }
    Ok(conflicts)
}

fn snapshots(transaction: &Transaction<'_>, rows: &[SnapshotRow]) -> rusqlite::Result<()> {
    for row in rows {
        transaction
            .prepare_cached(
                "INSERT INTO snapshots (sump, time, body) VALUES (?1, ?2, ?3)
                 ON CONFLICT (sump) DO UPDATE SET time = excluded.time, body = excluded.body",
            )?
            .execute((&row.sump, row.time.millis(), &row.body))?;
    }
    Ok(())
}

fn recent(transaction: &Transaction<'_>, rows: &[RecentRow]) -> rusqlite::Result<()> {
    for row in rows {
        transaction
            .prepare_cached(
                "INSERT INTO recent_messages (source, packet, hash, seq) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT (source, packet) DO UPDATE SET hash = excluded.hash, seq = excluded.seq
                 WHERE excluded.seq > recent_messages.seq",
            )?
            .execute((
                &row.source,
                row.packet,
                row.hash.cast_signed(),
                row.seq.cast_signed(),
            ))?;
    }
    Ok(())
}

fn cursors(transaction: &Transaction<'_>, rows: &[CursorRow]) -> rusqlite::Result<()> {
    for row in rows {
        let Some(position) = row.position else {
            transaction
                .prepare_cached("DELETE FROM cursors WHERE name = ?1")?
                .execute([&row.name])?;
            continue;
        };
        transaction
            .prepare_cached(
                "INSERT INTO cursors (name, position, moved_at) VALUES (?1, ?2, ?3)
                 ON CONFLICT (name) DO UPDATE
                 SET position = excluded.position, moved_at = excluded.moved_at",
            )?
            .execute((&row.name, position.cast_signed(), row.moved_at.millis()))?;
    }
    Ok(())
}
