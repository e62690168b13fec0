//! Reading values: readings and estimates.

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
    /// Number of stored values of a kind; reads them all.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn count_readings(&self, kind: SeriesKind) -> Result<u64, StoreError> {
        self.count(
            "SELECT count(*) FROM series JOIN readings ON readings.series = series.id
             WHERE series.kind = ?1",
            [kind.name()],
        )
    }

    /// Values of one series with `from <= time < to`, by time, `limit` at
    /// most. Looks at every value of that time, whatever its series.
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
        self.list(
            "SELECT series, time, value, quality, delay FROM readings
             WHERE series = ?1 AND time >= ?2 AND time < ?3 ORDER BY time LIMIT ?4",
            (series.0, from.millis(), to.millis(), limit as i64),
            reading,
        )
    }

    /// Calls `each` with the readings (not the estimates) of all sumps whose
    /// time is `since` or later, in the order (arrival, time, series). The
    /// store's log cannot be cut while this runs: meant for the start, before
    /// much is written.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn readings_since(
        &self,
        since: Timestamp,
        mut each: impl FnMut(StoredReading),
    ) -> Result<(), StoreError> {
        let doing = || StoreError::doing("read readings");
        let mut select = self
            .connection
            .prepare_cached(
                "SELECT series, time, value, quality, delay FROM readings
                 WHERE time >= ?1
                   AND series IN (SELECT id FROM series WHERE kind = 'reading')
                 ORDER BY time + delay, time, series",
            )
            .map_err(doing())?;
        let mut rows = select.query([since.millis()]).map_err(doing())?;
        while let Some(row) = rows.next().map_err(doing())? {
            each(reading(row).map_err(doing())?);
        }
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
        self.list(
            "SELECT series, time, value, quality, delay FROM readings
             WHERE time >= ?1 AND time <= ?2
               AND time + delay >= ?3 AND time + delay < ?4 AND quality & ?5 = 0
               AND series IN (SELECT id FROM series WHERE kind = 'reading')
             ORDER BY time + delay, time, series",
            (
                (from - apart).millis(),
                (to + apart).millis(),
                from.millis(),
                to.millis(),
                Quality::LATE.bits(),
            ),
            reading,
        )
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
        self.first(
            "SELECT time FROM readings WHERE quality & ?1 = 0 ORDER BY time LIMIT 1",
            [Quality::LATE.bits()],
            |row| row.get(0).map(Timestamp::from_millis),
        )
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
