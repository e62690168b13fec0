//! Which alarms come most often, and how much of all they make up.

use std::collections::BTreeMap;

use serde::Serialize;

use super::course::Annunciation;
use super::event::AlarmName;
use super::figure::{Bound, Figure, Unit, share};

/// So many are looked at together.
const TEN: usize = 10;

/// How often something came of an alarm.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AlarmCount {
    /// Which alarm.
    #[serde(flatten)]
    pub alarm: AlarmName,
    /// How often.
    pub count: u64,
}

/// How often each alarm was told, the most frequent first, then by name.
pub(super) fn by_frequency<'a>(told: impl Iterator<Item = &'a Annunciation>) -> Vec<AlarmCount> {
    let mut counts: BTreeMap<&AlarmName, u64> = BTreeMap::new();
    for one in told {
        *counts.entry(&one.alarm).or_default() += 1;
    }
    sorted(counts)
}

/// The highest count first, then by name.
pub(super) fn sorted(counts: BTreeMap<&AlarmName, u64>) -> Vec<AlarmCount> {
    let mut counts: Vec<AlarmCount> = counts
        .into_iter()
        .map(|(alarm, count)| AlarmCount {
            alarm: alarm.clone(),
            count,
        })
        .collect();
    counts.sort_by_key(|one| std::cmp::Reverse(one.count));
    counts
}

/// The share of the ten most frequent alarms in all annunciations: below 1 % is
/// very likely acceptable, 5 % the most that is manageable (memory). Where few
/// alarms come at all they make up nearly everything, and the figure says
/// little; where there are no more than ten it is all, whatever they do, and is not
/// judged.
pub(super) fn share_of_ten(by_frequency: &[AlarmCount]) -> Figure {
    let sum = |counts: &[AlarmCount]| counts.iter().map(|one| one.count).sum::<u64>() as f64;
    let ten = &by_frequency[..by_frequency.len().min(TEN)];
    let share = share(sum(ten), sum(by_frequency));
    let mut figure = Figure::plain("share_of_ten_most_frequent", Unit::Share, share)
        .against(Bound::Below(0.01), Some(Bound::AtMost(0.05)));
    if by_frequency.len() <= TEN {
        figure.inside = None;
    }
    figure
}
