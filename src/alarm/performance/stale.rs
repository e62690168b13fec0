//! Alarms that stand for more than a day.

use std::collections::BTreeMap;

use super::course::Occurrence;
use super::figure::{Bound, Figure, Unit};
use super::period::Period;
use crate::units::{Span, Timestamp};

/// An alarm that stands for longer is stale (ISA-18.2; memory).
const LONG: Span = Span::from_hours(24);
const DAY: Span = Span::from_hours(24);

/// Those that were stale at some time of the period, in the order in which they
/// were raised.
pub(super) fn stale(occurrences: &[Occurrence], period: Period) -> Vec<Occurrence> {
    let mut stale: Vec<Occurrence> = occurrences
        .iter()
        .filter(|one| stale_in(one, period).is_some())
        .cloned()
        .collect();
    stale.sort_by(|a, b| (a.raised, &a.alarm).cmp(&(b.raised, &b.alarm)));
    stale
}

/// From when to when it was stale within the period.
fn stale_in(one: &Occurrence, period: Period) -> Option<(Timestamp, Timestamp)> {
    let from = (one.raised + LONG).max(period.from);
    let to = one.ended.unwrap_or(period.to).min(period.to);
    (from < to).then_some((from, to))
}

/// How many were stale on the worst day; fewer than five on any day are very
/// likely acceptable (memory). Days are counted from the beginning of the
/// period.
pub(super) fn on_worst_day(stale: &[Occurrence], period: Period) -> Figure {
    let mut changes: BTreeMap<i64, i64> = BTreeMap::new();
    for (from, to) in stale.iter().filter_map(|one| stale_in(one, period)) {
        let last = to - Span::from_millis(1);
        *changes.entry(period.part(from, DAY)).or_default() += 1;
        *changes.entry(period.part(last, DAY) + 1).or_default() -= 1;
    }
    let mut now = 0;
    let counts = changes.values().map(|change| {
        now += change;
        now
    });
    let most = counts.max().unwrap_or(0) as f64;
    Figure::plain("stale_on_worst_day", Unit::Count, Some(most)).against(Bound::Below(5.0), None)
}
