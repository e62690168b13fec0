//! When the plant works: shifts, weekends, and two stand-stills a year.

use std::f64::consts::TAU;

use crate::units::{Span, Timestamp};

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;

/// When the year begins: 2026-01-05T00:00:00Z, a Monday.
pub const YEAR_START: Timestamp = Timestamp::from_millis(1_767_571_200_000);

/// The two stand-stills, as days from [`YEAR_START`], first and first working
/// day after: three weeks in August, two at the end of the year (choice, of the
/// usual length).
pub const STAND_STILLS: [(i64, i64); 2] = [(210, 231), (350, 364)];

/// In which hours the machines of a sump cut, Monday to Friday.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shifts {
    /// 06:00 to 14:00.
    One,
    /// 06:00 to 22:00.
    Two,
    /// Round the clock, from Monday 06:00 to Saturday 06:00.
    Three,
}

/// Hours since Monday 00:00 of the week, with fraction; the plant keeps UTC.
fn hour_of_week(time: Timestamp) -> f64 {
    let since = (time - YEAR_START).millis();
    since.rem_euclid(7 * DAY_MS) as f64 / HOUR_MS as f64
}

/// Hour of the day, with fraction.
pub(super) fn hour_of_day(time: Timestamp) -> f64 {
    hour_of_week(time) % 24.0
}

/// Whole days since the start of the year.
pub fn day(time: Timestamp) -> i64 {
    (time - YEAR_START).millis().div_euclid(DAY_MS)
}

/// Whether the plant stands still on that day.
pub fn stands_still(time: Timestamp) -> bool {
    let day = day(time);
    STAND_STILLS
        .iter()
        .any(|&(from, to)| (from..to).contains(&day))
}

/// Whether maintenance is there: Monday to Friday 06:00 to 22:00, Saturday
/// 06:00 to 14:00; in a stand-still on working days from 08:00 to 12:00
/// (choice: somebody makes a round).
pub fn crew_is_there(time: Timestamp) -> bool {
    let (hour, of_day) = (hour_of_week(time), hour_of_day(time));
    let working_day = hour < 5.0 * 24.0;
    if stands_still(time) {
        return working_day && (8.0..12.0).contains(&of_day);
    }
    let saturday = (5.0 * 24.0..6.0 * 24.0).contains(&hour);
    (working_day && (6.0..22.0).contains(&of_day)) || (saturday && (6.0..14.0).contains(&of_day))
}

/// The first time from `time` on, in steps of five minutes, at which
/// maintenance is there.
pub fn next_attendance(time: Timestamp) -> Timestamp {
    let mut then = time;
    while !crew_is_there(then) {
        then = then + Span::from_mins(5);
    }
    then
}

impl Shifts {
    /// Whether machines cut.
    pub fn work(self, time: Timestamp) -> bool {
        if stands_still(time) {
            return false;
        }
        let (hour, of_day) = (hour_of_week(time), hour_of_day(time));
        match self {
            Shifts::One => hour < 120.0 && (6.0..14.0).contains(&of_day),
            Shifts::Two => hour < 120.0 && (6.0..22.0).contains(&of_day),
            Shifts::Three => (6.0..126.0).contains(&hour),
        }
    }

    /// Working hours of a full day.
    pub(super) const fn hours_a_day(self) -> f64 {
        match self {
            Shifts::One => 8.0,
            Shifts::Two => 16.0,
            Shifts::Three => 24.0,
        }
    }
}

/// Temperature of the hall without the weather of the day, °C: warmest at 16:00
/// and in July.
pub(super) fn hall_c(time: Timestamp) -> f64 {
    let of_year = (time - YEAR_START).millis() as f64 / (365.0 * DAY_MS as f64);
    let season = -(TAU * (of_year - 0.04)).cos();
    20.5 + 3.0 * season - 2.0 * (TAU * (hour_of_day(time) - 4.0) / 24.0).cos()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        Timestamp::parse(text).unwrap()
    }

    #[test]
    fn the_year_begins_on_a_monday() {
        assert_eq!(YEAR_START, at("2026-01-05T00:00:00Z"));
        assert!(Shifts::One.work(at("2026-01-05T06:00:00Z")));
        assert!(!Shifts::One.work(at("2026-01-05T14:00:00Z")));
        assert!(!Shifts::Two.work(at("2026-01-10T10:00:00Z")));
        assert!(Shifts::Three.work(at("2026-01-10T05:55:00Z")));
        assert!(!Shifts::Three.work(at("2026-01-10T06:00:00Z")));
    }

    #[test]
    fn nobody_cuts_in_a_stand_still_and_somebody_makes_a_round() {
        let monday = at("2026-08-03T09:00:00Z");
        assert!(stands_still(monday) && crew_is_there(monday));
        assert!(!Shifts::Three.work(monday));
        assert!(!crew_is_there(at("2026-08-03T13:00:00Z")));
        assert!(Shifts::Two.work(at("2026-08-24T09:00:00Z")));
        let saturday = at("2026-01-10T15:00:00Z");
        assert_eq!(next_attendance(saturday), at("2026-01-12T06:00:00Z"));
    }
}
