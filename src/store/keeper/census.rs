//! Counting what the store holds, for whoever wants to show it: a little in each
//! round, so that no read is long and no scrape has to count.

use std::sync::PoisonError;
use std::time::{Duration, Instant};

use super::super::error::StoreError;
use super::super::stats::Held;
use super::Keeper;

/// It counts for so long in a round, or for one statement.
const AT_ONCE: Duration = Duration::from_millis(20);
/// A count begins so long after the last one has come to its end.
const PAUSE: Duration = Duration::from_secs(60);
/// Lines of the journal that one statement counts.
const LINES: i64 = 5_000;

/// The key of a line of the journal.
type Line = (i64, String, i64);

/// A count that goes on from round to round.
#[derive(Debug, Default)]
pub(super) struct Census {
    /// Series that are not counted yet; none where nothing is begun.
    series: Option<Vec<i64>>,
    /// Lines of the journal up to here are counted.
    journal: Option<Line>,
    so_far: Held,
    ended: Option<Instant>,
}

impl<A: Send + 'static> Keeper<A> {
    /// Counts on for a while.
    pub(super) fn count_held(&mut self) -> Result<(), StoreError> {
        if (self.census.ended).is_some_and(|then| then.elapsed() < PAUSE) {
            return Ok(());
        }
        let begun = Instant::now();
        while !self.count_next()? {
            if begun.elapsed() >= AT_ONCE {
                return Ok(());
            }
        }
        let stats = self.writer.stats();
        let mut held = stats.held.lock().unwrap_or_else(PoisonError::into_inner);
        *held = Some(self.census.so_far);
        self.census = Census {
            ended: Some(Instant::now()),
            ..Census::default()
        };
        Ok(())
    }

    /// Counts the next series or lines; says whether that was all.
    fn count_next(&mut self) -> Result<bool, StoreError> {
        let series = match &mut self.census.series {
            Some(series) => series,
            series => {
                let all = self.reader.all_series()?;
                series.insert(all.iter().map(|one| one.id.0).collect())
            }
        };
        match series.pop() {
            Some(series) => self.count_series(series).map(|()| false),
            None => self.count_lines(),
        }
    }

    fn count_series(&mut self, series: i64) -> Result<(), StoreError> {
        // By indices alone; the rows of rollups are small.
        let found = self.reader.first(
            "SELECT (SELECT count(*) FROM blocks WHERE series = ?1),
                    (SELECT total(count) FROM blocks WHERE series = ?1),
                    (SELECT count(*) FROM rollup_minutes WHERE series = ?1),
                    (SELECT count(*) FROM rollups WHERE series = ?1 AND step = 3600000),
                    (SELECT count(*) FROM rollups WHERE series = ?1 AND step = 86400000)",
            [series],
            |row| {
                let count = |place| row.get::<_, i64>(place).map(i64::cast_unsigned);
                Ok(Held {
                    blocks: count(0)?,
                    packed_values: row.get::<_, f64>(1)? as u64,
                    minute_hours: count(2)?,
                    hours: count(3)?,
                    days: count(4)?,
                    journal_lines: 0,
                })
            },
        )?;
        let (all, some) = (&mut self.census.so_far, found.unwrap_or_default());
        all.blocks += some.blocks;
        all.packed_values += some.packed_values;
        all.minute_hours += some.minute_hours;
        all.hours += some.hours;
        all.days += some.days;
        Ok(())
    }

    /// Counts the next lines of the journal; says whether they were the last.
    fn count_lines(&mut self) -> Result<bool, StoreError> {
        let (time, sump, seq) =
            (self.census.journal.take()).unwrap_or((i64::MIN, String::new(), i64::MIN));
        let last = self.reader.first(
            "SELECT time, sump, seq FROM journal WHERE (time, sump, seq) > (?1, ?2, ?3)
             ORDER BY time, sump, seq LIMIT 1 OFFSET ?4",
            (time, &sump, seq, LINES - 1),
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )?;
        if last.is_some() {
            self.census.journal = last;
            self.census.so_far.journal_lines += LINES.cast_unsigned();
            return Ok(false);
        }
        self.census.so_far.journal_lines += self.reader.count(
            "SELECT count(*) FROM (
                SELECT 1 FROM journal WHERE (time, sump, seq) > (?1, ?2, ?3) LIMIT ?4)",
            (time, &sump, seq, LINES),
        )?;
        Ok(true)
    }
}
