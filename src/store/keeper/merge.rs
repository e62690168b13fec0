//! Merging: late values go into the blocks around them, and small blocks into
//! larger ones.

use rusqlite::{OptionalExtension, Transaction};

use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::super::frontiers::Frontiers;
use super::super::packing::Packed;
use super::Keeper;
use super::block::{self, BLOCK, BYTES_AT_ONCE, NewBlock, OldBlock, SMALL};

/// Late values wait so long for others, as each merge writes a block again …
const WAIT: Span = Span::from_mins(10);

/// … unless there are so many.
const MANY: i64 = 20_000;

/// So many small blocks are joined, however small.
const JOINED_AT_LAST: usize = 16;

/// Blocks that are joined in one transaction: one that goes touches the pages that it
/// leaves free.
const JOINED_AT_ONCE: usize = 24;

/// One hour, ms.
const HOUR: i64 = 3_600_000;

/// What is to be merged: late values, and the block that they go with.
struct Late {
    series: i64,
    block: Option<OldBlock>,
    values: Vec<Packed>,
    rolled_to: i64,
}

/// The blocks that go, and those that come in their place.
type Joined = (Vec<i64>, Vec<NewBlock>);

impl<A: Send + 'static> Keeper<A> {
    /// Merges all late values of packed time, now and then.
    pub(super) fn merge_late(&mut self, now: Timestamp) -> Result<(), StoreError> {
        let waited = self
            .merged
            .is_none_or(|then| now - then >= WAIT || now < then);
        if !waited && self.late_values(MANY)? < MANY as u64 {
            return Ok(());
        }
        self.merged = Some(now);
        let mut after = (i64::MIN, i64::MIN);
        while let Some(late) = self.next_late(after)? {
            let last = late.values[late.values.len() - 1].time;
            after = (late.series, last);
            if let Err(error) = self.merge(late) {
                match error {
                    // The late ones stay beside it, and are read from there.
                    StoreError::Block { .. } => {
                        tracing::error!(%error, "late values stay unpacked")
                    }
                    other => return Err(other),
                }
            }
        }
        Ok(())
    }

    /// Number of late values, counted up to `most`.
    pub(super) fn late_values(&self, most: i64) -> Result<u64, StoreError> {
        self.reader.count(
            "SELECT count(*) FROM (SELECT 1 FROM late_readings LIMIT ?1)",
            [most],
        )
    }

    fn next_late(&self, after: (i64, i64)) -> Result<Option<Late>, StoreError> {
        self.reader.at_once(|transaction| {
            next_late(transaction, after).map_err(StoreError::doing("look for late readings"))
        })
    }

    fn merge(&mut self, late: Late) -> Result<(), StoreError> {
        let Late {
            series,
            block,
            values: late,
            rolled_to,
        } = late;
        let mut values = block.as_ref().map_or(Ok(Vec::new()), OldBlock::unpack)?;
        values.extend(&late);
        values.sort_unstable_by_key(|one| one.time);
        let blocks = NewBlock::all_of(&mut self.packer, series, &values);
        let replaced = block.map(|block| block.id);
        let (from, to) = (late[0].time, late[late.len() - 1].time);
        let mut hours: Vec<i64> = late
            .iter()
            .map(|one| one.time.div_euclid(HOUR) * HOUR)
            .collect();
        hours.dedup();
        hours.retain(|hour| *hour < rolled_to);
        self.chore(Box::new(move |transaction| {
            let among = (series, from, to);
            // One more may have come since; then it is done another time.
            if count_late(transaction, among)? != late.len() as i64 {
                return Ok(0);
            }
            if let Some(id) = replaced
                && block::remove(transaction, id)? == 0
            {
                return Ok(0);
            }
            for block in &blocks {
                block.insert(transaction)?;
            }
            for hour in &hours {
                roll_again(transaction, series, *hour)?;
            }
            transaction
                .prepare_cached(
                    "DELETE FROM late_readings WHERE series = ?1 AND time BETWEEN ?2 AND ?3",
                )?
                .execute(among)
        }))?;
        Ok(())
    }

    /// Joins the last blocks of these series where they are small.
    pub(super) fn join(&mut self, series: &[i64]) -> Result<(), StoreError> {
        let (mut removed, mut added, mut bytes) = (Vec::new(), Vec::new(), 0);
        for one in series {
            let Some((ids, blocks)) = self.joined(*one)? else {
                continue;
            };
            bytes += blocks.iter().map(NewBlock::size).sum::<usize>();
            removed.extend(ids);
            added.extend(blocks);
            if bytes >= BYTES_AT_ONCE || removed.len() >= JOINED_AT_ONCE {
                bytes = 0;
                self.replace(std::mem::take(&mut removed), std::mem::take(&mut added))?;
            }
        }
        self.replace(removed, added)
    }

    fn replace(&self, removed: Vec<i64>, added: Vec<NewBlock>) -> Result<(), StoreError> {
        if removed.is_empty() {
            return Ok(());
        }
        self.chore(Box::new(move |transaction| {
            for id in &removed {
                block::remove(transaction, *id)?;
            }
            added.iter().map(|block| block.insert(transaction)).sum()
        }))?;
        Ok(())
    }

    /// The small blocks at the end of a series, and what they become together.
    fn joined(&mut self, series: i64) -> Result<Option<Joined>, StoreError> {
        let small = self.reader.at_once(|transaction| {
            small_blocks(transaction, series).map_err(StoreError::doing("look for small blocks"))
        })?;
        let count: usize = small.iter().map(|block| block.count).sum();
        if small.len() < 2 || (count < BLOCK / 4 * 3 && small.len() < JOINED_AT_LAST) {
            return Ok(None);
        }
        let mut values = Vec::with_capacity(count);
        for block in small.iter().rev() {
            match block.unpack() {
                Ok(unpacked) => values.extend(unpacked),
                Err(error) => {
                    tracing::error!(%error, "small blocks stay as they are");
                    return Ok(None);
                }
            }
        }
        let blocks = NewBlock::all_of(&mut self.packer, series, &values);
        let ids = small.iter().map(|block| block.id).collect();
        Ok(Some((ids, blocks)))
    }
}

