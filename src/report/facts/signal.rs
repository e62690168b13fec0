//! One signal over a period: how long it was where it should be, how long it was
//! not known, and its course for a drawing, in a memory that does not grow.
//!
//! A value counts from its time until the next one, and for `holds` at the
//! longest; then nothing is known until a value comes. Values that are not good
//! count for nothing. What is not known is never counted as good.

use crate::alarm::performance::Period;
use crate::engine::{Quality, QualityClass};
use crate::units::{Span, Timestamp};

/// Columns of a drawing; each keeps the lowest and highest value in it.
pub const COLUMNS: usize = 600;
/// Gaps that are kept one by one; the rest is counted.
const MOST_GAPS: usize = 500;

/// Where a signal should be.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Window {
    /// Lowest value wanted.
    pub low: Option<f64>,
    /// Highest value wanted.
    pub high: Option<f64>,
}

impl Window {
    /// Whether there is anything to be kept.
    pub const fn is_none(self) -> bool {
        self.low.is_none() && self.high.is_none()
    }

    /// On which side a value is outside; exactly on the limit is inside.
    pub fn side(self, value: f64) -> Side {
        if self.low.is_some_and(|low| value < low) {
            Side::Below
        } else if self.high.is_some_and(|high| value > high) {
            Side::Above
        } else {
            Side::Inside
        }
    }
}

/// Where a value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Below the lowest.
    Below,
    /// Where it should be.
    Inside,
    /// Above the highest.
    Above,
}

/// What the values in a column of the drawing were like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
    /// The last.
    pub last: f64,
}

/// How many readings of each class there were.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Classes {
    /// Good ones.
    pub good: u64,
    /// Uncertain ones.
    pub uncertain: u64,
    /// Bad ones.
    pub bad: u64,
}

/// A signal over a period.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    period: Period,
    window: Window,
    holds: Span,
    last: Option<(Timestamp, f64)>,
    /// Milliseconds below, inside and above.
    spent: [i64; 3],
    /// Value × milliseconds.
    weighted: f64,
    low: f64,
    high: f64,
    outside_since: Option<Timestamp>,
    longest_outside: Span,
    gaps: Vec<Period>,
    gaps_in_all: u64,
    classes: Classes,
    columns: Vec<Option<Column>>,
    hours: Vec<(f64, u32)>,
}

impl Signal {
    /// A signal of which nothing is known yet.
    pub fn new(period: Period, window: Window, holds: Span) -> Self {
        let hours = period.parts(Span::from_hours(1));
        Signal {
            period,
            window,
            holds,
            last: None,
            spent: [0; 3],
            weighted: 0.0,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            outside_since: None,
            longest_outside: Span::ZERO,
            gaps: Vec::new(),
            gaps_in_all: 0,
            classes: Classes::default(),
            columns: vec![None; COLUMNS],
            hours: vec![(0.0, 0); usize::try_from(hours).unwrap_or(0)],
        }
    }

    /// From when on values are wanted: what came a little before the period still
    /// counts at its beginning.
    pub fn wanted_from(&self) -> Timestamp {
        self.period.from - self.holds
    }

    /// Takes in the next value. Values come in the order of their times.
    pub fn take(&mut self, time: Timestamp, value: f64, quality: Quality) {
        if self.period.has(time) {
            match quality.class() {
                QualityClass::Good => self.classes.good += 1,
                QualityClass::Uncertain => self.classes.uncertain += 1,
                QualityClass::Bad => self.classes.bad += 1,
            }
        }
        if quality.class() != QualityClass::Good || !value.is_finite() || time >= self.period.to {
            return;
        }
        self.pass_to(time);
        self.last = Some((time, value));
        if self.period.has(time) {
            self.note(time, value);
        }
    }

    /// The period is over.
    pub fn end(&mut self) {
        self.pass_to(self.period.to);
        self.end_outside(self.period.to);
    }

    /// The newest value counts until here, or as long as it holds.
    fn pass_to(&mut self, time: Timestamp) {
        let Some((since, value)) = self.last else {
            self.gap(self.period.from, time);
            return;
        };
        let until = time.min(since + self.holds);
        let (from, to) = (since.max(self.period.from), until.min(self.period.to));
        if from < to {
            let ms = (to - from).millis();
            let side = self.window.side(value);
            self.spent[side as usize] += ms;
            self.weighted += value * ms as f64;
            (self.low, self.high) = (self.low.min(value), self.high.max(value));
            match side {
                Side::Inside => self.end_outside(from),
                Side::Below | Side::Above => {
                    self.outside_since.get_or_insert(from);
                }
            }
        }
        if until < time {
            self.end_outside(to.max(self.period.from));
            self.gap(until.max(self.period.from), time);
        }
    }

