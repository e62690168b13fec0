//! How often people are told.
//!
//! The bounds are those of ISA-18.2 and IEC 62682 for one person (memory):
//! about 144 a day, 6 an hour and 1 in ten minutes are very likely acceptable,
//! twice as many are the most that is manageable; no more than ten in any ten
//! minutes; less than one in a hundred hours has more than 30, and less than one
//! in a hundred periods of ten minutes more than ten.

use std::collections::{HashMap, VecDeque};

use super::figure::{Bound, Figure, Unit, share};
use super::period::Period;
use crate::units::{Span, Timestamp};

const DAY: Span = Span::from_hours(24);
const HOUR: Span = Span::from_hours(1);
/// The period of the standard's figures and of a flood.
pub(super) const TEN_MINUTES: Span = Span::from_mins(10);

/// More than so many in an hour are too many.
const MANY_IN_AN_HOUR: u64 = 30;
/// More than so many in ten minutes are too many.
pub(super) const MANY_IN_TEN_MINUTES: u64 = 10;

/// The rates of annunciations at these times, which stand in order and all lie
/// in the period. The means are multiplied by `scale`.
pub(super) fn rates(times: &[Timestamp], period: Period, scale: f64) -> Vec<Figure> {
    let mean = |name, step, acceptable| {
        let count = times.len() as f64 * scale;
        Figure::plain(name, Unit::Count, share(count, period.in_steps(step))).against(
            Bound::AtMost(acceptable),
            Some(Bound::AtMost(2.0 * acceptable)),
        )
    };
    let most = |name, step| {
        let most = most_within(times, step) as f64;
        Figure::plain(name, Unit::Count, Some(most))
    };
    let above = |name, step, many| {
        let parts = parts_above(times, period, step, many) as f64;
        let share = share(parts, period.parts(step) as f64);
        Figure::plain(name, Unit::Share, share).against(Bound::Below(0.01), None)
    };
    vec![
        mean("per_day", DAY, 144.0),
        mean("per_hour", HOUR, 6.0),
        mean("per_ten_minutes", TEN_MINUTES, 1.0),
        most("most_in_a_day", DAY),
        most("most_in_an_hour", HOUR),
        most("most_in_ten_minutes", TEN_MINUTES)
            .against(Bound::AtMost(MANY_IN_TEN_MINUTES as f64), None),
        above("hours_above_30", HOUR, MANY_IN_AN_HOUR),
        above("ten_minutes_above_10", TEN_MINUTES, MANY_IN_TEN_MINUTES),
    ]
}

/// The most that lie within any time shorter than `step`, wherever it begins.
fn most_within(times: &[Timestamp], step: Span) -> usize {
    let mut window = VecDeque::new();
    let mut most = 0;
    for &time in times {
        window.push_back(time);
        while window.front().is_some_and(|&first| time - first >= step) {
            window.pop_front();
        }
        most = most.max(window.len());
    }
    most
}

/// How many parts of the period have more than `many`.
fn parts_above(times: &[Timestamp], period: Period, step: Span, many: u64) -> usize {
    let mut parts: HashMap<i64, u64> = HashMap::new();
    for &time in times {
        *parts.entry(period.part(time, step)).or_default() += 1;
    }
    parts.values().filter(|&&count| count > many).count()
}
