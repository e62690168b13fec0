//! Reading along in the order of time, window by window, so that no read keeps
//! the write-ahead log from being folded into the file.

use std::ops::ControlFlow;

use crate::units::{Span, Timestamp};

use super::super::error::StoreError;
use super::journal::journal_line;
use super::{Reader, StoredJournal, StoredReading};

/// Rows of whole milliseconds: all there are from one time to another.
#[derive(Debug, Clone, PartialEq)]
pub struct Window<T> {
    /// In the order (time, series), or in that of the journal.
    pub rows: Vec<T>,
    /// Every row up to this time is among them.
    pub through: Timestamp,
    /// Whether it reaches as far as was asked for.
    pub is_all: bool,
}

/// Where somebody stands who reads along.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// Through with everything up to this time, but for what came late.
    pub position: Timestamp,
    /// Stretches with what came late: first and last time of each.
    pub late: Vec<(Timestamp, Timestamp)>,
}

impl Reader {
    /// Where the follower with this cursor stands; nothing where it has not
    /// begun.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn standing(&self, cursor: &str) -> Result<Option<Standing>, StoreError> {
        let position = self.first(
            "SELECT position FROM cursors WHERE name = ?1",
            [cursor],
            |row| row.get(0).map(Timestamp::from_millis),
        )?;
        let Some(position) = position else {
            return Ok(None);
        };
        let late = self.list(
            "SELECT first, last FROM late_spans WHERE cursor = ?1 ORDER BY first",
            [cursor],
            |row| {
                let time = |place| row.get(place).map(Timestamp::from_millis);
                Ok((time(0)?, time(1)?))
            },
        )?;
        Ok(Some(Standing { position, late }))
    }

    /// Readings and estimates of all series with `after < time <= to`: so many,
    /// less what would tear a time apart, but all of the first time.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn values_between(
        &self,
        after: Timestamp,
        to: Timestamp,
        most: usize,
    ) -> Result<Window<StoredReading>, StoreError> {
        let select = |after: Timestamp, to: Timestamp, most: usize| {
            let step = Span::from_millis(1);
            let mut values = Vec::new();
            self.range(after + step, to + step, |value| {
                values.push(*value);
                match values.len() < most {
                    true => ControlFlow::Continue(()),
                    false => ControlFlow::Break(()),
                }
            })?;
            Ok(values)
        };
        window(after, to, most, select, |row| row.time)
    }

    /// The same of the journal.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal_between(
        &self,
        after: Timestamp,
        to: Timestamp,
        most: usize,
    ) -> Result<Window<StoredJournal>, StoreError> {
        let select = |after: Timestamp, to: Timestamp, most: usize| {
            self.list(
                "SELECT time, sump, seq, kind, body FROM journal
                 WHERE time > ?1 AND time <= ?2 ORDER BY time, sump, seq LIMIT ?3",
                (after.millis(), to.millis(), limit(most)),
                journal_line,
            )
        };
        window(after, to, most, select, |row| row.time)
    }

    /// How many readings and estimates there are behind a time, counted up to
    /// `most`.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn count_values_after(&self, after: Timestamp, most: usize) -> Result<u64, StoreError> {
        let mut count = 0;
        let begin = after + Span::from_millis(1);
        self.range(begin, Timestamp::MAX, |_| {
            count += 1;
            match count < most {
                true => ControlFlow::Continue(()),
                false => ControlFlow::Break(()),
            }
        })?;
        Ok(count as u64)
    }
}

/// SQLite takes a limit below 0 for none.
fn limit(most: usize) -> i64 {
    i64::try_from(most).unwrap_or(i64::MAX)
}

/// Reads one row more than wanted, to see where the last whole time ends.
fn window<T>(
    after: Timestamp,
    to: Timestamp,
    most: usize,
    select: impl Fn(Timestamp, Timestamp, usize) -> Result<Vec<T>, StoreError>,
    time: impl Fn(&T) -> Timestamp,
) -> Result<Window<T>, StoreError> {
    let mut rows = select(after, to, most.saturating_add(1))?;
    let torn = rows.get(most).map(&time);
    let Some(torn) = torn else {
        return Ok(Window {
            rows,
            through: to,
            is_all: true,
        });
    };
    let just_before = Timestamp::from_millis(torn.millis() - 1);
    rows.truncate(rows.partition_point(|row| time(row) < torn));
    let mut through = just_before;
    if rows.is_empty() {
        rows = select(just_before, torn, usize::MAX)?;
        through = torn;
    }
    Ok(Window {
        rows,
        through,
        is_all: false,
    })
}
