//! One signal over a period: how long it was where it should be, how long it was
//! not known, and its course for a drawing, in a memory that does not grow.
//!
//! A good value counts from its time until the next good one, and for `holds` at
//! the longest; then nothing is known until one comes. Values that are not good
//! count for nothing but that there were some: what they would have told is not
//! known because nobody can believe them. What is not known is never counted as
//! good, nor as bad.

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

/// Why a signal is not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unknown {
    /// No value came.
    NoValue,
    /// Values came, and none is to be believed: they are marked so, or the alarm
    /// of their instrument stood.
    NotBelieved,
}

/// A time in which a signal was not known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// When.
    pub period: Period,
    /// Why.
    pub why: Unknown,
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
    /// The newest good value.
    last: Option<(Timestamp, f64)>,
    /// The time of the newest value that is not to be believed.
    not_believed: Option<Timestamp>,
    /// When the alarm of an instrument that it is worked out from stood.
    alarms: Vec<Period>,
    /// All before is accounted for.
    passed: Timestamp,
    /// Milliseconds below, inside and above.
    spent: [i64; 3],
    /// Value × milliseconds.
    weighted: f64,
    low: f64,
    high: f64,
    outside_since: Option<Timestamp>,
    longest_outside: Span,
    /// Milliseconds without a value, and with none to be believed.
    unknown: [i64; 2],
    gaps: Vec<Gap>,
    gaps_in_all: u64,
    /// The newest gap, whether it is kept or not.
    newest_gap: Option<Gap>,
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
            not_believed: None,
            alarms: Vec::new(),
            passed: period.from,
            spent: [0; 3],
            weighted: 0.0,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            outside_since: None,
            longest_outside: Span::ZERO,
            unknown: [0; 2],
            gaps: Vec::new(),
            gaps_in_all: 0,
            newest_gap: None,
            classes: Classes::default(),
            columns: vec![None; COLUMNS],
            hours: vec![(0.0, 0); usize::try_from(hours).unwrap_or(0)],
        }
    }

    /// In these times, of which each begins after the one before, an instrument
    /// that it is worked out from had an alarm: where there is no value then, that
    /// is why.
    #[must_use]
    pub fn with_alarms(mut self, alarms: Vec<Period>) -> Self {
        self.alarms = alarms;
        self
    }

    /// From when on values are wanted: what came a little before the period still
    /// counts at its beginning.
    pub fn wanted_from(&self) -> Timestamp {
        self.period.from - self.holds
    }

    /// Takes in the next value; `believed` is whether its instrument is. Values
    /// come in the order of their times.
    pub fn take(&mut self, time: Timestamp, value: f64, quality: Quality, believed: bool) {
        if self.period.has(time) {
            match quality.class() {
                QualityClass::Good => self.classes.good += 1,
                QualityClass::Uncertain => self.classes.uncertain += 1,
                QualityClass::Bad => self.classes.bad += 1,
            }
        }
        if time >= self.period.to {
            return;
        }
        self.pass_to(time);
        if !believed || quality.class() != QualityClass::Good || !value.is_finite() {
            self.not_believed = Some(time);
            return;
        }
        self.last = Some((time, value));
        self.not_believed = None;
        if self.period.has(time) {
            self.note(time, value);
        }
    }

    /// The period is over.
    pub fn end(&mut self) {
        self.pass_to(self.period.to);
        self.end_outside(self.period.to);
    }

    /// Accounts for the time until here: the newest good value counts as long as
    /// it holds, then what is not to be believed, then nothing.
    fn pass_to(&mut self, time: Timestamp) {
        let holds = self.holds;
        let until = |since: Timestamp| time.min(since + holds);
        if let Some((since, value)) = self.last {
            self.known_to(until(since), value);
        }
        if let Some(since) = self.not_believed {
            self.unknown_to(until(since), Unknown::NotBelieved);
        }
        self.without_value_to(time);
    }

    fn without_value_to(&mut self, time: Timestamp) {
        if self.passed >= time {
            return;
        }
        for place in 0..self.alarms.len() {
            let alarm = self.alarms[place];
            self.unknown_to(time.min(alarm.from), Unknown::NoValue);
            self.unknown_to(time.min(alarm.to), Unknown::NotBelieved);
        }
        self.unknown_to(time, Unknown::NoValue);
    }

    /// The part of the time until here that lies in the period and is not yet
    /// accounted for.
    fn part_to(&mut self, time: Timestamp) -> Option<Period> {
        let from = self.passed.max(self.period.from);
        self.passed = self.passed.max(time);
        let to = time.min(self.period.to);
        (from < to).then(|| Period::new(from, to))
    }

    fn known_to(&mut self, time: Timestamp, value: f64) {
        let Some(part) = self.part_to(time) else {
            return;
        };
        let ms = part.length().millis();
        let side = self.window.side(value);
        self.spent[side as usize] += ms;
        self.weighted += value * ms as f64;
        (self.low, self.high) = (self.low.min(value), self.high.max(value));
        match side {
            Side::Inside => self.end_outside(part.from),
            Side::Below | Side::Above => {
                self.outside_since.get_or_insert(part.from);
            }
        }
    }

    fn unknown_to(&mut self, time: Timestamp, why: Unknown) {
        let Some(period) = self.part_to(time) else {
            return;
        };
        self.end_outside(period.from);
        self.unknown[why as usize] += period.length().millis();
        let goes_on = |gap: &&mut Gap| gap.why == why && gap.period.to == period.from;
        let newest = self.newest_gap.as_mut();
        if let Some(newest) = newest.filter(goes_on) {
            newest.period.to = period.to;
            if self.gaps_in_all == self.gaps.len() as u64
                && let Some(kept) = self.gaps.last_mut()
            {
                *kept = *newest;
            }
            return;
        }
        let gap = Gap { period, why };
        self.newest_gap = Some(gap);
        self.gaps_in_all += 1;
        if self.gaps.len() < MOST_GAPS {
            self.gaps.push(gap);
        }
    }

    fn end_outside(&mut self, time: Timestamp) {
        if let Some(since) = self.outside_since.take() {
            self.longest_outside = self.longest_outside.max(time - since);
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
    pub fn gaps(&self) -> (&[Gap], u64) {
        (&self.gaps, self.gaps_in_all)
    }

    /// For how long it was not known for this reason.
    pub fn unknown(&self, why: Unknown) -> Span {
        Span::from_millis(self.unknown[why as usize])
    }

    /// For how long it was on this side.
    pub fn spent(&self, side: Side) -> Span {
        Span::from_millis(self.spent[side as usize])
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
mod tests;
