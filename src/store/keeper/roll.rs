//! Rolling up: what the good values of a series were in each minute, hour and
//! day (UTC), out of values that are packed. Where late values have come to an
//! hour it is worked out anew from all its values, so that their order does not
//! matter; a day is worked out from its hours.

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use rusqlite::{OptionalExtension, Transaction};

use crate::engine::QualityClass;
use crate::units::Timestamp;

use super::super::error::StoreError;
use super::super::frontiers::{self, Frontiers, ROLLED_TO};
use super::super::reader::StoredReading;
use super::super::series::SeriesId;
use super::Keeper;
use super::total::{Total, minutes_text};

/// Lengths, ms.
const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// Of an hour with no more values no minutes are kept: they would be no less
/// than the values.
const FEW: u64 = 120;

/// Hours that are written in one transaction, and days: a day of each series lies on
/// a page of its own, and is worked out from others.
const HOURS_AT_ONCE: usize = 48;
const DAYS_AT_ONCE: usize = 8;

/// Hours that are rolled up again in one round.
const AGAIN_AT_ONCE: i64 = 500;

/// One hour of a series, rolled up.
struct Hour {
    series: i64,
    start: i64,
    total: Total,
    /// As JSON.
    minutes: String,
}

impl<A: Send + 'static> Keeper<A> {
    /// Rolls up a day at most; says whether there may be more.
    pub(super) fn roll(&mut self) -> Result<bool, StoreError> {
        self.roll_again()?;
        let Some((from, to)) = self.next_hours()? else {
            return Ok(false);
        };
        let series: Vec<i64> = (self.reader.all_series()?.iter())
            .map(|one| one.id.0)
            .collect();
        let mut ready = Vec::new();
        for id in &series {
            let hours = self.hours(*id, from, to)?;
            if ready.len() + hours.len() > HOURS_AT_ONCE {
                self.write_hours(std::mem::take(&mut ready))?;
            }
            ready.extend(hours);
        }
        self.write_hours(ready)?;
        // Before the first hour of this stretch nothing may have come for long.
        let begun = self.frontiers()?.rolled_to.max(from - DAY);
        let mut days = vec![begun.div_euclid(DAY) * DAY, from.div_euclid(DAY) * DAY];
        days.dedup();
        days.retain(|day| day + DAY <= to);
        for day in days {
            for some in series.chunks(DAYS_AT_ONCE) {
                let some = some.to_vec();
                self.chore(Box::new(move |transaction| {
                    some.iter().map(|id| write_day(transaction, *id, day)).sum()
                }))?;
            }
        }
        self.chore(Box::new(move |transaction| {
            frontiers::advance(transaction, ROLLED_TO, to)
        }))?;
        Ok(true)
    }

    /// The next hours that are complete, of one day at most.
    fn next_hours(&self) -> Result<Option<(i64, i64)>, StoreError> {
        let Frontiers {
            packed_to,
            rolled_to,
            ..
        } = self.frontiers()?;
        if packed_to == i64::MIN {
            return Ok(None);
        }
        let end = packed_to.div_euclid(HOUR) * HOUR;
        if rolled_to >= end {
            return Ok(None);
        }
        let first = self.reader.next_time(rolled_to)?.unwrap_or(end).min(end);
        let from = (first.div_euclid(HOUR) * HOUR).max(rolled_to);
        let to = end.min(from.div_euclid(DAY) * DAY + DAY);
        Ok(Some((from, to)))
    }

    /// The hours of one series.
    fn hours(&self, series: i64, from: i64, to: i64) -> Result<Vec<Hour>, StoreError> {
        let mut hours: BTreeMap<i64, (Total, Box<[Total; 60]>)> = BTreeMap::new();
        let (from, to) = (Timestamp::from_millis(from), Timestamp::from_millis(to));
        let read = self.reader.series_range(SeriesId(series), from, to, |one| {
            add(&mut hours, one);
            ControlFlow::Continue(())
        });
        match read {
            Ok(()) => {}
            // What can be read of the day is rolled up; the rest never can be.
            Err(error @ StoreError::Block { .. }) => {
                tracing::error!(%error, "hours are not rolled up");
            }
            Err(other) => return Err(other),
        }
        let rolled = hours.into_iter().map(|(start, (total, minutes))| Hour {
            series,
            start,
            total,
            minutes: minutes_text(&minutes),
        });
        Ok(rolled.collect())
    }

    fn write_hours(&self, hours: Vec<Hour>) -> Result<(), StoreError> {
        if hours.is_empty() {
            return Ok(());
        }
        self.chore(Box::new(move |transaction| {
            hours.iter().map(|hour| write_hour(transaction, hour)).sum()
        }))?;
        Ok(())
    }

    /// Works hours out anew to which late values have come. One whose older
    /// values are deleted stays as it is.
    fn roll_again(&mut self) -> Result<(), StoreError> {
        let due: Vec<(i64, i64)> = self.reader.list(
            "SELECT series, hour FROM rollup_due LIMIT ?1",
            [AGAIN_AT_ONCE],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        for (series, start) in due {
            let hours = self.hours(series, start, start + HOUR)?;
            self.chore(Box::new(move |transaction| {
                let Frontiers {
                    rolled_to,
                    raw_from,
                    ..
                } = Frontiers::read(transaction)?;
                if start >= raw_from || !is_rolled(transaction, series, start)? {
                    for hour in &hours {
                        write_hour(transaction, hour)?;
                    }
                    let day = start.div_euclid(DAY) * DAY;
                    if day + DAY <= rolled_to {
                        write_day(transaction, series, day)?;
                    }
                }
                transaction
                    .prepare_cached("DELETE FROM rollup_due WHERE series = ?1 AND hour = ?2")?
                    .execute((series, start))
            }))?;
        }
        Ok(())
    }
}

