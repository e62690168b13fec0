//! Deleting what is older than it is to be kept.

use std::ops::AddAssign;
use std::sync::atomic::Ordering::Relaxed;

use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::super::frontiers::{self, RAW_FROM};
use super::super::series::SeriesKind;
use super::Keeper;

/// How often it is looked at what is too old.
const LOOK_EVERY: Span = Span::from_mins(1);

/// Rows and blocks that are deleted in one transaction.
pub(super) const ROWS_AT_ONCE: i64 = 500;
const BLOCKS_AT_ONCE: i64 = 64;

/// Transactions of one kind in one round; the rest is left to the next.
pub(super) const STEPS: usize = 50;

/// Free pages that are kept for what comes next.
const SPARE_PAGES: i64 = 2_000;

/// How long each kind of value is kept; nothing is for ever.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Keep {
    /// Readings as they came.
    pub readings: Option<Span>,
    /// What the engine made of them.
    pub estimates: Option<Span>,
    /// Minutes, rolled up.
    pub minutes: Option<Span>,
    /// Hours, rolled up.
    pub hours: Option<Span>,
    /// Days, rolled up.
    pub days: Option<Span>,
    /// The journal.
    pub journal: Option<Span>,
}

/// What was deleted.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
struct Deleted {
    values: u64,
    rollups: u64,
    journal: u64,
}

impl AddAssign for Deleted {
    fn add_assign(&mut self, other: Deleted) {
        self.values += other.values;
        self.rollups += other.rollups;
        self.journal += other.journal;
    }
}

impl<A: Send + 'static> Keeper<A> {
    /// Deletes what is too old, from time to time.
    pub(super) fn retain(&mut self, now: Timestamp) -> Result<(), StoreError> {
        if (self.retained).is_some_and(|then| now - then < LOOK_EVERY && now >= then) {
            return Ok(());
        }
        self.retained = Some(now);
        let old = self.delete_old(now)?;
        if old != Deleted::default() {
            let Deleted {
                values,
                rollups,
                journal,
            } = old;
            tracing::info!(
                values,
                rollups,
                journal,
                "deleted what is older than it is kept"
            );
        }
        self.give_back(SPARE_PAGES)?;
        let count = old.values + old.rollups + old.journal;
        self.writer.stats().deleted.fetch_add(count, Relaxed);
        Ok(())
    }

    fn delete_old(&mut self, now: Timestamp) -> Result<Deleted, StoreError> {
        let keep = self.setup.keep;
        let before = |span: Option<Span>| span.map(|span| (now - span).millis());
        let mut deleted = Deleted::default();
        let kinds = [
            (SeriesKind::Reading, keep.readings),
            (SeriesKind::Estimate, keep.estimates),
        ];
        for (kind, span) in kinds {
            let Some(before) = before(span) else { continue };
            // First others must have it, and the hours be rolled up.
            let before = before.min(self.frontiers()?.rolled_to);
            let before = before.min(self.awaited("values")?.unwrap_or(i64::MAX));
            deleted.values += self.delete_blocks_before(kind, before)?;
        }
        if let Some(before) = before(keep.minutes) {
            deleted.rollups += self.delete_some(
                "DELETE FROM rollup_minutes WHERE id IN (
                    SELECT old.id FROM series JOIN rollup_minutes AS old
                    ON old.series = series.id AND old.hour < ?1 LIMIT ?2)",
                before,
            )?;
        }
        for (step, span) in [(3_600_000, keep.hours), (86_400_000, keep.days)] {
            let Some(before) = before(span) else { continue };
            let sql: &'static str = if step == 3_600_000 {
                OLD_HOURS
            } else {
                OLD_DAYS
            };
            deleted.rollups += self.delete_some(sql, before)?;
        }
        if let Some(before) = before(keep.journal) {
            let before = before.min(self.awaited("journal")?.unwrap_or(i64::MAX));
            deleted.journal += self.delete_some(
                "DELETE FROM journal WHERE (time, sump, seq) IN (
                    SELECT time, sump, seq FROM journal WHERE time < ?1
                    ORDER BY time, sump, seq LIMIT ?2)",
                before,
            )?;
        }
        Ok(deleted)
    }

    fn delete_blocks_before(&self, kind: SeriesKind, before: i64) -> Result<u64, StoreError> {
        let mut values = 0;
        for _ in 0..STEPS {
            let some: Vec<(i64, i64)> = self.reader.list(
                "SELECT old.id, old.count FROM series
                 JOIN blocks AS old ON old.series = series.id AND old.first < ?2
                 WHERE series.kind = ?1 AND old.last < ?2 LIMIT ?3",
                (kind.name(), before, BLOCKS_AT_ONCE),
                |row| Ok((row.get(0)?, row.get(1)?)),
            )?;
            if some.is_empty() {
                break;
            }
            values += self.delete_blocks(some, before)?;
        }
        Ok(values)
    }

    pub(super) fn delete_blocks(
        &self,
        some: Vec<(i64, i64)>,
        before: i64,
    ) -> Result<u64, StoreError> {
        let values: i64 = some.iter().map(|(_, count)| count).sum();
        self.chore(Box::new(move |transaction| {
            frontiers::advance(transaction, RAW_FROM, before)?;
            some.iter()
                .map(|(id, _)| super::block::remove(transaction, *id))
                .sum()
        }))?;
        Ok(values.cast_unsigned())
    }

    fn delete_some(&self, sql: &'static str, before: i64) -> Result<u64, StoreError> {
        let mut deleted = 0;
        for _ in 0..STEPS {
            let some = self.chore(Box::new(move |transaction| {
                transaction
                    .prepare_cached(sql)?
                    .execute((before, ROWS_AT_ONCE))
            }))?;
            deleted += some as u64;
            if (some as i64) < ROWS_AT_ONCE {
                break;
            }
        }
        Ok(deleted)
    }
}

const OLD_HOURS: &str = "DELETE FROM rollups WHERE (series, step, start) IN (
    SELECT old.series, old.step, old.start FROM series JOIN rollups AS old
    ON old.series = series.id AND old.step = 3600000 AND old.start < ?1 LIMIT ?2)";

const OLD_DAYS: &str = "DELETE FROM rollups WHERE (series, step, start) IN (
    SELECT old.series, old.step, old.start FROM series JOIN rollups AS old
    ON old.series = series.id AND old.step = 86400000 AND old.start < ?1 LIMIT ?2)";
