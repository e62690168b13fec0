//! Blocks on their way into the store.

use rusqlite::{Connection, OptionalExtension, Row};

use crate::engine::Quality;
use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::packing::{self, MOST, Packed, Packer};

/// Values that a block holds at most. Choice: larger ones gain under one part
/// in a hundred, and take longer to be drawn from (`benches/store_pack`).
pub(super) const BLOCK: usize = MOST;

/// A block with fewer is joined with others.
pub(super) const SMALL: usize = BLOCK / 2;

/// Bytes and blocks that are written in one transaction.
pub(super) const BYTES_AT_ONCE: usize = 64 << 10;
pub(super) const BLOCKS_AT_ONCE: usize = 64;

/// A block that is not in the store yet.
pub(super) struct NewBlock {
    series: i64,
    first: i64,
    last: i64,
    count: usize,
    live: Option<i64>,
    body: Vec<u8>,
}

impl NewBlock {
    /// These values in blocks of about the same size.
    pub(super) fn all_of(packer: &mut Packer, series: i64, values: &[Packed]) -> Vec<NewBlock> {
        let blocks = values.len().div_ceil(BLOCK).max(1);
        let size = values.len().div_ceil(blocks).max(1);
        let chunks = values.chunks(size);
        chunks
            .map(|values| NewBlock::of(packer, series, values))
            .collect()
    }

    fn of(packer: &mut Packer, series: i64, values: &[Packed]) -> NewBlock {
        let live = values
            .iter()
            .find(|one| !Quality::from_bits(one.quality).has(Quality::LATE));
        NewBlock {
            series,
            first: values[0].time,
            last: values[values.len() - 1].time,
            count: values.len(),
            live: live.map(|one| one.time),
            body: packer.pack(values),
        }
    }

    /// Bytes of its body.
    pub(super) fn size(&self) -> usize {
        self.body.len()
    }

    pub(super) fn insert(&self, connection: &Connection) -> rusqlite::Result<usize> {
        connection
            .prepare_cached(
                "INSERT INTO blocks (series, first, last, count, live, body)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute((
                self.series,
                self.first,
                self.last,
                self.count as i64,
                self.live,
                &self.body,
            ))
    }
}

/// A block of the store.
pub(super) struct OldBlock {
    pub(super) id: i64,
    series: i64,
    first: i64,
    pub(super) last: i64,
    pub(super) count: usize,
    body: Vec<u8>,
}

impl OldBlock {
    /// The columns that [`OldBlock::read`] wants.
    pub(super) const COLUMNS: &'static str = "id, series, first, last, count, body";

    pub(super) fn read(row: &Row<'_>) -> rusqlite::Result<OldBlock> {
        Ok(OldBlock {
            id: row.get(0)?,
            series: row.get(1)?,
            first: row.get(2)?,
            last: row.get(3)?,
            count: row.get::<_, i64>(4)? as usize,
            body: row.get(5)?,
        })
    }

    /// The last block of a series that begins at `time` or before.
    pub(super) fn up_to(
        connection: &Connection,
        series: i64,
        time: i64,
    ) -> rusqlite::Result<Option<OldBlock>> {
        let columns = OldBlock::COLUMNS;
        let sql = format!(
            "SELECT {columns} FROM blocks WHERE series = ?1 AND first <= ?2
             ORDER BY first DESC LIMIT 1"
        );
        connection
            .prepare_cached(&sql)?
            .query_row((series, time), OldBlock::read)
            .optional()
    }

    pub(super) fn unpack(&self) -> Result<Vec<Packed>, StoreError> {
        packing::unpack(&self.body).map_err(|source| StoreError::Block {
            series: self.series,
            first: Timestamp::from_millis(self.first),
            source,
        })
    }
}

/// Deletes a block; gives 0 where it is not there.
pub(super) fn remove(connection: &Connection, id: i64) -> rusqlite::Result<usize> {
    connection
        .prepare_cached("DELETE FROM blocks WHERE id = ?1")?
        .execute([id])
}
