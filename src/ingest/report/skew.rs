//! How the times that a source gives stand to when they arrive.

use std::collections::VecDeque;

use serde::Serialize;

use crate::engine::AdmissionSetup;
use crate::units::{Span, Timestamp};

/// Readings that the distances are taken over.
const READINGS: usize = 500;
/// A clock this far ahead is told. Choice: what NTP keeps is far better, and
/// rounding to whole seconds stays below it.
const AHEAD: Span = Span::from_secs(3);

/// The distances of the newest readings, and counts of all.
#[derive(Debug, Default)]
pub(super) struct Skew {
    /// Time given minus time of arrival, ms.
    newest: VecDeque<i64>,
    late: u64,
    future: u64,
    too_old: u64,
}

/// How the clock of a source stands to ours.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClockStatus {
    /// Readings with a time of their own that the two figures are taken over.
    pub readings: usize,
    /// Median of time given minus time of arrival, s: above 0 the source is
    /// ahead.
    pub median_s: Option<f64>,
    /// The same of the reading that was furthest from its arrival, s.
    pub worst_s: Option<f64>,
    /// Readings, since the start, that came later after their time than
    /// `late_after`.
    pub late: u64,
    /// Readings, since the start, from further ahead than `future_skew`.
    pub future: u64,
    /// Readings, since the start, from before the oldest time that is believed.
    pub too_old: u64,
    /// All that in words.
    pub text: String,
}

impl Skew {
    /// A reading came that had a time of its own.
    pub(super) fn handle(
        &mut self,
        claimed: Timestamp,
        arrival: Timestamp,
        admission: &AdmissionSetup,
    ) {
        let distance = claimed - arrival;
        let behind = arrival - claimed;
        if distance > admission.future_skew {
            self.future += 1;
        } else if behind > admission.oldest {
            self.too_old += 1;
        } else if behind > admission.late_after {
            self.late += 1;
        }
        if self.newest.len() == READINGS {
            self.newest.pop_front();
        }
        self.newest.push_back(distance.millis());
    }

    /// Where it stands now.
    pub(super) fn status(&self, admission: &AdmissionSetup) -> ClockStatus {
        let mut sorted: Vec<i64> = self.newest.iter().copied().collect();
        sorted.sort_unstable();
        let median = sorted.get(sorted.len() / 2).copied();
        let worst = sorted
            .iter()
            .copied()
            .max_by_key(|distance| distance.unsigned_abs());
        let seconds = |distance: i64| distance as f64 / 1000.0;
        ClockStatus {
            readings: sorted.len(),
            median_s: median.map(seconds),
            worst_s: worst.map(seconds),
            late: self.late,
            future: self.future,
            too_old: self.too_old,
            text: words(median, admission),
        }
    }
}

fn words(median: Option<i64>, admission: &AdmissionSetup) -> String {
    let Some(median) = median else {
        return "No reading had a time of its own.".to_owned();
    };
    let by = rounded(median);
    if Span::from_millis(median) > admission.future_skew {
        format!(
            "The clock is {by} ahead of ours, too far to be believed: set it, or let it follow a time server."
        )
    } else if Span::from_millis(median) > AHEAD {
        format!("The clock is {by} ahead of ours: set it, or let it follow a time server.")
    } else if Span::from_millis(-median) > admission.late_after {
        format!(
            "Readings come {by} after their own times: they are held back on the way, or the clock is behind."
        )
    } else {
        format!("The clock agrees with ours (to {by}, the time on the way included).")
    }
}

/// The length of it, from a second on in whole ones.
fn rounded(millis: i64) -> Span {
    let length = millis.saturating_abs();
    let whole = |millis: i64| millis.saturating_add(500) / 1000 * 1000;
    Span::from_millis(if length < 1000 { length } else { whole(length) })
}

#[cfg(test)]
mod tests {
    use super::*;

    const ADMISSION: AdmissionSetup = AdmissionSetup {
        future_skew: Span::from_secs(60),
        oldest: Span::from_hours(24),
        late_after: Span::from_mins(2),
    };
    const ARRIVAL: Timestamp = Timestamp::from_millis(1_700_000_000_000);

    fn status(distances_s: &[i64]) -> ClockStatus {
        let mut skew = Skew::default();
        for seconds in distances_s {
            skew.handle(ARRIVAL + Span::from_secs(*seconds), ARRIVAL, &ADMISSION);
        }
        skew.status(&ADMISSION)
    }

    #[test]
    fn one_reading_from_nowhere_moves_the_worst_and_not_the_median() {
        let clock = status(&[0, -1, -1, 4_000_000, 0]);
        assert_eq!((clock.median_s, clock.worst_s), (Some(0.0), Some(4e6)));
        assert_eq!((clock.late, clock.future, clock.too_old), (0, 1, 0));
        assert!(clock.text.contains("agrees"), "{}", clock.text);
    }

    #[test]
    fn clocks_that_are_wrong_are_told_as_what_they_are() {
        for (seconds, words) in [
            (45, "45 s ahead"),
            (600, "10 min ahead of ours, too far"),
            (-600, "come 10 min after"),
            (-86_400 * 20_000, "come 20000 d after"),
            (-60, "agrees"),
        ] {
            let text = status(&[seconds; 3]).text;
            assert!(text.contains(words), "{seconds} s: {text}");
        }
        assert_eq!(status(&[-600, -90_000]).late, 1);
        assert_eq!(status(&[-600, -90_000]).too_old, 1);
    }

    #[test]
    fn nothing_is_said_of_a_source_without_times() {
        let clock = status(&[]);
        assert_eq!((clock.readings, clock.median_s), (0, None));
    }

    #[test]
    fn only_the_newest_count_and_memory_is_bounded() {
        let mut skew = Skew::default();
        for ms in 0..100_000 {
            let claimed = ARRIVAL + Span::from_millis(ms);
            skew.handle(claimed, ARRIVAL, &ADMISSION);
        }
        assert_eq!(skew.newest.len(), READINGS);
        assert_eq!(skew.status(&ADMISSION).median_s, Some(99.75));
    }
}
