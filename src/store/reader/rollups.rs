//! Rollups: what the good values of a series were in a minute, an hour or a day.

use std::ops::ControlFlow;

use rusqlite::Row;

use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::series::SeriesId;
use super::Reader;

/// Hours or days read in one transaction; of minutes as many hours.
const PIECE: i64 = 500;

/// The length of a rollup.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RollupStep {
    /// A minute.
    Minute,
    /// An hour.
    Hour,
    /// A day of UTC.
    Day,
}

/// What the good values of a series were in a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StoredRollup {
    /// When the step begins.
    pub start: Timestamp,
    /// The lowest good value; nothing where there was none.
    pub lowest: Option<f64>,
    /// Their mean.
    pub mean: Option<f64>,
    /// The highest.
    pub highest: Option<f64>,
    /// How many good values there were.
    pub good: i64,
    /// How many values there were.
    pub count: i64,
}

impl RollupStep {
    /// The word in the view `rollups_plain`.
    pub const fn name(self) -> &'static str {
        match self {
            RollupStep::Minute => "minute",
            RollupStep::Hour => "hour",
            RollupStep::Day => "day",
        }
    }

    const fn millis(self) -> i64 {
        match self {
            RollupStep::Minute => 60_000,
            RollupStep::Hour => 3_600_000,
            RollupStep::Day => 86_400_000,
        }
    }
}

impl Reader {
    /// Calls `each` with the rollups of one series that begin at `from` or later
    /// and before `to`, in order, until it breaks; each piece is a short
    /// transaction.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn rollups(
        &self,
        series: SeriesId,
        step: RollupStep,
        from: Timestamp,
        to: Timestamp,
        mut each: impl FnMut(&StoredRollup) -> ControlFlow<()>,
    ) -> Result<(), StoreError> {
        let hour = RollupStep::Hour.millis();
        let (wanted, mut next) = (from..to, from.millis());
        if step == RollupStep::Minute {
            // The hour that holds the first minute.
            next = next.div_euclid(hour) * hour;
        }
        while next < to.millis() {
            let piece = match step {
                RollupStep::Minute => self.minutes(series, next, to.millis())?,
                _ => self.hours_or_days(series, step, next, to.millis())?,
            };
            let Some(last) = piece.last() else {
                return Ok(());
            };
            next = match step {
                RollupStep::Minute => (last.start.millis().div_euclid(hour) + 1) * hour,
                _ => last.start.millis() + 1,
            };
            for one in piece.iter().filter(|one| wanted.contains(&one.start)) {
                if each(one).is_break() {
                    return Ok(());
                }
            }
        }
        Ok(())
    }

    fn hours_or_days(
        &self,
        series: SeriesId,
        step: RollupStep,
        from: i64,
        to: i64,
    ) -> Result<Vec<StoredRollup>, StoreError> {
        self.list(
            "SELECT start, min, mean, max, good, count FROM rollups
             WHERE series = ?1 AND step = ?2 AND start >= ?3 AND start < ?4
             ORDER BY start LIMIT ?5",
            (series.0, step.millis(), from, to, PIECE),
            rollup,
        )
    }

    /// The minutes of the next hours that have any, as the view has them.
    fn minutes(
        &self,
        series: SeriesId,
        from: i64,
        to: i64,
    ) -> Result<Vec<StoredRollup>, StoreError> {
        self.list(
            "WITH hours AS (
                SELECT hour, body FROM rollup_minutes
                WHERE series = ?1 AND hour >= ?2 AND hour < ?3 ORDER BY hour LIMIT ?4)
             SELECT hour + 60000 * minute.key AS start,
                iif(minute.type = 'array', json_extract(minute.value, '$[0]'), minute.value),
                iif(minute.type = 'array', json_extract(minute.value, '$[1]'), minute.value),
                iif(minute.type = 'array', json_extract(minute.value, '$[2]'), minute.value),
                iif(minute.type = 'array', json_extract(minute.value, '$[3]'), 1),
                iif(minute.type = 'array', json_extract(minute.value, '$[#-1]'), 1)
             FROM hours JOIN json_each(hours.body) AS minute
             WHERE minute.type <> 'null' ORDER BY start",
            (series.0, from, to, PIECE),
            rollup,
        )
    }
}

fn rollup(row: &Row<'_>) -> rusqlite::Result<StoredRollup> {
    Ok(StoredRollup {
        start: Timestamp::from_millis(row.get(0)?),
        lowest: row.get(1)?,
        mean: row.get(2)?,
        highest: row.get(3)?,
        good: row.get(4)?,
        count: row.get(5)?,
    })
}