fn next_late(transaction: &Transaction<'_>, after: (i64, i64)) -> rusqlite::Result<Option<Late>> {
    let Frontiers {
        packed_to,
        rolled_to,
        ..
    } = Frontiers::read(transaction)?;
    let found: Option<(i64, i64)> = transaction
        .prepare_cached(
            "SELECT series, time FROM late_readings
             WHERE (series, time) > (?1, ?2) AND time < ?3 ORDER BY series, time LIMIT 1",
        )?
        .query_row((after.0, after.1, packed_to), |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .optional()?;
    let Some((series, time)) = found else {
        return Ok(None);
    };
    let next: Option<i64> = transaction
        .prepare_cached("SELECT min(first) FROM blocks WHERE series = ?1 AND first > ?2")?
        .query_row((series, time), |row| row.get(0))?;
    let end = next.map_or(packed_to, |next| next.min(packed_to));
    let block = OldBlock::up_to(transaction, series, time)?;
    let block = block.filter(|block| time <= block.last || block.count < SMALL);
    let mut select = transaction.prepare_cached(
        "SELECT time, value, quality, delay FROM late_readings
         WHERE series = ?1 AND time >= ?2 AND time < ?3 ORDER BY time LIMIT ?4",
    )?;
    let values = select.query_map((series, time, end, BLOCK as i64), |row| {
        Ok(Packed {
            time: row.get(0)?,
            value: row.get(1)?,
            quality: row.get(2)?,
            delay: row.get(3)?,
        })
    })?;
    let values = values.collect::<rusqlite::Result<Vec<_>>>()?;
    Ok(Some(Late {
        series,
        block,
        values,
        rolled_to,
    }))
}

fn count_late(
    transaction: &Transaction<'_>,
    (series, from, to): (i64, i64, i64),
) -> rusqlite::Result<i64> {
    transaction
        .prepare_cached(
            "SELECT count(*) FROM late_readings WHERE series = ?1 AND time BETWEEN ?2 AND ?3",
        )?
        .query_row((series, from, to), |row| row.get(0))
}

fn roll_again(transaction: &Transaction<'_>, series: i64, hour: i64) -> rusqlite::Result<usize> {
    transaction
        .prepare_cached(
            "INSERT INTO rollup_due (series, hour) VALUES (?1, ?2) ON CONFLICT DO NOTHING",
        )?
        .execute((series, hour))
}

/// The last blocks of a series, the newest first, as long as they are small.
fn small_blocks(transaction: &Transaction<'_>, series: i64) -> rusqlite::Result<Vec<OldBlock>> {
    let packed_to = Frontiers::read(transaction)?.packed_to;
    let columns = OldBlock::COLUMNS;
    let sql = format!(
        "SELECT {columns} FROM blocks WHERE series = ?1 AND first < ?2
         ORDER BY first DESC LIMIT ?3"
    );
    let mut select = transaction.prepare_cached(&sql)?;
    let mut rows = select.query((series, packed_to, JOINED_AT_LAST as i64))?;
    let mut small = Vec::new();
    while let Some(row) = rows.next()? {
        if row.get::<_, i64>(4)? >= SMALL as i64 {
            break;
        }
        small.push(OldBlock::read(row)?);
    }
    Ok(small)
}