    fn end_outside(&mut self, time: Timestamp) {
        if let Some(since) = self.outside_since.take() {
            self.longest_outside = self.longest_outside.max(time - since);
        }
    }

    fn gap(&mut self, from: Timestamp, to: Timestamp) {
        if from >= to || to <= self.period.from {
            return;
        }
        self.gaps_in_all += 1;
        if self.gaps.len() < MOST_GAPS {
            self.gaps.push(Period::new(from, to));
        }
    }

    fn note(&mut self, time: Timestamp, value: f64) {
        let share = (time - self.period.from).secs_f64() / self.period.length().secs_f64();
        let place = (share * COLUMNS as f64) as usize;
        if let Some(column) = self.columns.get_mut(place.min(COLUMNS - 1)) {
            let seen = column.get_or_insert(Column {
                low: value,
                high: value,
                last: value,
            });
            seen.low = seen.low.min(value);
            seen.high = seen.high.max(value);
            seen.last = value;
        }
        let hour = self.period.part(time, Span::from_hours(1));
        let hour = usize::try_from(hour).ok();
        if let Some((sum, count)) = hour.and_then(|hour| self.hours.get_mut(hour)) {
            *sum += value;
            *count += 1;
        }
    }

    /// The period.
    pub fn period(&self) -> Period {
        self.period
    }

    /// Where it should be.
    pub fn window(&self) -> Window {
        self.window
    }

    /// For how long it was known.
    pub fn known(&self) -> Span {
        Span::from_millis(self.spent.iter().sum())
    }

    /// The share of the period in which it was known.
    pub fn known_share(&self) -> Option<f64> {
        share(self.known(), self.period.length())
    }

    /// The share of the known time that it was on this side.
    pub fn share(&self, side: Side) -> Option<f64> {
        share(Span::from_millis(self.spent[side as usize]), self.known())
    }

    /// Its mean over the known time.
    pub fn mean(&self) -> Option<f64> {
        let known = self.known().millis();
        (known > 0).then(|| self.weighted / known as f64)
    }

    /// The lowest and the highest value that counted.
    pub fn extremes(&self) -> Option<(f64, f64)> {
        (self.low <= self.high).then_some((self.low, self.high))
    }

    /// How long it was outside at a stretch, at most.
    pub fn longest_outside(&self) -> Span {
        self.longest_outside
    }

    /// When it was not known, in order, and how often that was in all.
    pub fn gaps(&self) -> (&[Period], u64) {
        (&self.gaps, self.gaps_in_all)
    }

    /// For how long it was not known.
    pub fn unknown(&self) -> Span {
        Span::from_millis(self.period.length().millis() - self.known().millis())
    }

    /// Readings by class.
    pub fn classes(&self) -> Classes {
        self.classes
    }

    /// Over so many columns of the drawing a value may hold.
    pub fn holds_columns(&self) -> usize {
        let share = self.holds.secs_f64() / self.period.length().secs_f64().max(1e-3);
        (share * COLUMNS as f64).ceil() as usize + 1
    }

    /// The columns of the drawing.
    pub fn columns(&self) -> &[Option<Column>] {
        &self.columns
    }

    /// The mean of the good values between two times, to the hour.
    pub fn mean_between(&self, from: Timestamp, to: Timestamp) -> Option<f64> {
        let hour = |time: Timestamp| {
            let part = self.period.part(time, Span::from_hours(1));
            usize::try_from(part).unwrap_or(0).min(self.hours.len())
        };
        let (from, to) = (hour(from), hour(to));
        let hours = self.hours.get(from..to.max(from))?;
        let known = hours.iter().filter(|(_, count)| *count > 0);
        let (sum, count) = known.fold((0.0, 0u32), |(sum, count), (of_hour, readings)| {
            (sum + of_hour / f64::from(*readings), count + 1)
        });
        (count > 0).then(|| sum / f64::from(count))
    }
}

