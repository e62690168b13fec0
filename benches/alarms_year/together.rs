//! The alarms of several plants of one calendar, as one person with three
//! hundred sumps gets them.

use std::collections::BTreeMap;

use sumpward::simulate::year::stands_still;
use sumpward::units::{Span, Timestamp};

/// Sumps that one person looks after.
const SUMPS: usize = 300;

/// Alarms of one sump, with what they are about.
pub(super) type Came = Vec<(Timestamp, String)>;

/// Of so many whole plants of the same calendar, taken together as one: the
/// share of periods of ten minutes with more than 10 alarms, most in one, and
/// the share of hours with more than 30, as they are for three hundred sumps.
#[derive(Debug, Clone)]
pub(super) struct Together {
    pub(super) sumps: usize,
    pub(super) a_day: f64,
    pub(super) tens_above_10: f64,
    pub(super) most_in_ten: usize,
    /// Likewise, the first day after a stand-still left out: then sumps by the
    /// dozen truly are sour, and start at the same minute.
    pub(super) most_in_ten_else: usize,
    pub(super) hours_above_30: f64,
    /// The fullest periods of ten minutes: when, and how many of what.
    pub(super) fullest: Vec<(Timestamp, BTreeMap<String, usize>)>,
}

/// So many of the fullest periods are shown.
const SHOWN: usize = 8;

/// Alarms of sumps of one calendar, each sump's by itself, from a time on and
/// over so many days; of the first three hundred.
pub(super) fn together(sumps: &[Came], start: Timestamp, days: i64) -> Together {
    let sumps = &sumps[..sumps.len().min(SUMPS)];
    let all = || sumps.iter().flatten();
    let in_periods = |minutes: i64| {
        let mut periods: BTreeMap<i64, Vec<&str>> = BTreeMap::new();
        for (time, condition) in all() {
            let period = (*time - start).millis().div_euclid(60_000 * minutes);
            periods.entry(period).or_default().push(condition);
        }
        periods
    };
    let share_above = |periods: &BTreeMap<i64, Vec<&str>>, most: usize, minutes: i64| {
        let above = periods
            .values()
            .filter(|alarms| alarms.len() > most)
            .count();
        above as f64 / ((days * 1440) as f64 / minutes as f64)
    };
    let else_ = |(period, _): &(&i64, &Vec<&str>)| {
        let time = start + Span::from_mins(10 * **period);
        stands_still(time) || !stands_still(time - Span::from_hours(24))
    };
    let (tens, hours) = (in_periods(10), in_periods(60));
    let mut fullest: Vec<(&i64, &Vec<&str>)> = tens.iter().collect();
    fullest.sort_by_key(|(_, alarms)| std::cmp::Reverse(alarms.len()));
    let counted = |(period, alarms): (&i64, &Vec<&str>)| {
        let mut of = BTreeMap::new();
        for condition in alarms {
            *of.entry((*condition).to_owned()).or_default() += 1;
        }
        (start + Span::from_mins(10 * period), of)
    };
    Together {
        sumps: sumps.len(),
        a_day: all().count() as f64 / days as f64,
        tens_above_10: share_above(&tens, 10, 10),
        most_in_ten: tens.values().map(Vec::len).max().unwrap_or(0),
        most_in_ten_else: tens
            .iter()
            .filter(else_)
            .map(|(_, alarms)| alarms.len())
            .max()
            .unwrap_or(0),
        hours_above_30: share_above(&hours, 30, 60),
        fullest: fullest.into_iter().take(SHOWN).map(counted).collect(),
    }
}
