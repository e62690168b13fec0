//! Times as people write them, in the time zone of the machine.

use jiff::SignedDuration;
use jiff::civil::{DateTime, Time};
use jiff::tz::TimeZone;

use crate::units::Timestamp;

/// A time of day this far ahead is still taken as today's; clocks differ.
pub(super) const AHEAD: SignedDuration = SignedDuration::from_mins(1);

/// Why a text is not a time.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(in crate::cli) enum WhenError {
    #[error(
        "\"{0}\" is not a time; write 06:10, 2026-03-02 06:10, or with an offset 2026-03-02T06:10:00+01:00"
    )]
    NoTime(String),
    #[error("\"{0}\" has no date; in a file write 2026-03-02 06:10, or with an offset")]
    NoDate(String),
    #[error(
        "at {0} the clocks were changed here: that time came twice or never; write it with its offset"
    )]
    Changed(String),
}

/// A point in time; a time of day is the last one there was.
pub(in crate::cli) fn moment(
    text: &str,
    now: jiff::Timestamp,
    zone: &TimeZone,
) -> Result<Timestamp, WhenError> {
    let text = text.trim();
    let Some(time) = time_of_day(text) else {
        return dated(text, zone);
    };
    let today = zone.to_datetime(now).date();
    let at = instant(today.to_datetime(time), text, zone)?;
    if at <= now + AHEAD {
        return Ok(timestamp(at));
    }
    let yesterday = today.yesterday().map_err(|_| no_time(text))?;
    instant(yesterday.to_datetime(time), text, zone).map(timestamp)
}

/// A point in time with its date.
pub(super) fn dated(text: &str, zone: &TimeZone) -> Result<Timestamp, WhenError> {
    let text = text.trim();
    if let Ok(time) = Timestamp::parse(text) {
        return Ok(time);
    }
    if time_of_day(text).is_some() {
        return Err(WhenError::NoDate(text.to_owned()));
    }
    let civil = text.parse::<DateTime>().ok();
    // A date alone is no time.
    let civil = civil.filter(|_| text.contains(':'));
    let civil = civil.ok_or_else(|| no_time(text))?;
    instant(civil, text, zone).map(timestamp)
}

/// A time without a date: what can be read with one is read as that.
fn time_of_day(text: &str) -> Option<Time> {
    match text.parse::<DateTime>() {
        Ok(_) => None,
        Err(_) => text.parse().ok(),
    }
}

fn instant(civil: DateTime, text: &str, zone: &TimeZone) -> Result<jiff::Timestamp, WhenError> {
    zone.to_ambiguous_timestamp(civil)
        .unambiguous()
        .map_err(|_| WhenError::Changed(text.to_owned()))
}

fn timestamp(at: jiff::Timestamp) -> Timestamp {
    Timestamp::from_millis(at.as_millisecond())
}

fn no_time(text: &str) -> WhenError {
    WhenError::NoTime(text.chars().take(40).collect())
}

/// As the clock on the wall shows it, with its offset.
pub(super) fn shown(time: Timestamp, zone: &TimeZone) -> String {
    match jiff::Timestamp::from_millisecond(time.millis()) {
        Ok(at) => {
            let wall = zone.to_datetime(at).strftime("%Y-%m-%d %H:%M:%S");
            format!("{wall} {}", zone.to_offset(at))
        }
        Err(_) => time.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn berlin() -> TimeZone {
        // The rule that has held there since 1996 (IANA time zone database;
        // memory), so that the test needs no files of the machine.
        TimeZone::posix("CET-1CEST,M3.5.0,M10.5.0/3").unwrap()
    }

    fn read(text: &str) -> Result<String, WhenError> {
        let now = "2026-03-02T08:00:00Z".parse().unwrap();
        moment(text, now, &berlin()).map(|time| time.to_string())
    }

    #[test]
    fn a_time_of_day_is_the_last_one_there_was() {
        assert_eq!(read("06:10").unwrap(), "2026-03-02T05:10:00Z");
        assert_eq!(read("09:00:30").unwrap(), "2026-03-02T08:00:30Z");
        assert_eq!(read("23:50").unwrap(), "2026-03-01T22:50:00Z");
    }

    #[test]
    fn dates_are_of_this_zone_unless_an_offset_says_otherwise() {
        assert_eq!(read("2026-02-28 06:10").unwrap(), "2026-02-28T05:10:00Z");
        assert_eq!(read("2026-07-01T06:10:30").unwrap(), "2026-07-01T04:10:30Z");
        assert_eq!(
            read("2026-03-02T06:10:00+05:00").unwrap(),
            "2026-03-02T01:10:00Z"
        );
        assert_eq!(
            read("2026-03-02T06:10:00Z").unwrap(),
            "2026-03-02T06:10:00Z"
        );
    }

    #[test]
    fn what_cannot_be_told_is_refused() {
        assert!(matches!(
            read("2025-10-26 02:30"),
            Err(WhenError::Changed(_))
        ));
        assert!(matches!(
            read("2026-03-29 02:30"),
            Err(WhenError::Changed(_))
        ));
        assert!(matches!(read("2026-03-02"), Err(WhenError::NoTime(_))));
        assert!(matches!(read("half past six"), Err(WhenError::NoTime(_))));
        assert!(matches!(
            dated("06:10", &berlin()),
            Err(WhenError::NoDate(_))
        ));
    }

    #[test]
    fn times_are_shown_as_on_the_wall() {
        let time = Timestamp::parse("2026-07-01T04:10:30Z").unwrap();
        assert_eq!(shown(time, &berlin()), "2026-07-01 06:10:30 +02");
    }
}