fn share(part: Span, whole: Span) -> Option<f64> {
    (whole.millis() > 0).then(|| part.millis() as f64 / whole.millis() as f64)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HOUR: i64 = 3_600_000;

    fn at(hours: f64) -> Timestamp {
        Timestamp::from_millis((hours * HOUR as f64) as i64)
    }

    fn signal(values: &[(f64, f64, Quality)]) -> Signal {
        let window = Window {
            low: Some(6.0),
            high: Some(10.0),
        };
        let mut signal = Signal::new(Period::new(at(0.0), at(10.0)), window, Span::from_hours(2));
        for (hours, value, quality) in values {
            signal.take(at(*hours), *value, *quality);
        }
        signal.end();
        signal
    }

    /// By hand: 7 % from −1 h counts to 1 h; 5 % from 1 to 3 h; a gap from 3 to
    /// 4 h as 2 h are over; 11 % from 4 to 5 h; 8 % from 5 to 7 h, as the fault
    /// at 6 h counts for nothing; a gap from 7 to 10 h.
    #[test]
    fn time_is_weighed_and_gaps_are_nobodys() {
        let good = Quality::GOOD;
        let signal = signal(&[
            (-1.0, 7.0, good),
            (1.0, 5.0, good),
            (4.0, 11.0, good),
            (5.0, 8.0, good),
            (6.0, 20.0, Quality::FAULT),
        ]);
        assert_eq!(signal.known(), Span::from_hours(6));
        assert_eq!(signal.known_share(), Some(0.6));
        assert_eq!(signal.share(Side::Below), Some(2.0 / 6.0));
        assert_eq!(signal.share(Side::Inside), Some(3.0 / 6.0));
        assert_eq!(signal.share(Side::Above), Some(1.0 / 6.0));
        let mean = (7.0 + 2.0 * 5.0 + 11.0 + 2.0 * 8.0) / 6.0;
        assert!((signal.mean().unwrap() - mean).abs() < 1e-12);
        assert_eq!(signal.extremes(), Some((5.0, 11.0)));
        assert_eq!(signal.longest_outside(), Span::from_hours(2));
        let gaps = [
            Period::new(at(3.0), at(4.0)),
            Period::new(at(7.0), at(10.0)),
        ];
        assert_eq!(signal.gaps(), (&gaps[..], 2));
        assert_eq!(signal.unknown(), Span::from_hours(4));
        let classes = signal.classes();
        assert_eq!((classes.good, classes.bad), (3, 1));
    }

    #[test]
    fn a_signal_without_values_is_one_gap() {
        let signal = signal(&[]);
        assert_eq!((signal.known(), signal.mean()), (Span::ZERO, None));
        assert_eq!(signal.share(Side::Inside), None);
        assert_eq!(signal.gaps().0, [Period::new(at(0.0), at(10.0))]);
    }

    #[test]
    fn hours_have_means_of_their_own() {
        let good = Quality::GOOD;
        let signal = signal(&[(0.1, 4.0, good), (0.2, 6.0, good), (1.5, 8.0, good)]);
        assert_eq!(signal.mean_between(at(0.0), at(1.0)), Some(5.0));
        assert_eq!(signal.mean_between(at(0.0), at(2.0)), Some(6.5));
        assert_eq!(signal.mean_between(at(4.0), at(9.0)), None);
    }

    proptest! {
        #[test]
        fn every_moment_is_known_or_in_a_gap(
            mut values in prop::collection::vec((-20i64..140, 0.0f64..20.0, any::<bool>()), 0..40),
        ) {
            values.sort_by_key(|(time, ..)| *time);
            let values: Vec<_> = values
                .into_iter()
                .map(|(time, value, good)| {
                    (time as f64 / 10.0, value, if good { Quality::GOOD } else { Quality::FAULT })
                })
                .collect();
            let signal = signal(&values);
            let gaps: i64 = signal.gaps().0.iter().map(|gap| gap.length().millis()).sum();
            prop_assert_eq!(signal.known().millis() + gaps, 10 * HOUR);
            if signal.known() > Span::ZERO {
                let sum: f64 = [Side::Below, Side::Inside, Side::Above]
                    .into_iter()
                    .filter_map(|side| signal.share(side))
                    .sum();
                prop_assert!((sum - 1.0).abs() < 1e-9);
                let (low, high) = signal.extremes().unwrap();
                let mean = signal.mean().unwrap();
                prop_assert!(low - 1e-9 <= mean && mean <= high + 1e-9);
            }
        }
    }
}
