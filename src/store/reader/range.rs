//! Reading through a span of time, piece by piece: each piece is a short
//! transaction of its own, so that the store's log can be cut in between.

use std::ops::ControlFlow;

use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::series::SeriesId;
use super::{Reader, StoredReading};

/// Values of all series that are about to be read in one transaction.
const TOGETHER: usize = 50_000;

/// The time that is read first, and the longest, of all series, ms.
const FIRST_STRETCH: i64 = 60_000;
const LONGEST_STRETCH: i64 = 30 * 24 * 3_600_000;

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
        let mut next = (from < to).then_some(from.millis());
        while let Some(from) = next {
            let piece = self.piece(series, from, to.millis())?;
            if piece.values.iter().try_for_each(&mut each).is_break() {
                return Ok(());
            }
            next = piece.next;
        }
        Ok(())
    }

    /// Calls `each` with the values of all series with `from <= time < to`, by
    /// time and series, until it breaks. What is written while this runs may be
    /// among them or not. Of many series with long blocks, one series after the
    /// other is read sooner.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn range(
        &self,
        from: Timestamp,
        to: Timestamp,
        mut each: impl FnMut(&StoredReading) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        let (mut from, to) = (from.millis(), to.millis());
        let mut stretch = FIRST_STRETCH;
        while from < to {
            let end = from.saturating_add(stretch).min(to);
            let mut values = self.gathered(from, end, None)?;
            values.sort_unstable_by_key(|one| (one.time, one.series));
            if values.iter().try_for_each(&mut each).is_break() {
                return Ok(());
            }
            from = match values.len() {
                0 => match self.next_time(end)? {
                    Some(next) => next,
                    None => return Ok(()),
                },
                _ => end,
            };
            stretch = match values.len() {
                more if more > TOGETHER => (stretch / 2).max(1),
                fewer if fewer < TOGETHER / 8 => (4 * stretch).min(LONGEST_STRETCH),
                _ => stretch,
            };
        }
        Ok(())
    }

    /// The first time at `from` or later at which any series may have a value.
    pub(in crate::store) fn next_time(&self, from: i64) -> Result<Option<i64>, StoreError> {
        let next = self.first(
            "WITH packed AS (SELECT value AS until FROM meta WHERE name = 'packed_to')
             SELECT min(time) FROM (
                SELECT min(time) AS time FROM readings, packed WHERE time >= max(?1, until)
                UNION ALL
                SELECT min(time) FROM late_readings WHERE time >= ?1
                UNION ALL
                SELECT min(max(?1, first)) FROM blocks, packed WHERE last >= ?1 AND first < until)",
            [from],
            |row| row.get(0),
        )?;
        Ok(next.flatten())
    }
}
