//! One transaction: everything that has been collected, or nothing.

use rusqlite::{Connection, Transaction, TransactionBehavior};

use crate::engine::Sample;

use super::error::StoreError;
use super::followers::{Followers, Touched};
use super::open::Store;
use super::outbox::Depths;
use super::rows::{Batch, Counts, CursorRow, JournalRow, RecentRow, SnapshotRow};
use super::series::{SeriesId, SeriesMap};
use super::spans::Spans;

/// Holds the store for writing.
pub(super) struct Committer {
    store: Store,
    series: SeriesMap,
    /// Rows that the outbox may hold.
    outbox_limit: usize,
    /// What waits to be sent.
    depths: Depths,
    /// Who reads along.
    followers: Followers,
    /// The samples of the transaction, put in the order of the table.
    sorted: Vec<(SeriesId, Sample)>,
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
        Ok(Committer {
            store,
            series,
            outbox_limit,
            depths,
            followers,
            sorted: Vec::new(),
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

    /// Commits the batches, in their order, and takes delivered messages out
    /// of the outbox. After an error nothing has happened, and the same call
    /// may be made again.
    pub(super) fn commit<A>(
        &mut self,
        batches: &[Batch<A>],
        delivered: &[i64],
    ) -> Result<Counts, StoreError> {
        let transaction =
            begin(&mut self.store.connection).map_err(StoreError::doing("begin a transaction"))?;
        let mut touched = Touched::new();
        let is_followed = !self.followers.is_empty();
        let mut samples = Samples {
            transaction: &transaction,
            series: &self.series,
            sorted: &mut self.sorted,
            touched: is_followed.then_some(&mut touched.values),
        };
        let together = batches.iter().filter(|batch| batch.tally.is_none());
        let mut counts = samples.write(together.flat_map(|batch| &batch.samples))?;
        let mut apart = Vec::new();
        for batch in batches {
            if let Some(tally) = &batch.tally {
                let own = samples.write(&batch.samples)?;
                counts.add_samples(own);
                apart.push((tally, own));
            }
        }
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
        transaction
            .commit()
            .map_err(StoreError::doing("commit a transaction"))?;
        self.depths = depths;
        self.followers.settle(followers, touched);
        for (tally, own) in apart {
            // A batch is committed once; a tally that two share keeps the first.
            let _ = tally.set(own);
        }
        Ok(counts)
    }

    /// Closes the store in good order.
    pub(super) fn close(self) -> Result<(), StoreError> {
        self.store.close()
    }
}

/// Writes samples in one transaction.
struct Samples<'a> {
    transaction: &'a Transaction<'a>,
    series: &'a SeriesMap,
    /// Kept for its memory.
    sorted: &'a mut Vec<(SeriesId, Sample)>,
    /// Gets the times of what is new, where somebody follows.
    touched: Option<&'a mut Spans>,
}

impl Samples<'_> {
    /// Writes these, and gives what became of them.
    fn write<'s>(
        &mut self,
        samples: impl IntoIterator<Item = &'s Sample>,
    ) -> Result<Counts, StoreError> {
        let mut counts = Counts {
            refused: self.sort(samples),
            ..Counts::default()
        };
        let touched = self.touched.as_deref_mut();
        insert(self.transaction, self.sorted, &mut counts, touched)
            .map_err(StoreError::doing("write readings"))?;
        Ok(counts)
    }

    /// Puts the samples in the order of the table, so that each of its pages
    /// is touched once. Samples of one key keep their order: the first stays.
    /// Gives the number of those that cannot be stored.
    fn sort<'s>(&mut self, samples: impl IntoIterator<Item = &'s Sample>) -> u64 {
        self.sorted.clear();
        let mut refused = 0;
        for sample in samples {
            match self.series.id(sample.series) {
                Some(id) if sample.value.is_finite() => self.sorted.push((id, *sample)),
                _ => refused += 1,
            }
        }
        self.sorted.sort_by_key(|(id, sample)| (sample.time, *id));
        refused
    }
}

fn begin(connection: &mut Connection) -> rusqlite::Result<Transaction<'_>> {
    connection.transaction_with_behavior(TransactionBehavior::Immediate)
}

fn insert(
    transaction: &Transaction<'_>,
    sorted: &[(SeriesId, Sample)],
    counts: &mut Counts,
    mut touched: Option<&mut Spans>,
) -> rusqlite::Result<()> {
    let mut insert = transaction.prepare_cached(
        "INSERT INTO readings (time, series, value, quality, delay)
         VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
    )?;
    for (id, sample) in sorted {
        let added = insert.execute((
            sample.time.millis(),
            id.0,
            sample.value,
            sample.quality.bits(),
            sample.delay.millis(),
        ))?;
        if added == 1 {
            counts.stored += 1;
            if let Some(touched) = &mut touched {
                touched.add_time(sample.time);
            }
        } else if kept_value(transaction, *id, sample)? == sample.value {
            counts.duplicates += 1;
        } else {
            counts.conflicts += 1;
        }
    }
    Ok(())
}

fn kept_value(
    transaction: &Transaction<'_>,
    id: SeriesId,
    sample: &Sample,
) -> rusqlite::Result<f64> {
    transaction
        .prepare_cached("SELECT value FROM readings WHERE series = ?1 AND time = ?2")?
        .query_row((id.0, sample.time.millis()), |row| row.get(0))
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
