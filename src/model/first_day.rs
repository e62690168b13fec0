//! What a signal was on the first day of a charge: the reference that later
//! readings of the charge are held against.

use serde::{Deserialize, Serialize};

use super::robust::{median, spread};
use crate::units::{Measured, Span, Timestamp};

/// A fresh charge is circulated 30 to 60 min before it is measured (memory).
const SETTLES: Span = Span::from_hours(1);
/// How long the reference is learned. Choice: one day holds every shift.
const LEARNS: Span = Span::from_hours(24);
/// One value is taken so often. Choice: fixed memory, and values that are not
/// the same one over and over.
const EVERY: Span = Span::from_mins(30);
/// From so many values on there is a reference. Choice: three hours, enough
/// that one wild value does not count.
const ENOUGH: usize = 6;

/// The median of a signal over the first day of a charge.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(from = "Taken")]
pub struct FirstDay {
    since: Option<Timestamp>,
    taken_at: Option<Timestamp>,
    values: Vec<f64>,
    /// Of the values, which are read far more often than one is added.
    #[serde(skip)]
    reference: Option<Measured>,
}

/// A first day as it is written.
#[derive(Deserialize)]
struct Taken {
    since: Option<Timestamp>,
    taken_at: Option<Timestamp>,
    values: Vec<f64>,
}

impl From<Taken> for FirstDay {
    fn from(taken: Taken) -> Self {
        FirstDay {
            since: taken.since,
            taken_at: taken.taken_at,
            reference: reference(&taken.values),
            values: taken.values,
        }
    }
}

impl FirstDay {
    /// Begins to learn with a charge that was filled at `time`.
    pub fn of_charge(time: Timestamp) -> Self {
        FirstDay {
            since: Some(time),
            ..FirstDay::default()
        }
    }

    /// When the charge was filled, where that is known.
    pub fn since(&self) -> Option<Timestamp> {
        self.since
    }

    /// Whether a time lies on that day.
    pub fn holds(&self, time: Timestamp) -> bool {
        self.since
            .is_some_and(|since| time >= since && time <= since + LEARNS)
    }

    /// Takes a value in, if it is of the first day and none was taken just
    /// before it.
    pub fn step(&mut self, time: Timestamp, value: f64) {
        let settled = self.since.is_some_and(|since| time >= since + SETTLES);
        let rested = self.taken_at.is_none_or(|taken| time >= taken + EVERY);
        if self.holds(time) && settled && rested && value.is_finite() {
            self.taken_at = Some(time);
            self.values.push(value);
            self.reference = reference(&self.values);
        }
    }

    /// The reference, once there are enough values. Its standard uncertainty is
    /// the spread of single values, not of their mean: values of one day share
    /// the drift of their instrument.
    pub fn reference(&self) -> Option<Measured> {
        self.reference
    }
}

fn reference(values: &[f64]) -> Option<Measured> {
    if values.len() < ENOUGH {
        return None;
    }
    let value = median(values.iter().copied())?;
    let uncertainty = spread(values.iter().copied(), value)?;
    Some(Measured { value, uncertainty })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minutes: i64) -> Timestamp {
        Timestamp::from_millis(0) + Span::from_mins(minutes)
    }

    #[test]
    fn learns_from_the_first_day_only_and_without_the_first_hour() {
        let mut day = FirstDay::of_charge(at(0));
        for minute in 0..60 {
            day.step(at(minute), 7.0);
        }
        for minute in 60..60 + 5 * 30 {
            day.step(at(minute), 9.2);
        }
        assert_eq!(day.reference(), None, "five values are not enough");
        for minute in 210..3 * 24 * 60 {
            day.step(at(minute), if minute <= 24 * 60 { 9.2 } else { 5.0 });
        }
        assert_eq!(day.reference(), Some(Measured::new(9.2, 0.0)));
        assert!(day.values.len() <= 48, "{}", day.values.len());
    }

    #[test]
    fn what_is_written_and_read_again_has_the_same_reference() {
        let mut day = FirstDay::of_charge(at(0));
        for minute in 0..12 * 60 {
            day.step(at(minute), 9.0 + 0.001 * minute as f64);
        }
        let written = serde_json::to_string(&day).unwrap();
        let read: FirstDay = serde_json::from_str(&written).unwrap();
        assert_eq!(read, day);
        assert!(read.reference().is_some());
    }

    #[test]
    fn learns_nothing_where_no_charge_is_known_to_have_begun() {
        let mut day = FirstDay::default();
        (0..2000).for_each(|minute| day.step(at(minute), 9.0));
        assert_eq!(day, FirstDay::default());
    }
}
