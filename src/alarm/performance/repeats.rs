//! Alarms that come and go: chattering, repeating, fleeting.

use std::collections::BTreeMap;

use super::course::{Annunciation, Occurrence};
use super::event::AlarmName;
use super::frequent::{AlarmCount, sorted};
use crate::units::{Span, Timestamp};

/// So often within the time given is too often.
const OFTEN: usize = 3;

/// The times at which each alarm was told, in order.
pub(super) type Told<'a> = BTreeMap<&'a AlarmName, Vec<Timestamp>>;

/// Sorts annunciations by alarm.
pub(super) fn by_alarm<'a>(told: impl Iterator<Item = &'a Annunciation>) -> Told<'a> {
    let mut by_alarm = Told::new();
    for one in told {
        by_alarm.entry(&one.alarm).or_default().push(one.time);
    }
    by_alarm
        .values_mut()
        .for_each(|times| times.sort_unstable());
    by_alarm
}

/// The alarms that came at least three times within `within`, each with how
/// many of its annunciations were among three such. A minute is what ISA-18.2
/// calls chattering (memory).
pub(super) fn repeating(told: &Told<'_>, within: Span) -> Vec<AlarmCount> {
    let counts = told
        .iter()
        .map(|(alarm, times)| (*alarm, in_bursts(times, within)));
    sorted(counts.filter(|(_, count)| *count > 0).collect())
}

fn in_bursts(times: &[Timestamp], within: Span) -> u64 {
    let mut counted_to = 0;
    let mut count = 0;
    for (first, burst) in times.windows(OFTEN).enumerate() {
        if burst[OFTEN - 1] - burst[0] < within {
            let behind = first + OFTEN;
            count += behind - first.max(counted_to);
            counted_to = behind;
        }
    }
    count as u64
}

/// The alarms that went by themselves within `within`, before anybody took
/// them on, and did not come again within as long, before or after; with how
/// often.
pub(super) fn fleeting<'a>(
    occurrences: impl Iterator<Item = &'a Occurrence>,
    told: &Told<'_>,
    within: Span,
) -> Vec<AlarmCount> {
    let mut counts: BTreeMap<&AlarmName, u64> = BTreeMap::new();
    for one in occurrences.filter(|one| went_by_itself(one, within)) {
        let times = told.get(&one.alarm).map_or(&[][..], Vec::as_slice);
        let near = |&&time: &&Timestamp| {
            time != one.raised && (time - one.raised).millis().abs() < within.millis()
        };
        if times.iter().filter(near).count() == 0 {
            *counts.entry(&one.alarm).or_default() += 1;
        }
    }
    sorted(counts)
}

fn went_by_itself(one: &Occurrence, within: Span) -> bool {
    one.ended.is_some_and(|ended| {
        let unanswered = one.acknowledged.is_none_or(|taken_on| taken_on >= ended);
        !one.hidden && unanswered && ended - one.raised <= within
    })
}
