//! Values of all series together, within one transaction. Who reads on and on
//! through time comes to the same blocks again, so some are kept unpacked.

use std::collections::HashMap;
use std::sync::Arc;

use rusqlite::Transaction;

use super::super::error::StoreError;
use super::super::series::{SeriesId, SeriesKind};
use super::settled::{Block, packed_to, reading_blocks, rows, unpack};
use super::{Reader, StoredReading};

/// Values that are kept unpacked. Bounds the memory to some 40 MB.
const KEPT: usize = 1_000_000;

/// Which block: its series, first time and number of values.
type Key = (i64, i64, i64);

/// Blocks that were unpacked lately.
#[derive(Debug, Default)]
pub(super) struct Unpacked {
    blocks: HashMap<Key, Arc<Vec<StoredReading>>>,
    values: usize,
}

impl Unpacked {
    /// Takes a block in; where there are too many, all others go.
    fn keep(&mut self, key: Key, values: &Arc<Vec<StoredReading>>) {
        if self.values + values.len() > KEPT {
            self.blocks.clear();
            self.values = 0;
        }
        self.values += values.len();
        self.blocks.insert(key, Arc::clone(values));
    }
}

impl Reader {
    /// All values with `from <= time < to`, of one kind or of both, in no order.
    pub(super) fn gathered(
        &self,
        from: i64,
        to: i64,
        kind: Option<SeriesKind>,
    ) -> Result<Vec<StoredReading>, StoreError> {
        let kind = kind.map(SeriesKind::name);
        self.at_once(|transaction| {
            let packed_to = packed_to(transaction)?;
            let mut found = rows(
                transaction,
                "SELECT series, time, value, quality, delay FROM readings
                 WHERE time >= ?1 AND time < ?2
                   AND series IN (SELECT id FROM series WHERE ?3 IS NULL OR kind = ?3)",
                (from.max(packed_to), to, kind),
            )?;
            found.extend(rows(
                transaction,
                "SELECT series, time, value, quality, delay FROM late_readings
                 WHERE time >= ?1 AND time < ?2
                   AND series IN (SELECT id FROM series WHERE ?3 IS NULL OR kind = ?3)",
                (from, to, kind),
            )?);
            let to = to.min(packed_to);
            if from < to {
                for (id, key) in blocks(transaction, from, to, kind)? {
                    let values = self.unpacked(transaction, id, key)?;
                    let begin = values.partition_point(|one| one.time.millis() < from);
                    let end = values.partition_point(|one| one.time.millis() < to);
                    found.extend_from_slice(&values[begin..end]);
                }
            }
            Ok(found)
        })
    }

    fn unpacked(
        &self,
        transaction: &Transaction<'_>,
        id: i64,
        key: Key,
    ) -> Result<Arc<Vec<StoredReading>>, StoreError> {
        if let Some(known) = self.unpacked.borrow().blocks.get(&key) {
            return Ok(Arc::clone(known));
        }
        let block = transaction
            .prepare_cached("SELECT first, last, body FROM blocks WHERE id = ?1")
            .and_then(|mut select| {
                select.query_row([id], |row| {
                    Ok(Block {
                        first: row.get(0)?,
                        last: row.get(1)?,
                        body: row.get(2)?,
                    })
                })
            })
            .map_err(reading_blocks())?;
        let values = Arc::new(unpack(SeriesId(key.0), &block)?);
        self.unpacked.borrow_mut().keep(key, &values);
        Ok(values)
    }
}

/// The blocks that may hold values of `from <= time < to`, by id and key.
fn blocks(
    transaction: &Transaction<'_>,
    from: i64,
    to: i64,
    kind: Option<&str>,
) -> Result<Vec<(i64, Key)>, StoreError> {
    transaction
        .prepare_cached(
            "SELECT blocks.id, blocks.series, first, count FROM series
             JOIN blocks ON blocks.series = series.id AND first < ?2
              AND first >= coalesce((SELECT max(first) FROM blocks AS around
                                     WHERE around.series = series.id AND first <= ?1), ?1)
             WHERE last >= ?1 AND (?3 IS NULL OR kind = ?3)",
        )
        .and_then(|mut select| {
            select
                .query_map((from, to, kind), |row| {
                    Ok((row.get(0)?, (row.get(1)?, row.get(2)?, row.get(3)?)))
                })?
                .collect()
        })
        .map_err(reading_blocks())
}
