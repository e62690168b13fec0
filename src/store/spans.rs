//! Stretches of time, merged and bounded: which values came behind somebody who
//! has passed already.

use crate::units::Timestamp;

/// Stretches with less than this between them become one, ms. Choice: whoever
/// reads them again reads little in vain, and values that come in one after the
/// other make one stretch.
const GAP: i64 = 60_000;

/// Stretches of time, ends included, in order and apart from each other; never
/// more than `most`. Where there would be more the nearest two become one with
/// what lies between them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spans {
    most: usize,
    /// First and last millisecond of each.
    list: Vec<(i64, i64)>,
}

impl Spans {
    /// None yet, and never more than `most`, which is at least 1.
    pub(super) const fn new(most: usize) -> Self {
        Spans {
            most,
            list: Vec::new(),
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// First and last time of each.
    pub(super) fn iter(&self) -> impl Iterator<Item = (Timestamp, Timestamp)> {
        let time = Timestamp::from_millis;
        self.list
            .iter()
            .map(move |&(first, last)| (time(first), time(last)))
    }

    /// One time more. Cheap where times come in their order.
    #[inline]
    pub(super) fn add_time(&mut self, time: Timestamp) {
        let millis = time.millis();
        if let Some((first, last)) = self.list.last_mut()
            && *first <= millis
            && millis.saturating_sub(*last) < GAP
        {
            *last = millis.max(*last);
            return;
        }
        self.add(time, time);
    }

    /// All times from `first` to `last`.
    pub(super) fn add(&mut self, first: Timestamp, last: Timestamp) {
        let (mut first, mut last) = (first.millis(), last.millis());
        if last < first {
            return;
        }
        let begin = self
            .list
            .partition_point(|&(_, end)| first.saturating_sub(end) >= GAP);
        let mut end = begin;
        while let Some(&(from, to)) = self.list.get(end)
            && from.saturating_sub(last) < GAP
        {
            (first, last) = (first.min(from), last.max(to));
            end += 1;
        }
        self.list.splice(begin..end, [(first, last)]);
        self.bound();
    }

    /// The times from `first` to `last` are no longer among them, unless the
    /// bound brings some back.
    pub(super) fn remove(&mut self, first: Timestamp, last: Timestamp) {
        let (first, last) = (first.millis(), last.millis());
        let left = self.list.iter().flat_map(|&(from, to)| {
            let before = (from, to.min(first.saturating_sub(1)));
            let behind = (from.max(last.saturating_add(1)), to);
            let kept = if to < first || from > last {
                [Some((from, to)), None]
            } else {
                [Some(before), Some(behind)]
            };
            kept.into_iter().flatten().filter(|(from, to)| from <= to)
        });
        self.list = left.collect();
        self.bound();
    }

    /// Adds what of `others` lies behind `after`, and at `to` or before.
    pub(super) fn add_between(&mut self, others: &Spans, after: Timestamp, to: Timestamp) {
        let after = Timestamp::from_millis(after.millis().saturating_add(1));
        for (first, last) in others.iter() {
            self.add(first.max(after), last.min(to));
        }
    }

    fn bound(&mut self) {
        while self.list.len() > self.most {
            let gaps = self.list.windows(2).map(|two| two[1].0 - two[0].1);
            let nearest = gaps.enumerate().min_by_key(|&(_, gap)| gap);
            let (place, _) = nearest.expect("more than one are at least two");
            self.list[place].1 = self.list[place + 1].1;
            self.list.remove(place + 1);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(millis: i64) -> Timestamp {
        Timestamp::from_millis(millis)
    }

    fn has(spans: &Spans, millis: i64) -> bool {
        spans
            .iter()
            .any(|(first, last)| first <= at(millis) && at(millis) <= last)
    }

    #[test]
    fn near_ones_become_one_and_far_ones_stay_apart() {
        let mut spans = Spans::new(3);
        for millis in [0, 30_000, 500_000, 100] {
            spans.add_time(at(millis));
        }
        let list: Vec<_> = spans.iter().collect();
        assert_eq!(list, [(at(0), at(30_000)), (at(500_000), at(500_000))]);
        spans.remove(at(0), at(10_000));
        assert!(!has(&spans, 10_000) && has(&spans, 10_001));
    }

    #[test]
    fn a_full_list_merges_the_nearest() {
        let mut spans = Spans::new(2);
        for minute in [0, 100, 110] {
            spans.add_time(at(minute * 60_000));
        }
        let list: Vec<_> = spans.iter().collect();
        assert_eq!(list[0], (at(0), at(0)));
        assert_eq!(list[1], (at(6_000_000), at(6_600_000)));
    }

    proptest! {
        /// Nothing that was added gets lost, whatever is removed beside it, and
        /// the list stays in order, apart and bounded.
        #[test]
        fn what_was_added_and_not_removed_is_there(
            steps in proptest::collection::vec((0..4u8, 0..3_000_000i64, 0..200_000i64), 1..80),
            most in 1..6usize,
        ) {
            let mut spans = Spans::new(most);
            let mut wanted = std::collections::BTreeSet::new();
            for (kind, first, length) in steps {
                if kind == 0 {
                    spans.remove(at(first), at(first + length));
                    wanted.retain(|time| *time < first || *time > first + length);
                } else {
                    spans.add_time(at(first));
                    wanted.insert(first);
                }
                prop_assert!(spans.list.len() <= most);
                for two in spans.list.windows(2) {
                    prop_assert!(two[0].0 <= two[0].1 && two[0].1 < two[1].0);
                }
                for time in &wanted {
                    prop_assert!(has(&spans, *time), "{} is gone", time);
                }
            }
        }

        #[test]
        fn what_lies_between_is_taken_over(
            times in proptest::collection::vec(0..2_000_000i64, 1..30),
            (after, to) in (0..1_000_000i64, 1_000_000..2_000_000i64),
        ) {
            let mut all = Spans::new(4);
            for time in &times {
                all.add_time(at(*time));
            }
            let mut part = Spans::new(4);
            part.add_between(&all, at(after), at(to));
            for time in times {
                prop_assert!(time <= after || time > to || has(&part, time));
            }
            prop_assert!(!has(&part, after) && !has(&part, to + 1));
        }
    }
}
