//! The alarms of one history under two settings, side by side.
//!
//! Promises: each occurrence of either side stands in exactly one row; the
//! result does not depend on the order in which occurrences are given.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::Priority;
use super::performance::{AlarmName, Occurrence};
use crate::units::{Span, Timestamp};

/// What the change of settings does to an alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Change {
    /// It comes, and did not before.
    Came,
    /// It came, and does not any more.
    Gone,
    /// It comes in both, at other times or with another priority.
    Moved,
    /// It comes and goes at the same times.
    Same,
}

/// One occurrence of an alarm, under one of the settings or both.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Row {
    /// What the change does to it.
    pub change: Change,
    /// Which alarm.
    #[serde(flatten)]
    pub alarm: AlarmName,
    /// As it is under the present settings.
    pub present: Option<Times>,
    /// As it is under the changed ones.
    pub changed: Option<Times>,
    /// By how much later it is raised; negative where it is earlier.
    #[serde(rename = "raised_later_ms")]
    pub raised_later: Option<Span>,
    /// By how much later it ends, where it ends in both.
    #[serde(rename = "ended_later_ms")]
    pub ended_later: Option<Span>,
}

/// When an alarm stood, and how urgent it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Times {
    /// How much hurry.
    pub priority: Priority,
    /// When it was raised.
    pub raised: Timestamp,
    /// When it ended; it stood to the end of the history where there is none.
    pub ended: Option<Timestamp>,
}

/// How many occurrences there are of a kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Counts {
    /// Under the present settings.
    pub present: usize,
    /// Under the changed ones.
    pub changed: usize,
    /// Only under the changed ones.
    pub came: usize,
    /// Only under the present ones.
    pub gone: usize,
    /// Under both, and not the same.
    pub moved: usize,
    /// Under both, and the same.
    pub same: usize,
}

/// Matches the occurrences of both sides: the same alarm at times that overlap
/// or touch, each with one of the other side, the earlier ones first. An alarm
/// that falls in two moves and comes. The rows stand in order of time.
pub fn compare(present: &[Occurrence], changed: &[Occurrence]) -> Vec<Row> {
    let mut sides: BTreeMap<&AlarmName, [Vec<Times>; 2]> = BTreeMap::new();
    for (side, occurrences) in [present, changed].into_iter().enumerate() {
        for one in occurrences {
            sides.entry(&one.alarm).or_default()[side].push(times(one));
        }
    }
    let mut rows = Vec::new();
    for (alarm, [mut present, mut changed]) in sides {
        present.sort_by_key(order);
        changed.sort_by_key(order);
        match_one(alarm, &present, &changed, &mut rows);
    }
    rows.sort_by(|a, b| (begins(a), &a.alarm, a.change).cmp(&(begins(b), &b.alarm, b.change)));
    rows
}

/// How many there are by condition.
pub fn by_condition(rows: &[Row]) -> BTreeMap<Arc<str>, Counts> {
    let mut counts: BTreeMap<Arc<str>, Counts> = BTreeMap::new();
    for row in rows {
        let condition = Arc::clone(&row.alarm.condition);
        counts.entry(condition).or_default().add(row, |_| true);
    }
    counts
}

/// How many there are by priority. One that moves from one priority to another
/// counts as moved in both.
pub fn by_priority(rows: &[Row]) -> BTreeMap<Priority, Counts> {
    let mut counts: BTreeMap<Priority, Counts> = BTreeMap::new();
    for row in rows {
        let priorities = [row.present, row.changed].map(|times| times.map(|times| times.priority));
        let [present, changed] = priorities;
        let second = changed.filter(|_| changed != present);
        for priority in present.into_iter().chain(second) {
            let of_it = |times: Times| times.priority == priority;
            counts.entry(priority).or_default().add(row, of_it);
        }
    }
    counts
}

