//! The alarms of several plants of one calendar, as one person with three
//! hundred sumps gets them.

use std::collections::BTreeMap;

use sumpward::engine::StartUpSetup;
use sumpward::units::{Span, Timestamp};

use super::trial::count::Came;
use super::trial::start_up::{Listed, plant_alarms};

/// Sumps that one person looks after.
const SUMPS: usize = 300;

/// Alarms of one sump.
pub(super) type OfSump = Vec<Came>;

/// Of so many whole plants of the same calendar, taken together as one: the
/// share of periods of ten minutes with more than 10 alarms, most in one, and
/// the share of hours with more than 30, as they are for three hundred sumps.
#[derive(Debug, Clone)]
pub(super) struct Together {
    pub(super) sumps: usize,
    pub(super) a_day: f64,
    pub(super) tens_above_10: f64,
    pub(super) most_in_ten: usize,
    pub(super) hours_above_30: f64,
    /// Share of the alarms that the ten most frequent make, each of one sump.
    pub(super) top_ten: f64,
    /// Most alarms that were stale at one time of the worst day, on how many days
    /// more than four were, and what they were about on the worst.
    pub(super) stale: Stale,
    /// The fullest periods of ten minutes: when, and how many of what.
    pub(super) fullest: Vec<(Timestamp, BTreeMap<String, usize>)>,
    /// When the plant's alarm about a start came, and of how much.
    pub(super) of_plant: Vec<(Timestamp, String)>,
}

/// How many alarms were stale.
#[derive(Debug, Clone, Default)]
pub(super) struct Stale {
    pub(super) on_worst_day: usize,
    pub(super) days_above_4: usize,
    pub(super) worst_days: Vec<(Timestamp, BTreeMap<String, usize>)>,
}

/// So many of the fullest periods are shown.
const SHOWN: usize = 8;

/// Alarms of sumps of one calendar, each sump's by itself, from a time on and
/// over so many days; of the first three hundred, as one plant that tells of what is
/// listed at a start.
pub(super) fn together(
    (sumps, listed): (&[OfSump], &[Vec<Listed>]),
    start_up: StartUpSetup,
    start: Timestamp,
    days: i64,
) -> Together {
    let count = sumps.len().min(SUMPS);
    let end = start + Span::from_hours(24 * days);
    let of_plant = plant_alarms(start_up, listed[..count].iter().map(Vec::as_slice), end);
    let plant = of_plant.iter().map(|told| Came::of(told, end)).collect();
    let sumps = &[&sumps[..count], &[plant]].concat()[..];
    let all = || sumps.iter().flatten();
    let in_periods = |minutes: i64| {
        let mut periods: BTreeMap<i64, Vec<&str>> = BTreeMap::new();
        for Came {
            time, condition, ..
        } in all()
        {
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
    let (tens, hours) = (in_periods(10), in_periods(60));
    let mut fullest: Vec<(&i64, &Vec<&str>)> = tens.iter().collect();
    fullest.sort_by_key(|(_, alarms)| std::cmp::Reverse(alarms.len()));
    let counted = |(period, alarms): (&i64, &Vec<&str>)| {
        (start + Span::from_mins(10 * period), by_condition(alarms))
    };
    Together {
        sumps: count,
        a_day: all().count() as f64 / days as f64,
        tens_above_10: share_above(&tens, 10, 10),
        most_in_ten: tens.values().map(Vec::len).max().unwrap_or(0),
        hours_above_30: share_above(&hours, 30, 60),
        top_ten: top_ten(sumps),
        stale: stale(sumps, start),
        fullest: fullest.into_iter().take(SHOWN).map(counted).collect(),
        of_plant: of_plant
            .iter()
            .map(|told| (told.time, told.beside.clone()))
            .collect(),
    }
}

fn by_condition(alarms: &[&str]) -> BTreeMap<String, usize> {
    let mut of = BTreeMap::new();
    for condition in alarms {
        *of.entry((*condition).to_owned()).or_default() += 1;
    }
    of
}

fn top_ten(sumps: &[OfSump]) -> f64 {
    let mut counts = Vec::new();
    for came in sumps {
        let conditions: Vec<&str> = came.iter().map(|one| one.condition.as_str()).collect();
        counts.extend(by_condition(&conditions).into_values());
    }
    counts.sort_unstable_by_key(|count| std::cmp::Reverse(*count));
    let all: usize = counts.iter().sum();
    counts.iter().take(10).sum::<usize>() as f64 / all.max(1) as f64
}

/// An alarm counts for each day on which it was stale for a while, as in the
/// product's own figure.
fn stale(sumps: &[OfSump], start: Timestamp) -> Stale {
    let mut days: BTreeMap<i64, Vec<&str>> = BTreeMap::new();
    for came in sumps.iter().flatten() {
        for (from, to) in &came.stale {
            let day = |time: Timestamp| (time - start).millis().div_euclid(86_400_000);
            for day in day(*from)..=day(*to) {
                days.entry(day).or_default().push(&came.condition);
            }
        }
    }
    let mut worst: Vec<(&i64, &Vec<&str>)> = days.iter().collect();
    worst.sort_by_key(|(_, alarms)| std::cmp::Reverse(alarms.len()));
    Stale {
        on_worst_day: worst.first().map_or(0, |(_, alarms)| alarms.len()),
        days_above_4: days.values().filter(|alarms| alarms.len() > 4).count(),
        worst_days: worst
            .into_iter()
            .take(SHOWN)
            .map(|(day, alarms)| (start + Span::from_hours(24 * day), by_condition(alarms)))
            .collect(),
    }
}
