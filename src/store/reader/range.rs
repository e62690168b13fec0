//! Reading through a span of time, piece by piece: each piece is a short
//! transaction of its own, so that the store's log can be cut in between.

use std::ops::ControlFlow;

use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::series::SeriesId;
use super::values::reading;
use super::{Reader, StoredReading};

/// Values read in one transaction.
const PIECE: i64 = 10_000;

impl Reader {
    /// Calls `each` with the values of one series with `from <= time < to`, by
    /// time, until it breaks. What is written while this runs may be among
    /// them or not.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn series_range(
        &self,
        series: SeriesId,
        from: Timestamp,
        to: Timestamp,
        mut each: impl FnMut(&StoredReading) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        let mut from = from.millis();
        loop {
            let piece = self.list(
                "SELECT series, time, value, quality, delay FROM readings
                 WHERE series = ?1 AND time >= ?2 AND time < ?3 ORDER BY time LIMIT ?4",
                (series.0, from, to.millis(), PIECE),
                reading,
            )?;
            for one in &piece {
                if each(one).is_break() {
                    return Ok(());
                }
            }
            match piece.last() {
                Some(last) if piece.len() == PIECE as usize => from = last.time.millis() + 1,
                _ => return Ok(()),
            }
        }
    }

    /// Calls `each` with the values of all series with `from <= time < to`, by
    /// time and series, until it breaks. What is written while this runs may be
    /// among them or not.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn range(
        &self,
        from: Timestamp,
        to: Timestamp,
        mut each: impl FnMut(&StoredReading) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        let (mut from, mut after) = (from.millis(), i64::MIN);
        loop {
            let piece = self.list(
                "SELECT series, time, value, quality, delay FROM readings
                 WHERE (time, series) > (?1, ?2) AND time < ?3 ORDER BY time, series LIMIT ?4",
                (from, after, to.millis(), PIECE),
                reading,
            )?;
            for one in &piece {
                if each(one).is_break() {
                    return Ok(());
                }
            }
            match piece.last() {
                Some(last) if piece.len() == PIECE as usize => {
                    (from, after) = (last.time.millis(), last.series.0);
                }
                _ => return Ok(()),
            }
        }
    }
}