impl Counts {
    /// How many there are altogether.
    pub fn of(rows: &[Row]) -> Self {
        let mut counts = Counts::default();
        rows.iter().for_each(|row| counts.add(row, |_| true));
        counts
    }

    /// Counts a row, and its sides that are `wanted`.
    fn add(&mut self, row: &Row, wanted: impl Fn(Times) -> bool) {
        self.present += usize::from(row.present.is_some_and(&wanted));
        self.changed += usize::from(row.changed.is_some_and(&wanted));
        let of_change = match row.change {
            Change::Came => &mut self.came,
            Change::Gone => &mut self.gone,
            Change::Moved => &mut self.moved,
            Change::Same => &mut self.same,
        };
        *of_change += 1;
    }
}

fn match_one(alarm: &AlarmName, present: &[Times], changed: &[Times], rows: &mut Vec<Row>) {
    let (mut ours, mut theirs) = (present.iter().peekable(), changed.iter().peekable());
    loop {
        let pair = match (ours.peek(), theirs.peek()) {
            (None, None) => return,
            (Some(a), Some(b)) if end(a) < b.raised => (ours.next(), None),
            (Some(a), Some(b)) if end(b) < a.raised => (None, theirs.next()),
            (Some(_), Some(_)) => (ours.next(), theirs.next()),
            (Some(_), None) => (ours.next(), None),
            (None, Some(_)) => (None, theirs.next()),
        };
        rows.push(row(alarm, pair.0.copied(), pair.1.copied()));
    }
}

fn row(alarm: &AlarmName, present: Option<Times>, changed: Option<Times>) -> Row {
    let both = present.zip(changed);
    let ends = both.and_then(|(a, b)| Some((a.ended?, b.ended?)));
    Row {
        change: match (present, changed) {
            (None, _) => Change::Came,
            (_, None) => Change::Gone,
            (a, b) if a == b => Change::Same,
            _ => Change::Moved,
        },
        alarm: alarm.clone(),
        present,
        changed,
        raised_later: both.map(|(a, b)| b.raised - a.raised),
        ended_later: ends.map(|(a, b)| b - a),
    }
}

fn times(one: &Occurrence) -> Times {
    Times {
        priority: one.priority,
        raised: one.raised,
        ended: one.ended,
    }
}

fn order(times: &Times) -> (Timestamp, Timestamp, Priority) {
    (times.raised, end(times), times.priority)
}

fn end(times: &Times) -> Timestamp {
    times.ended.unwrap_or(Timestamp::MAX)
}

