//! Writing values, each key once: into the table of recent ones, or beside it
//! where those around them are packed already.

use std::collections::HashMap;

use rusqlite::{OptionalExtension, Transaction};

use crate::engine::Sample;

use super::error::StoreError;
use super::followers::Touched;
use super::frontiers::Frontiers;
use super::packing::{self, Packed};
use super::rows::Counts;
use super::series::{SeriesId, SeriesMap};
use super::spans::Spans;

/// Blocks that are kept unpacked, to look values up in. Bounds the memory to
/// some megabytes.
const UNPACKED: usize = 16;

/// Where to write samples, and what is needed for it.
#[derive(Debug)]
pub(super) struct Samples {
    series: SeriesMap,
    frontiers: Frontiers,
    /// The samples of a call, in the order of the table; kept for its memory.
    sorted: Vec<(SeriesId, Sample)>,
    /// The block last looked into, of some series.
    unpacked: HashMap<SeriesId, Unpacked>,
    /// Times of what is new, where somebody follows.
    touched: Option<Spans>,
}

/// One block, unpacked.
#[derive(Debug)]
struct Unpacked {
    first: i64,
    last: i64,
    values: Vec<Packed>,
}

impl Samples {
    pub(super) fn new(series: SeriesMap, frontiers: Frontiers) -> Self {
        Samples {
            series,
            frontiers,
            sorted: Vec::new(),
            unpacked: HashMap::new(),
            touched: None,
        }
    }

    /// From now on collects the times of what is new, or not.
    pub(super) fn follow(&mut self, is_followed: bool) {
        self.touched = is_followed.then(|| Touched::new().values);
    }

    /// The times of what was new since.
    pub(super) fn touched(&mut self) -> Spans {
        self.touched.take().unwrap_or(Touched::new().values)
    }

    /// Takes note of what a chore changed.
    pub(super) fn go_on(&mut self, frontiers: Frontiers) {
        self.frontiers = frontiers;
        self.unpacked.clear();
    }

    /// Writes these, and gives what became of them.
    pub(super) fn write<'s>(
        &mut self,
        transaction: &Transaction<'_>,
        samples: impl IntoIterator<Item = &'s Sample>,
    ) -> Result<Counts, StoreError> {
        let mut counts = Counts {
            refused: self.sort(samples),
            ..Counts::default()
        };
        let sorted = std::mem::take(&mut self.sorted);
        let late =
            sorted.partition_point(|(_, one)| one.time.millis() < self.frontiers.settling_to);
        let (late, recent) = sorted.split_at(late);
        self.insert_late(transaction, late, &mut counts)?;
        let touched = self.touched.as_mut();
        insert(transaction, recent, &mut counts, touched)
            .map_err(StoreError::doing("write readings"))?;
        self.sorted = sorted;
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

    /// Writes values whose time is settled.
    fn insert_late(
        &mut self,
        transaction: &Transaction<'_>,
        late: &[(SeriesId, Sample)],
        counts: &mut Counts,
    ) -> Result<(), StoreError> {
        for (id, sample) in late {
            let kept = match self.kept(transaction, *id, sample.time.millis())? {
                Some(kept) => Some(kept),
                None => add_late(transaction, *id, sample)
                    .map_err(StoreError::doing("write late readings"))?,
            };
            match kept {
                None => {
                    counts.stored += 1;
                    if let Some(touched) = &mut self.touched {
                        touched.add_time(sample.time);
                    }
                }
                Some(kept) if kept == sample.value => counts.duplicates += 1,
                Some(_) => counts.conflicts += 1,
            }
        }
        Ok(())
    }

    /// The value of a settled time that is kept among the recent ones or in a
    /// block.
    fn kept(
        &mut self,
        transaction: &Transaction<'_>,
        id: SeriesId,
        time: i64,
    ) -> Result<Option<f64>, StoreError> {
        if time >= self.frontiers.packed_to {
            return transaction
                .prepare_cached("SELECT value FROM readings WHERE time = ?1 AND series = ?2")
                .and_then(|mut select| select.query_row((time, id.0), |row| row.get(0)).optional())
                .map_err(StoreError::doing("look a reading up"));
        }
        let known = self.unpacked.get(&id);
        if !known.is_some_and(|one| (one.first..=one.last).contains(&time)) {
            let Some(block) = unpacked_at(transaction, id, time)? else {
                return Ok(None);
            };
            if self.unpacked.len() >= UNPACKED {
                self.unpacked.clear();
            }
            self.unpacked.insert(id, block);
        }
        let values = &self.unpacked[&id].values;
        let place = values.binary_search_by_key(&time, |one| one.time);
        Ok(place.ok().map(|place| values[place].value))
    }
}

/// The block of a series in which this time lies.
fn unpacked_at(
    transaction: &Transaction<'_>,
    id: SeriesId,
    time: i64,
) -> Result<Option<Unpacked>, StoreError> {
    let found: Option<(i64, i64, Vec<u8>)> = transaction
        .prepare_cached(
            "SELECT first, last, body FROM blocks
             WHERE series = ?1 AND first <= ?2 ORDER BY first DESC LIMIT 1",
        )
        .and_then(|mut select| {
            let read = |row: &rusqlite::Row<'_>| Ok((row.get(0)?, row.get(1)?, row.get(2)?));
            select.query_row((id.0, time), read).optional()
        })
        .map_err(StoreError::doing("look a block up"))?;
    let Some((first, last, body)) = found.filter(|(_, last, _)| time <= *last) else {
        return Ok(None);
    };
    let values = packing::unpack(&body).unwrap_or_else(|source| {
        // What it held cannot be told; the value is stored beside it.
        tracing::error!(series = id.0, first, "a block cannot be read: {source}");
        Vec::new()
    });
    Ok(Some(Unpacked {
        first,
        last,
        values,
    }))
}

/// Adds a value to the late ones, or gives the one that is there.
fn add_late(
    transaction: &Transaction<'_>,
    id: SeriesId,
    sample: &Sample,
) -> rusqlite::Result<Option<f64>> {
    let added = transaction
        .prepare_cached(
            "INSERT INTO late_readings (series, time, value, quality, delay)
             VALUES (?1, ?2, ?3, ?4, ?5) ON CONFLICT DO NOTHING",
        )?
        .execute((
            id.0,
            sample.time.millis(),
            sample.value,
            sample.quality.bits(),
            sample.delay.millis(),
        ))?;
    if added == 1 {
        return Ok(None);
    }
    transaction
        .prepare_cached("SELECT value FROM late_readings WHERE series = ?1 AND time = ?2")?
        .query_row((id.0, sample.time.millis()), |row| row.get(0))
        .map(Some)
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
