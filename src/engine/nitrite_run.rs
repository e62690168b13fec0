//! How often nitrite is to be measured: TRGS 611, section 5.3.
//!
//! Weekly; after three readings in a row below 10 mg/L, with documented control,
//! every four weeks at most; above 10 mg/L weekly again. So exactly 10 mg/L
//! breaks a run and ends no stretch that was reached before. The entries in the
//! journal are the document. Choices, on the safe side: what was read within
//! half a week of a reading that counted is no further one, and a new charge
//! begins anew.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{Span, Timestamp};

/// TRGS 611, section 5.3 (2), mg/L.
pub(super) const LOW_MG_L: f64 = 10.0;
/// TRGS 611, section 5.3 (2).
const IN_A_ROW: u8 = 3;
/// Half a week.
const APART: Span = Span::from_hours(84);
/// So many readings are kept by themselves. Choice: a correction is made soon.
const KEPT: usize = 8;

/// The readings of a charge, as far as the interval goes by them.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default)]
pub(super) struct NitriteRun {
    /// What came of readings that are no longer kept.
    settled: Run,
    /// The newest, in order.
    readings: VecDeque<Reading>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Reading {
    entry: String,
    time: Timestamp,
    mg_l: f64,
}

#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Run {
    below: u8,
    counted: Option<Timestamp>,
    stretched: bool,
}

impl NitriteRun {
    /// Takes in a reading in mg/L.
    pub(super) fn read(&mut self, entry: &str, time: Timestamp, mg_l: f64) {
        let place = self.readings.partition_point(|one| one.time <= time);
        let entry = entry.to_owned();
        self.readings.insert(place, Reading { entry, time, mg_l });
        if self.readings.len() > KEPT
            && let Some(oldest) = self.readings.pop_front()
        {
            self.settled = self.settled.after(&oldest);
        }
    }

    /// The entry does not stand any more.
    pub(super) fn forget(&mut self, entry: &str) {
        self.readings.retain(|one| one.entry != entry);
    }

    /// Whether four weeks may lie between readings.
    pub(super) fn is_stretched(&self) -> bool {
        let run = self.readings.iter().fold(self.settled, Run::after);
        run.stretched
    }
}

impl Run {
    fn after(self, reading: &Reading) -> Run {
        if reading.mg_l >= LOW_MG_L {
            return Run {
                below: 0,
                counted: None,
                stretched: self.stretched && reading.mg_l <= LOW_MG_L,
            };
        }
        let soon = |counted: Timestamp| reading.time - counted < APART;
        if self.counted.is_some_and(soon) {
            return self;
        }
        let below = self.below.saturating_add(1).min(IN_A_ROW);
        Run {
            below,
            counted: Some(reading.time),
            stretched: self.stretched || below == IN_A_ROW,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One reading every so many hours.
    fn run(hours: i64, readings: &[f64]) -> NitriteRun {
        let mut run = NitriteRun::default();
        for (n, mg_l) in (0..).zip(readings) {
            let time = Timestamp::from_millis(0) + Span::from_hours(n * hours);
            run.read(&n.to_string(), time, *mg_l);
        }
        run
    }

    fn weekly(readings: &[f64]) -> bool {
        run(168, readings).is_stretched()
    }

    #[test]
    fn three_in_a_row_below_ten_stretch_it_and_more_than_ten_ends_that() {
        assert!(!weekly(&[5.0, 5.0]));
        assert!(weekly(&[5.0, 9.9, 0.0]));
        assert!(!weekly(&[5.0, 5.0, 12.0, 5.0]));
        assert!(!weekly(&[5.0, 5.0, 5.0, 10.1]));
        assert!(!weekly(&[5.0, 5.0, 5.0, 10.1, 5.0, 5.0]));
        assert!(weekly(&[5.0, 5.0, 5.0, 10.1, 5.0, 5.0, 5.0]));
    }

    #[test]
    fn ten_itself_is_neither_below_nor_above() {
        assert!(!weekly(&[5.0, 5.0, 10.0, 5.0]));
        assert!(weekly(&[5.0, 5.0, 5.0, 10.0]));
    }

    #[test]
    fn readings_of_one_day_are_no_row() {
        assert!(!run(2, &[5.0; 3]).is_stretched());
        assert!(run(84, &[5.0; 3]).is_stretched());
        // Each two days: the first, third and fifth count.
        assert!(!run(48, &[5.0; 4]).is_stretched());
        assert!(run(48, &[5.0; 5]).is_stretched());
    }

    #[test]
    fn what_was_taken_back_never_counted() {
        let mut run = run(168, &[5.0, 5.0, 5.0, 30.0]);
        run.forget("3");
        assert!(run.is_stretched());
        run.forget("1");
        assert!(!run.is_stretched());
    }

    #[test]
    fn readings_that_are_let_go_still_count() {
        assert!(weekly(&[5.0; 40]));
        let mut readings = vec![30.0; 40];
        readings.extend([5.0; 3]);
        assert!(weekly(&readings));
    }
}