fn add(hours: &mut BTreeMap<i64, (Total, Box<[Total; 60]>)>, one: &StoredReading) {
    let time = one.time.millis();
    let start = time.div_euclid(HOUR) * HOUR;
    let empty = || (Total::default(), Box::new([Total::default(); 60]));
    let (total, minutes) = hours.entry(start).or_insert_with(empty);
    let good = one.quality.class() == QualityClass::Good;
    total.add(one.value, good);
    let minute = usize::try_from((time - start) / MINUTE).expect("an hour has 60 minutes");
    minutes[minute].add(one.value, good);
}

fn is_rolled(transaction: &Transaction<'_>, series: i64, start: i64) -> rusqlite::Result<bool> {
    let found: Option<i64> = transaction
        .prepare_cached("SELECT 1 FROM rollups WHERE series = ?1 AND step = ?2 AND start = ?3")?
        .query_row((series, HOUR, start), |row| row.get(0))
        .optional()?;
    Ok(found.is_some())
}

fn write_hour(transaction: &Transaction<'_>, hour: &Hour) -> rusqlite::Result<usize> {
    let spread = hour.total.spread();
    if hour.total.count > FEW {
        transaction
            .prepare_cached(
                "INSERT OR REPLACE INTO rollup_minutes (series, hour, body) VALUES (?1, ?2, ?3)",
            )?
            .execute((hour.series, hour.start, &hour.minutes))?;
    }
    transaction
        .prepare_cached(
            "INSERT OR REPLACE INTO rollups (series, step, start, min, mean, max, good, count)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute((
            hour.series,
            HOUR,
            hour.start,
            spread.map(|(min, ..)| min),
            spread.map(|(_, mean, _)| mean),
            spread.map(|(.., max)| max),
            hour.total.good as i64,
            hour.total.count as i64,
        ))
}

/// Works a day out from its hours.
fn write_day(transaction: &Transaction<'_>, series: i64, day: i64) -> rusqlite::Result<usize> {
    transaction
        .prepare_cached(
            "INSERT OR REPLACE INTO rollups (series, step, start, min, mean, max, good, count)
             SELECT series, ?2, ?3, min(min), sum(mean * good) / sum(good), max(max),
                    sum(good), sum(count)
             FROM (SELECT * FROM rollups
                   WHERE series = ?1 AND step = ?4 AND start >= ?3 AND start < ?5 ORDER BY start)
             GROUP BY series",
        )?
        .execute((series, DAY, day, HOUR, day + DAY))
}
