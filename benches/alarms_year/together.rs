//! The alarms of several plants of one calendar, as one person with three
//! hundred sumps gets them.

use std::collections::BTreeMap;

use sumpward::units::Timestamp;

/// Sumps that one person looks after.
const SUMPS: usize = 300;

/// Of so many whole plants of the same calendar, taken together as one: the
/// share of periods of ten minutes with more than 10 alarms, most in one, and
/// the share of hours with more than 30, as they are for three hundred sumps.
#[derive(Debug, Clone, Copy)]
pub(super) struct Together {
    pub(super) sumps: usize,
    pub(super) a_day: f64,
    pub(super) tens_above_10: f64,
    pub(super) most_in_ten: u32,
    pub(super) hours_above_30: f64,
}

/// Alarms of sumps of one calendar, each sump's by itself, from a time on and
/// over so many days; of the first three hundred.
pub(super) fn together(sumps: &[Vec<Timestamp>], start: Timestamp, days: i64) -> Together {
    let sumps = &sumps[..sumps.len().min(SUMPS)];
    let all = || sumps.iter().flatten();
    let in_periods = |minutes: i64| {
        let mut periods: BTreeMap<i64, u32> = BTreeMap::new();
        for time in all() {
            let period = (*time - start).millis().div_euclid(60_000 * minutes);
            *periods.entry(period).or_default() += 1;
        }
        periods
    };
    let share_above = |periods: &BTreeMap<i64, u32>, most: u32, minutes: i64| {
        let above = periods.values().filter(|n| **n > most).count();
        above as f64 / ((days * 1440) as f64 / minutes as f64)
    };
    let (tens, hours) = (in_periods(10), in_periods(60));
    Together {
        sumps: sumps.len(),
        a_day: all().count() as f64 / days as f64,
        tens_above_10: share_above(&tens, 10, 10),
        most_in_ten: tens.values().copied().max().unwrap_or(0),
        hours_above_30: share_above(&hours, 30, 60),
    }
}
