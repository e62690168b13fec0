//! Packing: recent readings whose time is settled become blocks.
//!
//! A stretch of time is packed for all series together. First it is settled:
//! from then on the writer puts what comes with such a time aside, so that the
//! rows of the stretch stay as they are. Then its blocks are added, unseen, some
//! at a time. One small change then makes the blocks seen and the rows not;
//! afterwards the rows are deleted, some at a time. Stopped at any instant
//! this leaves every value once: blocks that nobody sees yet are deleted when
//! the stretch is begun again.

use std::collections::BTreeMap;
use std::sync::atomic::Ordering::Relaxed;

use rusqlite::{OptionalExtension, Transaction};

use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::super::frontiers::{self, Frontiers, PACKED_TO, SETTLING_TO};
use super::super::packing::Packed;
use super::Keeper;
use super::block::{self, BLOCKS_AT_ONCE, BYTES_AT_ONCE, NewBlock};

/// A stretch ends when it is so long …
const LONGEST: Span = Span::from_hours(24);

/// … or has so many rows; bounds the memory to some ten megabytes.
const MOST_ROWS: i64 = 250_000;

/// So many rows are too many to wait until they are as old as they might be.
const CROWD: i64 = 3_000_000;

/// In a crowd, rows older than this are packed.
const PATIENCE_IN_A_CROWD: Span = Span::from_mins(10);

/// How often the crowd is looked at; counting it takes some 50 ms.
const COUNT_EVERY: Span = Span::from_mins(1);

/// Rows that are deleted in one transaction.
const ROWS_AT_ONCE: usize = 3_000;

/// Whether the rows are too many.
#[derive(Debug, Default)]
pub(super) struct Crowd {
    counted: Option<Timestamp>,
    too_many: bool,
}

