//! Packed values, late ones and recent ones of a series, put together as if they
//! were one table. Everything here happens within one transaction.

use rusqlite::Transaction;

use crate::engine::Quality;
use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::super::frontiers::Frontiers;
use super::super::packing;
use super::super::series::SeriesId;
use super::values::reading;
use super::{Reader, StoredReading};

/// Rows read in one transaction.
const ROWS: i64 = 10_000;

/// Some values of a series, by time, and where to go on.
pub(super) struct Piece {
    pub(super) values: Vec<StoredReading>,
    /// Nothing where this was the last.
    pub(super) next: Option<i64>,
}

impl Reader {
    /// Reads within one short transaction.
    pub(in crate::store) fn at_once<T>(
        &self,
        read: impl FnOnce(&Transaction<'_>) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        let transaction = self.connection.unchecked_transaction();
        let transaction = transaction.map_err(StoreError::doing("begin to read"))?;
        let found = read(&transaction)?;
        let ended = transaction.finish();
        ended.map_err(StoreError::doing("end reading"))?;
        Ok(found)
    }

    /// The first values of one series with `from <= time < to`.
    pub(super) fn piece(&self, series: SeriesId, from: i64, to: i64) -> Result<Piece, StoreError> {
        self.at_once(|transaction| piece(transaction, series, from, to))
    }
}

fn piece(
    transaction: &Transaction<'_>,
    series: SeriesId,
    from: i64,
    to: i64,
) -> Result<Piece, StoreError> {
    let packed_to = packed_to(transaction)?;
    if from >= packed_to {
        let recent = rows(
            transaction,
            "SELECT series, time, value, quality, delay FROM readings
             WHERE time >= ?2 AND time < ?3 AND series = ?1 ORDER BY time LIMIT ?4",
            (series.0, from, to, ROWS),
        )?;
        let end = end_of(&recent, to);
        return with_late(transaction, series, (from, end, to), recent);
    }
    match block(transaction, series, from, to.min(packed_to))? {
        None => with_late(
            transaction,
            series,
            (from, to.min(packed_to), to),
            Vec::new(),
        ),
        Some(found) => {
            let end = to.min(found.last.saturating_add(1));
            let values = within(unpack(series, &found)?, from, end);
            with_late(transaction, series, (from, end, to), values)
        }
    }
}

/// Where the time ends that these rows stand for.
fn end_of(rows: &[StoredReading], to: i64) -> i64 {
    match rows.last() {
        Some(last) if rows.len() == ROWS as usize => last.time.millis() + 1,
        _ => to,
    }
}

/// Adds the late ones of `from <= time < end` to the values of this time; where
/// they are too many, the piece ends before.
fn with_late(
    transaction: &Transaction<'_>,
    series: SeriesId,
    (from, end, to): (i64, i64, i64),
    mut values: Vec<StoredReading>,
) -> Result<Piece, StoreError> {
    let late = rows(
        transaction,
        "SELECT series, time, value, quality, delay FROM late_readings
         WHERE series = ?1 AND time >= ?2 AND time < ?3 ORDER BY time LIMIT ?4",
        (series.0, from, end, ROWS),
    )?;
    let end = end_of(&late, end);
    if !late.is_empty() {
        values.retain(|one| one.time.millis() < end);
        values.extend(late);
        values.sort_unstable_by_key(|one| one.time);
    }
    Ok(Piece {
        values,
        next: (end < to).then_some(end),
    })
}

/// A block as it lies in the store.
pub(super) struct Block {
    pub(super) first: i64,
    pub(super) last: i64,
    pub(super) body: Vec<u8>,
}

/// The block in which `from` lies, or else the next that begins before `to`.
fn block(
    transaction: &Transaction<'_>,
    series: SeriesId,
    from: i64,
    to: i64,
) -> Result<Option<Block>, StoreError> {
    let ask = |sql: &str, end: i64| {
        let mut select = transaction.prepare_cached(sql)?;
        let mut found = select.query((series.0, from, end))?;
        let Some(row) = found.next()? else {
            return Ok(None);
        };
        Ok(Some(Block {
            first: row.get(0)?,
            last: row.get(1)?,
            body: row.get(2)?,
        }))
    };
    let around = ask(
        "SELECT first, last, body FROM blocks
         WHERE series = ?1 AND first <= ?2 AND first < ?3 ORDER BY first DESC LIMIT 1",
        to,
    );
    let around: Option<Block> = around.map_err(reading_blocks())?;
    if let Some(around) = around.filter(|one| one.last >= from) {
        return Ok(Some(around));
    }
    ask(
        "SELECT first, last, body FROM blocks
         WHERE series = ?1 AND first > ?2 AND first < ?3 ORDER BY first LIMIT 1",
        to,
    )
    .map_err(reading_blocks())
}

/// The values of a block.
pub(super) fn unpack(series: SeriesId, block: &Block) -> Result<Vec<StoredReading>, StoreError> {
    let values = packing::unpack(&block.body).map_err(|source| StoreError::Block {
        series: series.0,
        first: Timestamp::from_millis(block.first),
        source,
    })?;
    let stored = values.into_iter().map(|one| StoredReading {
        series,
        time: Timestamp::from_millis(one.time),
        value: one.value,
        quality: Quality::from_bits(one.quality),
        delay: Span::from_millis(one.delay),
    });
    Ok(stored.collect())
}

/// Those of `from <= time < to` out of values by time.
fn within(mut values: Vec<StoredReading>, from: i64, to: i64) -> Vec<StoredReading> {
    values.truncate(values.partition_point(|one| one.time.millis() < to));
    values.drain(..values.partition_point(|one| one.time.millis() < from));
    values
}

pub(super) fn rows(
    transaction: &Transaction<'_>,
    sql: &str,
    params: impl rusqlite::Params,
) -> Result<Vec<StoredReading>, StoreError> {
    transaction
        .prepare_cached(sql)
        .and_then(|mut select| select.query_map(params, reading)?.collect())
        .map_err(StoreError::doing("read readings"))
}

pub(super) fn packed_to(transaction: &Transaction<'_>) -> Result<i64, StoreError> {
    let frontiers = Frontiers::read(transaction);
    Ok(frontiers
        .map_err(StoreError::doing("see how far it is packed"))?
        .packed_to)
}

pub(super) fn reading_blocks() -> impl FnOnce(rusqlite::Error) -> StoreError {
    StoreError::doing("read blocks")
}