fn begins(row: &Row) -> Timestamp {
    let sides = [row.present, row.changed].into_iter().flatten();
    let raised = sides.map(|times| times.raised);
    raised.min().unwrap_or(Timestamp::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn at(minute: i64) -> Timestamp {
        Timestamp::from_millis(minute * 60_000)
    }

    fn occurrence(sump: &str, priority: Priority, from: i64, to: Option<i64>) -> Occurrence {
        Occurrence {
            alarm: AlarmName {
                sump: sump.into(),
                condition: "concentration.low".into(),
            },
            priority,
            raised: at(from),
            acknowledged: None,
            ended: to.map(at),
            hidden: false,
        }
    }

    #[test]
    fn what_comes_goes_moves_and_stays_is_told_apart() {
        let low = Priority::Low;
        let present = [
            occurrence("s0", low, 0, Some(10)),
            occurrence("s0", low, 100, Some(120)),
            occurrence("s0", low, 200, Some(300)),
            occurrence("s1", low, 100, None),
        ];
        let changed = [
            occurrence("s1", Priority::High, 90, None),
            occurrence("s0", low, 0, Some(10)),
            occurrence("s0", low, 230, Some(250)),
            occurrence("s0", low, 260, Some(310)),
            occurrence("s2", low, 5, Some(6)),
        ];
        let rows = compare(&present, &changed);
        let minutes = |span: Option<Span>| span.map(|span| span.millis() / 60_000);
        let found: Vec<_> = rows
            .iter()
            .map(|row| {
                let moved = (minutes(row.raised_later), minutes(row.ended_later));
                (&*row.alarm.sump, row.change, moved)
            })
            .collect();
        assert_eq!(
            found,
            [
                ("s0", Change::Same, (Some(0), Some(0))),
                ("s2", Change::Came, (None, None)),
                ("s1", Change::Moved, (Some(-10), None)),
                ("s0", Change::Gone, (None, None)),
                ("s0", Change::Moved, (Some(30), Some(-50))),
                ("s0", Change::Came, (None, None)),
            ]
        );
        let of = by_condition(&rows)["concentration.low"];
        let expected = Counts {
            present: 4,
            changed: 5,
            came: 2,
            gone: 1,
            moved: 2,
            same: 1,
        };
        assert_eq!(of, expected);
        let of = by_priority(&rows);
        assert_eq!(
            (of[&low].present, of[&low].changed, of[&low].moved),
            (4, 4, 2)
        );
        let high = of[&Priority::High];
        assert_eq!((high.present, high.changed, high.moved), (0, 1, 1));
    }

    /// Occurrences of three alarms, each of which stands once at a time.
    fn any_side() -> impl Strategy<Value = Vec<Occurrence>> {
        let one = (
            0usize..3,
            0i64..30,
            0i64..30,
            prop_oneof![Just(Priority::Low), Just(Priority::High)],
        );
        prop::collection::vec(one, 0..40).prop_map(|all| {
            let mut clocks = [0i64; 3];
            let each = all.into_iter().map(|(which, pause, long, priority)| {
                let from = clocks[which] + pause;
                clocks[which] = from + long;
                occurrence(&format!("s{which}"), priority, from, Some(from + long))
            });
            each.collect()
        })
    }

    proptest! {
        #[test]
        fn every_occurrence_stands_in_exactly_one_row(present in any_side(), changed in any_side()) {
            let rows = compare(&present, &changed);
            let side = |of: fn(&Row) -> Option<Times>| {
                let mut all: Vec<_> = rows
                    .iter()
                    .filter_map(|row| Some((row.alarm.clone(), order(&of(row)?))))
                    .collect();
                all.sort();
                all
            };
            let plain = |occurrences: &[Occurrence]| {
                let mut all: Vec<_> = occurrences
                    .iter()
                    .map(|one| (one.alarm.clone(), order(&times(one))))
                    .collect();
                all.sort();
                all
            };
            prop_assert_eq!(side(|row| row.present), plain(&present));
            prop_assert_eq!(side(|row| row.changed), plain(&changed));
            for row in &rows {
                match (row.present, row.changed) {
                    (Some(a), Some(b)) => {
                        prop_assert!(a.raised <= end(&b) && b.raised <= end(&a));
                        prop_assert_eq!(row.change == Change::Same, a == b);
                    }
                    (None, None) => prop_assert!(false, "an empty row"),
                    (a, _) => prop_assert_eq!(row.change == Change::Gone, a.is_some()),
                }
            }
            let counts = by_condition(&rows).into_values().next().unwrap_or_default();
            prop_assert_eq!((counts.present, counts.changed), (present.len(), changed.len()));
            let of_priorities: usize = by_priority(&rows).values().map(|counts| counts.present).sum();
            prop_assert_eq!(of_priorities, present.len());
        }

        #[test]
        fn the_same_settings_change_nothing(side in any_side()) {
            let rows = compare(&side, &side);
            prop_assert_eq!(rows.len(), side.len());
            prop_assert!(rows.iter().all(|row| row.change == Change::Same));
        }

        #[test]
        fn the_order_in_which_they_are_given_does_not_matter(present in any_side(), changed in any_side()) {
            let mut backwards = (present.clone(), changed.clone());
            backwards.0.reverse();
            backwards.1.reverse();
            prop_assert_eq!(compare(&present, &changed), compare(&backwards.0, &backwards.1));
        }
    }
}