impl<A: Send + 'static> Keeper<A> {
    /// Packs one stretch, if there is one; says whether there was.
    pub(super) fn pack(&mut self, now: Timestamp) -> Result<bool, StoreError> {
        self.count_crowd(now)?;
        let patience = if self.crowd.too_many {
            self.setup.pack_after.min(PATIENCE_IN_A_CROWD)
        } else {
            self.setup.pack_after
        };
        let Some(to) = self.stretch((now - patience).millis())? else {
            return Ok(false);
        };
        self.forget_unseen()?;
        self.chore(Box::new(move |transaction| {
            frontiers::advance(transaction, SETTLING_TO, to)
        }))?;
        let by_series = self.rows_before(to)?;
        let packed: Vec<i64> = by_series.keys().copied().collect();
        let values: usize = by_series.values().map(Vec::len).sum();
        self.add_blocks(by_series)?;
        self.chore(Box::new(move |transaction| {
            frontiers::advance(transaction, PACKED_TO, to)
        }))?;
        let stats = self.writer.stats();
        stats.values_packed.fetch_add(values as u64, Relaxed);
        self.drop_rows()?;
        self.join(&packed)?;
        Ok(true)
    }

    fn count_crowd(&mut self, now: Timestamp) -> Result<(), StoreError> {
        let crowd = &mut self.crowd;
        if crowd
            .counted
            .is_some_and(|then| now - then < COUNT_EVERY && now >= then)
        {
            return Ok(());
        }
        crowd.counted = Some(now);
        let found = self.reader.first(
            "SELECT 1 FROM readings ORDER BY time, series LIMIT 1 OFFSET ?1",
            [CROWD],
            |_| Ok(()),
        )?;
        crowd.too_many = found.is_some();
        Ok(())
    }

    /// Where the next stretch ends, all of it before `settled`.
    fn stretch(&self, settled: i64) -> Result<Option<i64>, StoreError> {
        self.reader.at_once(|transaction| {
            next_stretch(transaction, settled).map_err(StoreError::doing("look for what to pack"))
        })
    }

    /// Deletes blocks that were added for a stretch that was not brought to its end.
    fn forget_unseen(&self) -> Result<(), StoreError> {
        let packed_to = self.frontiers()?.packed_to;
        let unseen: Vec<i64> = self.reader.list(
            "SELECT unseen.id FROM series
             JOIN blocks AS unseen ON unseen.series = series.id AND unseen.first >= ?1",
            [packed_to],
            |row| row.get(0),
        )?;
        for some in unseen.chunks(BLOCKS_AT_ONCE) {
            let some = some.to_vec();
            self.chore(Box::new(move |transaction| {
                some.iter().map(|id| block::remove(transaction, *id)).sum()
            }))?;
        }
        Ok(())
    }

    /// The rows of the stretch, by series and time.
    fn rows_before(&self, to: i64) -> Result<BTreeMap<i64, Vec<Packed>>, StoreError> {
        let read = |transaction: &Transaction<'_>| {
            let from = Frontiers::read(transaction)?.packed_to;
            let mut select = transaction.prepare_cached(
                "SELECT series, time, value, quality, delay FROM readings
                 WHERE time >= ?1 AND time < ?2 ORDER BY time",
            )?;
            let mut rows = select.query((from, to))?;
            let mut by_series: BTreeMap<i64, Vec<Packed>> = BTreeMap::new();
            while let Some(row) = rows.next()? {
                by_series.entry(row.get(0)?).or_default().push(Packed {
                    time: row.get(1)?,
                    value: row.get(2)?,
                    quality: row.get(3)?,
                    delay: row.get(4)?,
                });
            }
            Ok(by_series)
        };
        self.reader.at_once(|transaction| {
            read(transaction).map_err(StoreError::doing("read what to pack"))
        })
    }

    fn add_blocks(&mut self, by_series: BTreeMap<i64, Vec<Packed>>) -> Result<(), StoreError> {
        let mut ready: Vec<NewBlock> = Vec::new();
        let mut bytes = 0;
        for (series, values) in by_series {
            for block in NewBlock::all_of(&mut self.packer, series, &values) {
                bytes += block.size();
                ready.push(block);
                if bytes >= BYTES_AT_ONCE || ready.len() >= BLOCKS_AT_ONCE {
                    bytes = 0;
                    self.insert(std::mem::take(&mut ready))?;
                }
            }
        }
        self.insert(ready)
    }

    fn insert(&self, blocks: Vec<NewBlock>) -> Result<(), StoreError> {
        self.chore(Box::new(move |transaction| {
            blocks.iter().map(|block| block.insert(transaction)).sum()
        }))?;
        Ok(())
    }

    /// Deletes rows that are in blocks.
    pub(super) fn drop_rows(&self) -> Result<(), StoreError> {
        while self.chore(Box::new(drop_some_rows))? >= ROWS_AT_ONCE {}
        Ok(())
    }
}

fn next_stretch(transaction: &Transaction<'_>, settled: i64) -> rusqlite::Result<Option<i64>> {
    let from = Frontiers::read(transaction)?.packed_to;
    let oldest: Option<i64> = transaction
        .prepare_cached("SELECT time FROM readings WHERE time >= ?1 ORDER BY time LIMIT 1")?
        .query_row([from], |row| row.get(0))
        .optional()?;
    let Some(oldest) = oldest else {
        return Ok(None);
    };
    let full = oldest.saturating_add(LONGEST.millis());
    let crowded: Option<i64> = transaction
        .prepare_cached(
            "SELECT time FROM readings WHERE time >= ?1 ORDER BY time, series LIMIT 1 OFFSET ?2",
        )?
        .query_row((from, MOST_ROWS), |row| row.get(0))
        .optional()?;
    let end = crowded.map_or(full, |time| full.min(time.max(oldest + 1)));
    Ok((end <= settled).then_some(end))
}

fn drop_some_rows(transaction: &Transaction<'_>) -> rusqlite::Result<usize> {
    let packed_to = Frontiers::read(transaction)?.packed_to;
    let edge: Option<(i64, i64)> = transaction
        .prepare_cached(
            "SELECT time, series FROM readings WHERE time < ?1
             ORDER BY time, series LIMIT 1 OFFSET ?2",
        )?
        .query_row((packed_to, ROWS_AT_ONCE as i64), |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()?;
    transaction
        .prepare_cached("DELETE FROM readings WHERE (time, series) < (?1, ?2)")?
        .execute(edge.unwrap_or((packed_to, i64::MIN)))
}
