//! How soon people take alarms on.

use super::course::Occurrence;
use super::figure::{Figure, Unit};

/// Median and nine tenths of the time from an alarm to its acknowledgement, of
/// those that were raised in the period and taken on by its end, and how many
/// were not.
pub(super) fn times<'a>(raised: impl Iterator<Item = &'a Occurrence>) -> Vec<Figure> {
    let mut never = 0u64;
    let mut minutes = Vec::new();
    for one in raised {
        match one.acknowledged {
            Some(at) => minutes.push((at - one.raised).secs_f64() / 60.0),
            None => never += 1,
        }
    }
    minutes.sort_by(f64::total_cmp);
    let figure = |name, value| Figure::plain(name, Unit::Min, value);
    let never = Some(never as f64);
    vec![
        figure("median_time_to_acknowledge", quantile(&minutes, 0.5)),
        figure("tenth_longest_time_to_acknowledge", quantile(&minutes, 0.9)),
        Figure::plain("never_acknowledged", Unit::Count, never),
    ]
}

/// The smallest of the sorted values that at least this share of them does not
/// exceed (the nearest rank).
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let rank = (share * sorted.len() as f64).ceil() as usize;
    sorted.get(rank.max(1) - 1).copied()
}
