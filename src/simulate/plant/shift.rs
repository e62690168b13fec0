//! When people work, and what it does to heat and losses.

use std::f64::consts::TAU;

use crate::units::Timestamp;

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;

/// Two shifts, 06:00 to 22:00.
const SHIFT_HOURS: std::ops::Range<f64> = 6.0..22.0;

/// Evaporation while nothing is machined, as a share of that in a shift.
const EVAPORATION_AT_REST: f64 = 0.35;

/// Hour of the day, with fraction; the plant keeps UTC.
fn hour_of_day(time: Timestamp) -> f64 {
    time.millis().rem_euclid(DAY_MS) as f64 / HOUR_MS as f64
}

/// Whether machines cut: Monday to Friday in the shifts.
pub(super) fn working(time: Timestamp) -> bool {
    // Day 0, 1970-01-01, was a Thursday.
    let weekday_from_monday = (time.millis().div_euclid(DAY_MS) + 3).rem_euclid(7);
    weekday_from_monday < 5 && SHIFT_HOURS.contains(&hour_of_day(time))
}

/// Share of a working day's evaporation that falls into one hour at this time;
/// a whole working day adds up to 1.
pub(super) fn evaporation_per_hour(time: Timestamp) -> f64 {
    let at_work = SHIFT_HOURS.end - SHIFT_HOURS.start;
    let in_shift = 1.0 / (at_work + EVAPORATION_AT_REST * (24.0 - at_work));
    match working(time) {
        true => in_shift,
        false => in_shift * EVAPORATION_AT_REST,
    }
}

/// Share of a working day's carry-off that falls into one hour at this time; a
/// whole working day adds up to 1.
pub(super) fn carry_off_per_hour(time: Timestamp) -> f64 {
    match working(time) {
        true => 1.0 / (SHIFT_HOURS.end - SHIFT_HOURS.start),
        false => 0.0,
    }
}

/// Temperature of the hall, °C: coldest at 04:00, warmest at 16:00.
pub(super) fn hall_c(time: Timestamp) -> f64 {
    20.5 - 2.0 * (TAU * (hour_of_day(time) - 4.0) / 24.0).cos()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;

    #[test]
    fn a_working_day_adds_up_to_one() {
        // A Monday.
        let start = Timestamp::parse("2026-03-02T00:00:00Z").unwrap();
        let hours = || (0..1440).map(|m| start + Span::from_mins(m));
        let evaporation: f64 = hours().map(|t| evaporation_per_hour(t) / 60.0).sum();
        let carry_off: f64 = hours().map(|t| carry_off_per_hour(t) / 60.0).sum();
        assert!((evaporation - 1.0).abs() < 1e-9, "{evaporation}");
        assert!((carry_off - 1.0).abs() < 1e-9, "{carry_off}");
    }

    #[test]
    fn nobody_works_at_night_or_on_a_weekend() {
        for (text, expected) in [
            ("2026-03-02T05:59:00Z", false),
            ("2026-03-02T06:00:00Z", true),
            ("2026-03-06T21:59:00Z", true),
            ("2026-03-06T22:00:00Z", false),
            ("2026-03-07T10:00:00Z", false),
            ("2026-03-08T10:00:00Z", false),
        ] {
            assert_eq!(working(Timestamp::parse(text).unwrap()), expected, "{text}");
        }
    }
}
