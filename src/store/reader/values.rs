//! Reading values: readings and estimates.

use std::ops::ControlFlow;

use rusqlite::Row;

use crate::engine::Quality;
use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::super::series::{SeriesId, SeriesKind};
use super::Reader;

/// One stored value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoredReading {
    /// Its series.
    pub series: SeriesId,
    /// Its time.
    pub time: Timestamp,
    /// The value in the series' unit.
    pub value: f64,
    /// Its marks.
    pub quality: Quality,
    /// How long after its time it arrived.
    pub delay: Span,
}

/// A series, as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredSeries {
    /// Its id.
    pub id: SeriesId,
    /// The sump.
    pub sump: String,
    /// The channel.
    pub channel: String,
    /// What it measures, by name.
    pub quantity: String,
    /// The unit of its values.
    pub unit: String,
    /// What its values are.
    pub kind: SeriesKind,
}

impl Reader {
    /// Number of stored values of a kind.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn count_readings(&self, kind: SeriesKind) -> Result<u64, StoreError> {
        self.count(
            "WITH packed AS (SELECT value AS until FROM meta WHERE name = 'packed_to'),
                  wanted AS (SELECT id FROM series WHERE kind = ?1)
             SELECT (SELECT coalesce(sum(count), 0) FROM blocks
                     WHERE series IN wanted AND first < (SELECT until FROM packed))
                  + (SELECT count(*) FROM readings
                     WHERE series IN wanted AND time >= (SELECT until FROM packed))
                  + (SELECT count(*) FROM late_readings WHERE series IN wanted)",
            [kind.name()],
        )
    }

    /// Values of one series with `from <= time < to`, by time, `limit` at
    /// most. Of recent time it looks at every value, whatever its series.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn readings(
        &self,
        series: SeriesId,
        from: Timestamp,
        to: Timestamp,
        limit: usize,
    ) -> Result<Vec<StoredReading>, StoreError> {
        let mut found = Vec::new();
        if limit == 0 {
            return Ok(found);
        }
        self.series_range(series, from, to, |one| {
            found.push(*one);
            if found.len() < limit {
                ControlFlow::Continue(())
            } else {
                ControlFlow::Break(())
            }
        })?;
        Ok(found)
    }

    /// Calls `each` with the readings (not the estimates) of all sumps whose
    /// time is `since` or later, in the order (arrival, time, series). Keeps all
    /// of them in memory: meant for the start, since the newest snapshots.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn readings_since(
        &self,
        since: Timestamp,
        each: impl FnMut(StoredReading),
    ) -> Result<(), StoreError> {
        let to = i64::MAX;
        let mut found = self.gathered(since.millis(), to, Some(SeriesKind::Reading))?;
        found.sort_unstable_by_key(|one| (one.time + one.delay, one.time, one.series));
        found.into_iter().for_each(each);
        Ok(())
    }

    /// The live readings (not the estimates, and nothing that came late) with
    /// `from <= arrival < to`, in the order (arrival, time, series). Those whose
    /// time and arrival lie more than `apart` from each other are left out.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn live_readings_arrived(
        &self,
        from: Timestamp,
        to: Timestamp,
        apart: Span,
    ) -> Result<Vec<StoredReading>, StoreError> {
        let (first, end) = ((from - apart).millis(), (to + apart).millis() + 1);
        let mut found = self.gathered(first, end, Some(SeriesKind::Reading))?;
        found.retain(|one| {
            (from..to).contains(&(one.time + one.delay)) && !one.quality.has(Quality::LATE)
        });
        found.sort_unstable_by_key(|one| (one.time + one.delay, one.time, one.series));
        Ok(found)
    }

    /// Every series of readings that was ever registered.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn series_of_readings(&self) -> Result<Vec<StoredSeries>, StoreError> {
        let mut series = self.all_series()?;
        series.retain(|one| one.kind == SeriesKind::Reading);
        Ok(series)
    }

    /// Every series that was ever registered, readings and estimates.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn all_series(&self) -> Result<Vec<StoredSeries>, StoreError> {
        self.list(
            "SELECT id, sump, channel, quantity, unit, kind = 'reading' FROM series ORDER BY id",
            (),
            |row| {
                Ok(StoredSeries {
                    id: SeriesId(row.get(0)?),
                    sump: row.get(1)?,
                    channel: row.get(2)?,
                    quantity: row.get(3)?,
                    unit: row.get(4)?,
                    kind: if row.get(5)? {
                        SeriesKind::Reading
                    } else {
                        SeriesKind::Estimate
                    },
                })
            },
        )
    }

    /// The time of the first value that did not come late, as history that was
    /// imported does.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn first_live_reading(&self) -> Result<Option<Timestamp>, StoreError> {
        let first = self.first(
            "WITH packed AS (SELECT value AS until FROM meta WHERE name = 'packed_to')
             SELECT min(time) FROM (
                SELECT min(live) AS time FROM blocks, packed WHERE first < until
                UNION ALL
                SELECT (SELECT time FROM readings, packed
                        WHERE time >= until AND quality & ?1 = 0 ORDER BY time LIMIT 1)
                UNION ALL
                SELECT min(time) FROM late_readings WHERE quality & ?1 = 0)",
            [Quality::LATE.bits()],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(first.flatten().map(Timestamp::from_millis))
    }
}

pub(super) fn reading(row: &Row<'_>) -> rusqlite::Result<StoredReading> {
    Ok(StoredReading {
        series: SeriesId(row.get(0)?),
        time: Timestamp::from_millis(row.get(1)?),
        value: row.get(2)?,
        quality: Quality::from_bits(row.get(3)?),
        delay: Span::from_millis(row.get(4)?),
    })
}
