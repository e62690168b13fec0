//! Scales and their ticks.

use std::fmt::Write;

use jiff::ToSpan;
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::alarm::performance::Period;
use crate::report::calendar::{day_of, midnight};
use crate::report::escape::escape;
use crate::units::Timestamp;

use super::{LEFT, RIGHT, at};

/// Ticks of a scale of values, at most.
const MOST_TICKS: f64 = 5.0;
/// Ticks of a scale of time, at most.
const MOST_DAYS: usize = 9;

/// A scale of values: from the lower edge of what is plotted to the upper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
    step: f64,
}

impl Scale {
    /// Over these values, ends included, on steps that people count in.
    pub(super) fn over(low: f64, high: f64, top: f64, bottom: f64) -> Self {
        let (low, high) = if low.is_finite() && high.is_finite() && low <= high {
            (low, high)
        } else {
            (0.0, 1.0)
        };
        // Of a value that never changes, one step around it.
        let still = high - low <= 1e-6 * high.abs().max(low.abs()).max(1.0);
        let aside = if still { 0.5 } else { 0.0 };
        let (low, high) = (low - aside, high + aside);
        let room = high - low;
        let step = nice(room / (MOST_TICKS - 1.0));
        let low = (low / step).floor() * step;
        let high = ((high / step).ceil() * step).max(low + step);
        Scale {
            low,
            high,
            top,
            bottom,
            step,
        }
    }

    /// From none to so many things.
    pub(super) fn of_counts(most: f64, top: f64, bottom: f64) -> Self {
        let scale = Scale::over(0.0, most.max(1.0), top, bottom);
        Scale {
            high: scale.high.ceil(),
            step: scale.step.max(1.0),
            ..scale
        }
    }

    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.bottom - share.clamp(0.0, 1.0) * (self.bottom - self.top)
    }

    fn decimals(&self) -> usize {
        (0.0 - self.step.log10().floor()).max(0.0) as usize
    }

    /// Lines across and numbers beside them.
    pub(super) fn draw(&self, svg: &mut String, number: impl Fn(f64, usize) -> String) {
        let ticks = ((self.high - self.low) / self.step).round() as usize;
        for tick in 0..=ticks {
            let value = self.low + tick as f64 * self.step;
            let y = self.y(value);
            let _ = write!(
                svg,
                "<path class=\"grid\" d=\"M{LEFT} {0}H{RIGHT}\"/>\
                 <text class=\"end\" x=\"{1}\" y=\"{2}\">{3}</text>",
                at(y),
                at(LEFT - 6.0),
                at(y + 4.0),
                escape(&number(value, self.decimals()))
            );
        }
    }
}

/// 1, 2 or 5 times a power of ten, not below this.
fn nice(step: f64) -> f64 {
    let power = 10f64.powf(step.log10().floor());
    let lead = step / power;
    let nice = [1.0, 2.0, 5.0]
        .into_iter()
        .find(|nice| lead <= *nice + 1e-9);
    nice.unwrap_or(10.0) * power
}

/// A scale of time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct TimeScale {
    pub(super) period: Period,
}

impl TimeScale {
    pub(super) fn x(&self, time: Timestamp) -> f64 {
        let whole = self.period.length().secs_f64().max(1e-3);
        let share = (time - self.period.from).secs_f64() / whole;
        LEFT + share.clamp(0.0, 1.0) * (RIGHT - LEFT)
    }

    /// Ticks where days, weeks, months or hours begin, with their names below.
    pub(super) fn draw(&self, svg: &mut String, bottom: f64, zone: &TimeZone) {
        for (time, name) in self.ticks(zone) {
            let x = self.x(time);
            // No name reaches over the edge.
            let class = if x > RIGHT - 24.0 { "end" } else { "mid" };
            let _ = write!(
                svg,
                "<path class=\"grid\" d=\"M{0} {1}v5\"/><text class=\"{class}\" x=\"{0}\" y=\"{2}\">{name}</text>",
                at(x),
                at(bottom),
                at(bottom + 17.0)
            );
        }
    }

