//! Days, weeks and months by the clocks of the plant.

use jiff::ToSpan;
use jiff::civil::{Date, Weekday};
use jiff::tz::TimeZone;

use crate::alarm::performance::Period;
use crate::units::Timestamp;

/// Beyond so many weeks a period is cut into months.
const MOST_WEEKS: usize = 60;
/// More parts are not made of a period, however long.
const MOST_PARTS: usize = 3700;

/// A part of a period.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// The day that it begins on; of the first part the one that would be.
    pub day: Date,
    /// The part of the period that lies in it.
    pub period: Period,
}

/// Into what a period is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// Days.
    Day,
    /// Weeks from Monday on (ISO 8601).
    Week,
    /// Months.
    Month,
}

impl Cut {
    /// Weeks, or months where those would be too many.
    pub fn of(period: Period) -> Self {
        let weeks = period.length().millis() / (7 * 86_400_000);
        match usize::try_from(weeks) {
            Ok(weeks) if weeks <= MOST_WEEKS => Cut::Week,
            _ => Cut::Month,
        }
    }

    /// The key of its name.
    pub const fn name(self) -> &'static str {
        match self {
            Cut::Day => "day",
            Cut::Week => "week",
            Cut::Month => "month",
        }
    }

    fn first(self, day: Date) -> Date {
        match self {
            Cut::Day => day,
            Cut::Week => {
                let back = i64::from(day.weekday().since(Weekday::Monday));
                day.saturating_sub(back.days())
            }
            Cut::Month => day.first_of_month(),
        }
    }

    fn next(self, day: Date) -> Date {
        match self {
            Cut::Day => day.saturating_add(1.day()),
            Cut::Week => day.saturating_add(7.days()),
            Cut::Month => day.saturating_add(1.month()),
        }
    }
}

/// The day of a time.
pub fn day_of(time: Timestamp, zone: &TimeZone) -> Date {
    let at = jiff::Timestamp::from_millisecond(time.millis()).unwrap_or_default();
    zone.to_datetime(at).date()
}

/// Where a day begins.
pub fn midnight(day: Date, zone: &TimeZone) -> Timestamp {
    let begins = zone.to_ambiguous_timestamp(day.at(0, 0, 0, 0)).compatible();
    begins.map_or(Timestamp::MAX, |at| {
        Timestamp::from_millis(at.as_millisecond())
    })
}

/// The parts of a period, in order; together they are the period.
pub fn parts(period: Period, cut: Cut, zone: &TimeZone) -> Vec<Part> {
    let mut parts = Vec::new();
    let mut day = cut.first(day_of(period.from, zone));
    let mut from = period.from;
    while from < period.to && parts.len() < MOST_PARTS {
        let next = cut.next(day);
        let end = midnight(next, zone);
        let to = if next == day {
            period.to
        } else {
            end.min(period.to)
        };
        if to > from {
            parts.push(Part {
                day,
                period: Period::new(from, to),
            });
            from = to;
        }
        if next == day {
            break;
        }
        day = next;
    }
    parts
}

/// The place of the part that holds a time.
pub fn place(parts: &[Part], time: Timestamp) -> Option<usize> {
    let place = parts.partition_point(|part| part.period.to <= time);
    parts
        .get(place)
        .is_some_and(|part| part.period.has(time))
        .then_some(place)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn berlin() -> TimeZone {
        TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap()
    }

    fn period(from: &str, to: &str) -> Period {
        let at = |text: &str| Timestamp::parse(text).unwrap();
        Period::new(at(from), at(to))
    }

    #[test]
    fn weeks_begin_on_monday_by_the_clocks_of_the_plant() {
        // The clocks go forward on Sunday, 29 March 2026.
        let period = period("2026-03-25T12:00:00Z", "2026-04-08T00:00:00Z");
        let weeks = parts(period, Cut::of(period), &berlin());
        let told: Vec<String> = weeks
            .iter()
            .map(|week| format!("{} {}", week.day, week.period.from))
            .collect();
        let expected = [
            "2026-03-23 2026-03-25T12:00:00Z",
            "2026-03-30 2026-03-29T22:00:00Z",
            "2026-04-06 2026-04-05T22:00:00Z",
        ];
        assert_eq!(told, expected);
        assert_eq!(place(&weeks, period.to), None);
        assert_eq!(place(&weeks, weeks[1].period.from), Some(1));
    }

    #[test]
    fn years_are_cut_into_months() {
        let years = period("2024-01-15T00:00:00Z", "2026-01-15T00:00:00Z");
        assert_eq!(Cut::of(years), Cut::Month);
        assert_eq!(parts(years, Cut::Month, &TimeZone::UTC).len(), 25);
    }

    proptest! {
        #[test]
        fn parts_are_the_whole_without_holes(from in -1_000_000i64..3_000_000, hours in 1i64..9000) {
            let from = Timestamp::from_millis(from * 1_000_000);
            let period = Period::new(from, Timestamp::from_millis(from.millis() + hours * 3_600_000));
            for cut in [Cut::Day, Cut::Week, Cut::Month] {
                let parts = parts(period, cut, &berlin());
                prop_assert_eq!(parts[0].period.from, period.from);
                prop_assert_eq!(parts[parts.len() - 1].period.to, period.to);
                for pair in parts.windows(2) {
                    prop_assert_eq!(pair[0].period.to, pair[1].period.from);
                }
            }
        }
    }
}
