//! Values that are read of the store and not sent yet.

use std::ops::Range;
use std::time::{Duration, Instant};

use crate::store::{StoredReading, Window};
use crate::units::Timestamp;

/// What was read longer ago is read anew: what came in since would count as late.
const STALE_AFTER: Duration = Duration::from_secs(60);

/// Values that were read together, and how many of them are passed.
#[derive(Debug)]
pub(super) struct Ahead {
    window: Window<StoredReading>,
    /// Those that were passed last.
    passed: Range<usize>,
    seen: u64,
    read: Instant,
}

impl Ahead {
    /// Read just now, as of the commit `seen` or a later one.
    pub(super) fn new(window: Window<StoredReading>, seen: u64) -> Self {
        Ahead {
            window,
            passed: 0..0,
            seen,
            read: Instant::now(),
        }
    }

    /// The commit as of which it was read, or an earlier one.
    pub(super) fn seen(&self) -> u64 {
        self.seen
    }

    /// Whether there is more to pass, and not too old.
    pub(super) fn is_of_use(&self) -> bool {
        self.left() > 0 && self.read.elapsed() < STALE_AFTER
    }

    /// Passes the next ones: so many, less what would tear a time apart, but all of
    /// the first time.
    pub(super) fn pass(&mut self, most: usize) {
        let begin = self.passed.end;
        let left = &self.window.rows[begin..];
        let count = match left.get(most) {
            None => left.len(),
            Some(torn) => match left.partition_point(|row| row.time < torn.time) {
                0 => left.partition_point(|row| row.time <= torn.time),
                count => count,
            },
        };
        self.passed = begin..begin + count;
    }

    /// What was passed last.
    pub(super) fn passed(&self) -> &[StoredReading] {
        &self.window.rows[self.passed.clone()]
    }

    /// How many are left.
    pub(super) fn left(&self) -> usize {
        self.window.rows.len() - self.passed.end
    }

    /// Whether there is nothing behind what was passed last.
    pub(super) fn is_the_end(&self) -> bool {
        self.left() == 0 && self.window.is_all
    }

    /// Everything up to this time has been passed. What lies behind the last row is
    /// not passed yet where it is the end: what comes there is not late.
    pub(super) fn through(&self) -> Option<Timestamp> {
        let last = self.passed().last()?;
        match self.left() == 0 && !self.window.is_all {
            true => Some(self.window.through),
            false => Some(last.time),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Quality, Sample, SeriesIx};
    use crate::store::{Batch, Limits, Reader, SeriesKind, SeriesRow, Store, Writer};
    use crate::units::{Quantity, Span};

    fn at(millis: i64) -> Timestamp {
        Timestamp::from_millis(millis)
    }

    /// A window of a store with values of two series at these times.
    fn window(times: &[(u32, i64)], most: usize) -> Window<StoredReading> {
        let folder = tempfile::tempdir().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let rows = ["a", "b"].map(|channel| SeriesRow {
            sump: "m1".into(),
            channel: channel.into(),
            quantity: Quantity::Temperature,
            kind: SeriesKind::Reading,
        });
        let map = store.register(&rows).unwrap();
        let writer = Writer::<()>::start(store, map, Limits::default(), Box::new(|_| ())).unwrap();
        let samples = times.iter().map(|&(series, time)| Sample {
            series: SeriesIx(series),
            time: at(time),
            value: 1.0,
            quality: Quality::GOOD,
            delay: Span::ZERO,
        });
        let batch = Batch {
            samples: samples.collect(),
            ..Batch::default()
        };
        writer.handle().submit(batch).unwrap();
        writer.handle().flush().unwrap();
        let reader = Reader::open(folder.path()).unwrap();
        reader.values_between(at(0), at(100), most).unwrap()
    }

    #[test]
    fn what_was_read_is_passed_in_portions_that_tear_no_time_apart() {
        let times = [(0, 10), (0, 20), (1, 20), (0, 30), (1, 40)];
        let mut ahead = Ahead::new(window(&times, 100), 5);
        assert_eq!(ahead.through(), None);
        let mut passed = Vec::new();
        while ahead.is_of_use() {
            ahead.pass(2);
            let times: Vec<_> = ahead.passed().iter().map(|row| row.time.millis()).collect();
            passed.push((times, ahead.through().unwrap().millis(), ahead.is_the_end()));
        }
        let wanted = [
            (vec![10], 10, false),
            (vec![20, 20], 20, false),
            (vec![30, 40], 40, true),
        ];
        assert_eq!(passed, wanted);
    }

    #[test]
    fn where_more_follows_the_whole_window_is_passed_at_its_end() {
        let times = [(0, 10), (0, 20), (1, 20), (0, 30)];
        let mut ahead = Ahead::new(window(&times, 3), 5);
        ahead.pass(100);
        assert_eq!(ahead.passed().len(), 3);
        assert_eq!(ahead.through(), Some(at(29)));
        assert!(!ahead.is_the_end());
    }
}
