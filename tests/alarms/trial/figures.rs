//! The performance figures of ISA-18.2 (2016, clause 16; the figures and what is
//! called "very likely to be acceptable" are from memory), for one person who
//! has three hundred sumps.

use std::collections::BTreeMap;

use sumpward::engine::Priority;
use sumpward::units::{Span, Timestamp};

use super::record::{SumpRecord, Told};

/// Sumps that one person looks after.
const SUMPS: f64 = 300.0;

/// The figures. Rates and shares of periods are scaled to [`SUMPS`].
#[derive(Debug, Clone, Default)]
pub(crate) struct Figures {
    /// Alarms a day on average; very likely acceptable to 150.
    pub(crate) a_day: f64,
    /// Most on one day.
    pub(crate) most_a_day: f64,
    /// Share of periods of ten minutes with more than 10; to 1 %.
    pub(crate) tens_above_10: f64,
    /// Most in ten minutes; to 10.
    pub(crate) most_in_ten: f64,
    /// Share of hours with more than 30; to 1 %.
    pub(crate) hours_above_30: f64,
    /// Share of the alarms that the ten most frequent make; to 5 %.
    pub(crate) top_ten: f64,
    /// Occurrences that came again three times within a minute; none.
    pub(crate) chattering: u32,
    /// How many stood for more than a day, on average; the most on any day is
    /// only to be seen with all [`SUMPS`].
    pub(crate) stale: f64,
    /// Shares of low, medium and high; about 80, 15 and 5 %.
    pub(crate) priorities: [f64; 3],
    /// Median time to an acknowledgement, min.
    pub(crate) to_acknowledge_min: f64,
}

/// The figures of one plant. Each sump stands for as many as make up the three
/// hundred, spread evenly: a period's count is scaled, so that what comes at
/// once at all sumps counts in full. The plant's own alarms are not: they count for
/// as many as they are among those of a day, and are too few for the other figures.
pub(crate) fn figures(records: &[SumpRecord], of_plant: &[Told]) -> Figures {
    let all: Vec<(usize, &Told)> = records
        .iter()
        .enumerate()
        .flat_map(|(place, record)| record.told.iter().map(move |told| (place, told)))
        .filter(|(_, told)| told.comes_singly())
        .collect();
    let Some(first) = records.first() else {
        return Figures::default();
    };
    let scale = SUMPS / records.len() as f64;
    let length = first.end() - first.start;
    let days = length.secs_f64() / 86_400.0;
    let count = all.len() as f64;
    let tens = periods(&all, first.start, Span::from_mins(10));
    let hours = periods(&all, first.start, Span::from_mins(60));
    let per_day = periods(&all, first.start, Span::from_hours(24));
    let above = |periods: &BTreeMap<i64, u32>, most: f64, period: Span| {
        let above = periods.values().filter(|n| f64::from(**n) * scale > most);
        above.count() as f64 / (length.secs_f64() / period.secs_f64())
    };
    let most = |periods: &BTreeMap<i64, u32>| {
        f64::from(periods.values().copied().max().unwrap_or(0)) * scale
    };
    let of = |priority| {
        let of = all
            .iter()
            .filter(|(_, told)| told.priority == Some(priority));
        of.count() as f64 / count.max(1.0)
    };
    Figures {
        a_day: (count * scale + of_plant.len() as f64) / days,
        most_a_day: most(&per_day),
        tens_above_10: above(&tens, 10.0, Span::from_mins(10)),
        most_in_ten: most(&tens),
        hours_above_30: above(&hours, 30.0, Span::from_mins(60)),
        top_ten: top_ten(&all, scale),
        chattering: chattering(&all),
        stale: stale(&all, first.start, first.end()) * scale,
        priorities: [of(Priority::Low), of(Priority::Medium), of(Priority::High)],
        to_acknowledge_min: to_acknowledge(&all),
    }
}

fn periods(all: &[(usize, &Told)], start: Timestamp, length: Span) -> BTreeMap<i64, u32> {
    let mut periods = BTreeMap::new();
    for (_, told) in all {
        let period = (told.time - start).millis().div_euclid(length.millis());
        *periods.entry(period).or_default() += 1;
    }
    periods
}

/// By sump and condition: each is an alarm of its own. As each sump stands for
/// several, so does each of its alarms: of ten sumps the most frequent one makes
/// all ten of three hundred.
fn top_ten(all: &[(usize, &Told)], scale: f64) -> f64 {
    let mut by: BTreeMap<(usize, &str), u32> = BTreeMap::new();
    for (place, told) in all {
        *by.entry((*place, told.condition.as_str())).or_default() += 1;
    }
    let mut counts: Vec<u32> = by.into_values().collect();
    counts.sort_unstable_by(|a, b| b.cmp(a));
    let mut left = 10.0 / scale;
    let of = |count: u32| {
        let share = left.clamp(0.0, 1.0);
        left -= share;
        share * f64::from(count)
    };
    counts.into_iter().map(of).sum::<f64>() / (all.len().max(1) as f64)
}

fn chattering(all: &[(usize, &Told)]) -> u32 {
    let mut by: BTreeMap<(usize, &str), Vec<Timestamp>> = BTreeMap::new();
    for (place, told) in all {
        let of = by.entry((*place, told.condition.as_str())).or_default();
        of.push(told.time);
    }
    let minute = Span::from_mins(1);
    let of = |times: &Vec<Timestamp>| {
        let three = times
            .windows(3)
            .filter(|three| three[2] - three[0] <= minute);
        u32::try_from(three.count()).unwrap_or(u32::MAX)
    };
    by.values().map(of).sum()
}

/// Alarms that stand for more than a day, on an average day.
fn stale(all: &[(usize, &Told)], start: Timestamp, end: Timestamp) -> f64 {
    let stretches = all.iter().flat_map(|(_, told)| told.stale(end));
    let stale_s: f64 = stretches.map(|(from, to)| (to - from).secs_f64()).sum();
    stale_s / (end - start).secs_f64()
}

fn to_acknowledge(all: &[(usize, &Told)]) -> f64 {
    let times = all.iter().filter_map(|(_, told)| {
        let taken = told.acknowledged?;
        Some((taken - told.time).secs_f64() / 60.0)
    });
    let mut times: Vec<f64> = times.collect();
    times.sort_by(f64::total_cmp);
    times.get(times.len() / 2).copied().unwrap_or(0.0)
}