    fn ticks(&self, zone: &TimeZone) -> Vec<(Timestamp, String)> {
        let days = self.period.length().secs_f64() / 86_400.0;
        if days < 2.0 {
            return self.hours(zone, days);
        }
        let first = day_of(self.period.from, zone);
        let (start, step, form) = match days {
            _ if days <= MOST_DAYS as f64 => (first, 1.day(), "%m-%d"),
            _ if days <= 7.0 * MOST_DAYS as f64 => (monday(first), 7.days(), "%m-%d"),
            _ if days <= 31.0 * MOST_DAYS as f64 => (first.first_of_month(), 1.month(), "%Y-%m"),
            _ if days <= 93.0 * MOST_DAYS as f64 => (first.first_of_month(), 3.months(), "%Y-%m"),
            _ => {
                let years = (days / 366.0 / MOST_DAYS as f64).ceil() as i64;
                (first.first_of_year(), years.years(), "%Y")
            }
        };
        let mut ticks = Vec::new();
        let mut day = start;
        while ticks.len() < 2 * MOST_DAYS {
            let time = midnight(day, zone);
            if time >= self.period.to {
                break;
            }
            if time >= self.period.from {
                ticks.push((time, day.strftime(form).to_string()));
            }
            let next = day.saturating_add(step);
            if next <= day {
                break;
            }
            day = next;
        }
        ticks
    }

    fn hours(&self, zone: &TimeZone, days: f64) -> Vec<(Timestamp, String)> {
        let step = match days {
            _ if days <= 0.25 => 1,
            _ if days <= 1.0 => 3,
            _ => 6,
        };
        let step = crate::units::Span::from_hours(step);
        let begins = midnight(day_of(self.period.from, zone), zone);
        let mut ticks = Vec::new();
        let mut time = begins;
        while time < self.period.to && ticks.len() < 2 * MOST_DAYS {
            if time >= self.period.from {
                let at = jiff::Timestamp::from_millisecond(time.millis()).unwrap_or_default();
                ticks.push((time, zone.to_datetime(at).strftime("%H:%M").to_string()));
            }
            time = time + step;
        }
        ticks
    }
}

fn monday(day: Date) -> Date {
    let back = i64::from(day.weekday().since(jiff::civil::Weekday::Monday));
    let monday = day.saturating_sub(back.days());
    if monday < day {
        monday.saturating_add(7.days())
    } else {
        monday
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn steps_are_those_that_people_count_in() {
        let steps = [0.03, 0.21, 1.0, 3.0, 70.0].map(nice);
        let expected = [0.05, 0.5, 1.0, 5.0, 100.0];
        for (step, expected) in steps.into_iter().zip(expected) {
            assert!(
                (step - expected).abs() < 1e-12 * expected,
                "{step} {expected}"
            );
        }
    }

    #[test]
    fn numbers_of_things_have_no_decimals() {
        for most in 0..40 {
            let scale = Scale::of_counts(f64::from(most), 10.0, 200.0);
            assert_eq!(scale.decimals(), 0, "{most}");
            assert_eq!(scale.high % scale.step, 0.0, "{most}: {scale:?}");
            assert!(scale.high >= f64::from(most.max(1)), "{most}: {scale:?}");
        }
    }

    proptest! {
        #[test]
        fn every_value_is_on_the_scale(low in -1e6f64..1e6, room in 0.0f64..1e6) {
            let scale = Scale::over(low, low + room, 10.0, 200.0);
            prop_assert!(scale.low <= low && low + room <= scale.high + 1e-6 * scale.high.abs());
            prop_assert!((scale.high - scale.low) / scale.step <= MOST_TICKS + 2.0);
            let (top, bottom) = (scale.y(scale.high), scale.y(scale.low));
            prop_assert!((top - 10.0).abs() < 1e-6 && (bottom - 200.0).abs() < 1e-6);
        }

        #[test]
        fn ticks_are_few_and_lie_in_the_period(from in 0i64..2_000_000_000, hours in 1i64..200_000) {
            let from = Timestamp::from_millis(from * 1000);
            let period = Period::new(from, Timestamp::from_millis(from.millis() + hours * 3_600_000));
            let ticks = TimeScale { period }.ticks(&TimeZone::UTC);
            prop_assert!(ticks.len() <= 12, "{:?}", ticks);
            prop_assert!(ticks.iter().all(|(time, _)| period.has(*time)));
        }
    }
}
