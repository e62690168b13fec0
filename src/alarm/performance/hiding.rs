//! How often and for how long alarms were hidden.

use serde::Serialize;

use super::course::Hidden;
use super::event::Standing;
use super::period::Period;

/// How often alarms were hidden in one way, and for how long.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct HiddenTime {
    /// In which way.
    pub standing: Standing,
    /// How often that was so in the period.
    pub count: usize,
    /// For how long altogether within the period, hours.
    pub hours: f64,
}

/// By way, in the same order whatever there was.
pub(super) fn hidden_times(hidden: &[Hidden], period: Period) -> Vec<HiddenTime> {
    let ways = [
        Standing::Shelved,
        Standing::Suppressed,
        Standing::OutOfService,
    ];
    let each = ways.into_iter().map(|standing| {
        let spans: Vec<_> = hidden
            .iter()
            .filter(|one| one.standing == standing)
            .filter(|one| one.from < period.to && one.until.is_none_or(|end| end > period.from))
            .map(|one| period.overlap(one.from, one.until.unwrap_or(period.to)))
            .collect();
        let millis: i64 = spans.iter().map(|span| span.millis()).sum();
        HiddenTime {
            standing,
            count: spans.len(),
            hours: millis as f64 / 3_600_000.0,
        }
    });
    each.collect()
}
