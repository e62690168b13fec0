//! Alarms in such number that nobody can follow them.

use serde::Serialize;

use super::figure::{Bound, Figure, Unit, share};
use super::period::Period;
use super::rate::{MANY_IN_TEN_MINUTES, TEN_MINUTES};
use crate::units::{Span, Timestamp};

/// A flood is over when fewer than so many came within ten minutes (ISA-18.2,
/// IEC 62682; memory).
const FEW: usize = 5;
/// It begins when more than so many came within ten minutes.
const MANY: usize = MANY_IN_TEN_MINUTES as usize;

/// A flood: it begins with the annunciation that makes it more than ten within
/// ten minutes, and ends when the last ten minutes held fewer than five.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Flood {
    /// When it began.
    pub from: Timestamp,
    /// When it ended, or the period did.
    pub to: Timestamp,
    /// How many came in it and in the ten minutes that led to it.
    pub annunciations: usize,
}

impl Flood {
    fn length(&self) -> Span {
        self.to - self.from
    }
}

/// The floods among annunciations at these times, which stand in order and all
/// lie in the period.
pub(super) fn floods(times: &[Timestamp], period: Period) -> Vec<Flood> {
    let mut floods = Vec::new();
    let mut next = MANY;
    while let Some(at) = (next..times.len()).find(|&at| times[at] - times[at - MANY] < TEN_MINUTES)
    {
        let last = last_of(times, at);
        let end = times[last + 1 - FEW] + TEN_MINUTES;
        floods.push(Flood {
            from: times[at],
            to: end.min(period.to),
            annunciations: last + 1 - (at - MANY),
        });
        next = last + 1;
    }
    floods
}

/// Place of the last annunciation of the flood that began with that at `begun`:
/// the next comes when fewer than [`FEW`] are left of ten minutes.
fn last_of(times: &[Timestamp], begun: usize) -> usize {
    let goes_on = |&at: &usize| times[at] - times[at - FEW] <= TEN_MINUTES;
    let more = (begun + 1..times.len()).take_while(goes_on).count();
    begun + more
}

/// How much of the period is flooded.
pub(super) fn share_of_time(floods: &[Flood], period: Period) -> Figure {
    let flooded: i64 = floods.iter().map(|flood| flood.length().millis()).sum();
    let share = share(flooded as f64, period.length().millis() as f64);
    // Less than one per cent (memory).
    Figure::plain("time_in_flood", Unit::Share, share).against(Bound::Below(0.01), None)
}
