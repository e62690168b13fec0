use jiff::tz::TimeZoneDatabase;
use proptest::prelude::*;

use super::*;
use crate::units::Span;

fn zone(name: &str) -> TimeZone {
    TimeZoneDatabase::bundled().get(name).unwrap()
}

fn pattern(zone_name: &str, week: &[&str], holidays: &[&str]) -> ShiftPattern {
    let shifts: Vec<_> = week
        .iter()
        .map(|text| Shift::parse(text).unwrap())
        .collect();
    let holidays: Vec<Date> = holidays.iter().map(|day| day.parse().unwrap()).collect();
    ShiftPattern::new(zone(zone_name), &shifts, &holidays).unwrap()
}

fn at(text: &str) -> Timestamp {
    Timestamp::parse(text).unwrap()
}

/// Goes through the changes that follow `from`.
#[track_caller]
fn changes(pattern: &ShiftPattern, from: &str, expected: &[&str]) {
    let mut time = at(from);
    for expected in expected {
        let next = pattern.next_change(time).unwrap();
        assert_eq!(next, at(expected), "after {time}: {next}");
        let before = next - Span::from_millis(1);
        assert_ne!(pattern.is_working(before), pattern.is_working(next));
        time = next;
    }
}

#[test]
fn a_week_of_two_shifts_by_the_clocks_of_the_plant() {
    let week = ["mon-fri 06:00-22:00", "sat 06:00-14:00"];
    let vienna = pattern("Europe/Vienna", &week, &[]);
    // Friday, in winter one hour before UTC.
    assert!(!vienna.is_working(at("2026-03-06T04:59:59.999Z")));
    assert!(vienna.is_working(at("2026-03-06T05:00:00Z")));
    changes(
        &vienna,
        "2026-03-06T12:00:00Z",
        &[
            "2026-03-06T22:00:00+01:00",
            "2026-03-07T06:00:00+01:00",
            "2026-03-07T14:00:00+01:00",
            "2026-03-09T06:00:00+01:00",
        ],
    );
    let week = vienna.working_hours_between(at("2026-03-02T00:00:00Z"), at("2026-03-09T00:00:00Z"));
    assert_eq!(week, 5.0 * 16.0 + 8.0);
}

#[test]
fn shifts_that_meet_or_overlap_are_one_stretch() {
    let week = [
        "mon-fri 14:00-22:00",
        "mon-fri 05:30-14:00",
        "mon-thu 21:30-05:30",
    ];
    let pattern = pattern("UTC", &week, &[]);
    changes(
        &pattern,
        "2026-03-01T12:00:00Z",
        &["2026-03-02T05:30:00Z", "2026-03-06T22:00:00Z"],
    );
    let hours =
        pattern.working_hours_between(at("2026-03-02T00:00:00Z"), at("2026-03-08T00:00:00Z"));
    assert_eq!(hours, 4.0 * 24.0 + 16.5);
}

#[test]
fn on_a_holiday_no_shift_begins_and_the_night_before_is_worked_to_its_end() {
    let week = ["mon-fri 06:00-14:00", "mon-thu 22:00-06:00"];
    // A Thursday.
    let pattern = pattern("Europe/Vienna", &week, &["2026-12-24"]);
    changes(
        &pattern,
        "2026-12-23T20:00:00+01:00",
        &[
            "2026-12-23T22:00:00+01:00",
            "2026-12-24T06:00:00+01:00",
            "2026-12-25T06:00:00+01:00",
        ],
    );
}

/// IANA time zone database: Vienna goes from 02:00 to 03:00 on 2026-03-29 and
/// from 03:00 to 02:00 on 2026-10-25, both at 01:00 UTC.
#[test]
fn a_night_is_an_hour_shorter_in_spring_and_longer_in_autumn_in_vienna() {
    let nights = pattern("Europe/Vienna", &["sat 22:00-06:00"], &[]);
    changes(
        &nights,
        "2026-03-28T12:00:00Z",
        &["2026-03-28T21:00:00Z", "2026-03-29T04:00:00Z"],
    );
    changes(
        &nights,
        "2026-10-24T12:00:00Z",
        &["2026-10-24T20:00:00Z", "2026-10-25T05:00:00Z"],
    );
    let hours = |from, to| nights.working_hours_between(at(from), at(to));
    assert_eq!(hours("2026-03-28T12:00:00Z", "2026-03-29T12:00:00Z"), 7.0);
    assert_eq!(hours("2026-10-24T12:00:00Z", "2026-10-25T12:00:00Z"), 9.0);
}

/// IANA time zone database: New York goes from 02:00 to 03:00 on 2026-03-08 at
/// 07:00 UTC, and from 02:00 to 01:00 on 2026-11-01 at 06:00 UTC.
#[test]
fn times_that_are_left_out_or_come_twice_in_new_york() {
    let early = pattern("America/New_York", &["sun 01:30-10:00"], &[]);
    // 01:30 comes twice; the first is meant.
    changes(
        &early,
        "2026-11-01T00:00:00Z",
        &["2026-11-01T05:30:00Z", "2026-11-01T15:00:00Z"],
    );
    // 02:30 is left out; it is counted with the offset from before.
    let late = pattern("America/New_York", &["sun 02:30-10:00"], &[]);
    changes(
        &late,
        "2026-03-08T00:00:00Z",
        &["2026-03-08T07:30:00Z", "2026-03-08T14:00:00Z"],
    );
}

/// The examples of RFC 5545, section 3.3.5.
#[test]
fn local_times_are_read_as_the_standard_for_calendars_has_it() {
    let early = pattern("America/New_York", &["sun 01:30-10:00"], &[]);
    changes(
        &early,
        "2007-11-04T00:00:00Z",
        &["2007-11-04T01:30:00-04:00"],
    );
    let late = pattern("America/New_York", &["sun 02:30-10:00"], &[]);
    changes(
        &late,
        "2007-03-11T00:00:00Z",
        &["2007-03-11T03:30:00-04:00"],
    );
}

#[test]
fn where_nothing_changes_there_is_no_change() {
    let always = pattern("Europe/Vienna", &["mon-sun 00:00-24:00"], &[]);
    assert!(always.is_working(at("2026-10-25T00:30:00Z")));
    assert_eq!(always.next_change(at("2026-03-02T00:00:00Z")), None);
    let with_holiday = pattern("UTC", &["mon-sun 00:00-24:00"], &["2026-12-25"]);
    changes(
        &with_holiday,
        "2026-03-02T00:00:00Z",
        &["2026-12-25T00:00:00Z", "2026-12-26T00:00:00Z"],
    );
}

#[test]
fn says_what_makes_no_pattern() {
    let shift = Shift::parse("mon 06:00-14:00").unwrap();
    let day: Date = "2026-12-24".parse().unwrap();
    let new = |shifts: &[Shift], holidays: &[Date]| {
        ShiftPattern::new(TimeZone::UTC, shifts, holidays).map(drop)
    };
    assert_eq!(new(&[], &[]), Err(ShiftPatternError::NoShift));
    assert_eq!(
        new(&[shift; 65], &[]),
        Err(ShiftPatternError::TooManyShifts(65))
    );
    let many = vec![day; 1001];
    assert_eq!(
        new(&[shift], &many),
        Err(ShiftPatternError::TooManyHolidays(1001))
    );
}

#[test]
fn times_that_no_calendar_has_are_not_worked() {
    let pattern = pattern("Europe/Vienna", &["mon-sun 00:00-24:00"], &[]);
    for millis in [i64::MIN, i64::MAX] {
        let time = Timestamp::from_millis(millis);
        assert!(!pattern.is_working(time));
        assert_eq!(pattern.next_change(time), None);
    }
    let last = Timestamp::MAX;
    let hours = pattern.working_hours_between(last - Span::from_hours(48), last);
    assert!((0.0..=48.0).contains(&hours), "{hours}");
}

fn any_pattern() -> impl Strategy<Value = ShiftPattern> {
    let zones = prop::sample::select(vec![
        "UTC",
        "Europe/Vienna",
        "America/New_York",
        "Australia/Lord_Howe",
    ]);
    let days = prop::sample::select(vec!["mon-fri", "sat", "sun", "mon,wed,sat-sun", "fri-mon"]);
    let shift = (days, 0u16..24, 0u16..60, 1u16..=24).prop_map(|(days, hour, minute, length)| {
        let end = (hour + length) % 24;
        let text = match length {
            24 => format!("{days} 00:00-24:00"),
            _ => format!("{days} {hour:02}:{minute:02}-{end:02}:{minute:02}"),
        };
        Shift::parse(&text).unwrap()
    });
    let holiday = (1i8..=12, 1i8..=28).prop_map(|(month, day)| jiff::civil::date(2026, month, day));
    let shifts = prop::collection::vec(shift, 1..5);
    let holidays = prop::collection::vec(holiday, 0..6);
    (zones, shifts, holidays).prop_map(|(name, shifts, holidays)| {
        ShiftPattern::new(zone(name), &shifts, &holidays).unwrap()
    })
}

proptest! {
    /// Until the next change nothing changes, and the hours between two times
    /// are those of the stretches between.
    #[test]
    fn the_three_answers_agree(pattern in any_pattern(), minute in 0i64..525_600, step in 0.0f64..1.0) {
        let start = at("2026-01-01T00:00:00Z") + Span::from_mins(minute);
        let working = pattern.is_working(start);
        let Some(change) = pattern.next_change(start) else {
            prop_assert!(working, "an idle plant works again within a week or two");
            return Ok(());
        };
        prop_assert!(start < change && pattern.is_working(change) != working);
        let length = (change - start).millis();
        let between = start + Span::from_millis((step * length as f64) as i64);
        if between < change {
            prop_assert_eq!(pattern.is_working(between), working);
        }
        let hours = pattern.working_hours_between(start, change);
        prop_assert_eq!(hours, if working { length as f64 / HOUR_MS } else { 0.0 });
    }

    #[test]
    fn hours_add_up(pattern in any_pattern(), minutes in prop::array::uniform3(0i64..525_600)) {
        let mut times = minutes.map(|minute| at("2026-01-01T00:00:00Z") + Span::from_mins(minute));
        times.sort_unstable();
        let [a, b, c] = times;
        let hours = |from, to| pattern.working_hours_between(from, to);
        prop_assert!((hours(a, b) + hours(b, c) - hours(a, c)).abs() < 1e-6);
        prop_assert_eq!(hours(c, a), 0.0);
    }
}

#[test]
fn a_stand_still_gives_back_its_days_and_a_weekend_does_not() {
    let still: Vec<String> = (3..=21).map(|day| format!("2026-08-{day:02}")).collect();
    let still: Vec<&str> = still.iter().map(String::as_str).collect();
    let plant = pattern("UTC", &["mon-fri 06:00-22:00"], &still);
    let week = Span::from_hours(7 * 24);
    let over = |from: &str| plant.over_after(at(from), week);
    assert_eq!(over("2026-07-20T10:00:00Z"), at("2026-07-27T10:00:00Z"));
    // Three weeks later to the minute: Thursday's check is Thursday's again.
    assert_eq!(over("2026-07-30T10:00:00Z"), at("2026-08-27T10:00:00Z"));
    // Made in the stand-still, it counts from its end on.
    assert_eq!(over("2026-08-12T10:00:00Z"), at("2026-08-28T22:00:00Z"));
    // A night between a shift and the weekend it belongs to is no more than it.
    let friday = pattern("UTC", &["mon-fri 06:00-22:00"], &["2026-05-01"]);
    let over = friday.over_after(at("2026-04-28T10:00:00Z"), week);
    assert_eq!(over, at("2026-05-06T10:00:00Z"));
    let thursday = pattern("UTC", &["mon-fri 06:00-22:00"], &["2026-05-14"]);
    let over = thursday.over_after(at("2026-05-11T10:00:00Z"), week);
    assert_eq!(over, at("2026-05-18T10:00:00Z"));
}

#[test]
fn a_pause_belongs_to_the_week_that_follows_itself() {
    let pause = |week: &[&str]| pattern("UTC", week, &[]).weekend;
    assert_eq!(pause(&["mon-fri 06:00-22:00"]), Span::from_hours(56));
    let round_the_clock = ["mon-fri 06:00-22:00", "mon-fri 22:00-06:00"];
    assert_eq!(pause(&round_the_clock), Span::from_hours(48));
    assert_eq!(pause(&["wed 06:00-14:00"]), Span::from_hours(160));
    assert_eq!(pause(&["mon-sun 00:00-24:00"]), Span::ZERO);
}

#[test]
fn a_start_after_a_stand_still_is_told_from_one_after_a_weekend() {
    let week = ["mon-fri 06:00-22:00"];
    // Three weeks, and a Friday.
    let august = (3..22).map(|day| format!("2026-08-{day:02}"));
    let shut: Vec<String> = august.chain(["2026-05-01".to_owned()]).collect();
    let shut: Vec<&str> = shut.iter().map(String::as_str).collect();
    let vienna = pattern("Europe/Vienna", &week, &shut);
    let start = |from: &str, to: &str| vienna.start_after_long_pause(at(from), at(to));
    let monday = Some(at("2026-08-24T06:00:00+02:00"));
    let day = "2026-08-23T20:00:00+02:00";
    assert_eq!(start(day, "2026-08-24T06:00:00+02:00"), monday);
    assert_eq!(start(day, "2026-08-25T12:00:00+02:00"), monday);
    assert_eq!(start(day, "2026-08-24T05:59:59+02:00"), None);
    let (before, after) = ("2026-08-24T06:00:00+02:00", "2026-08-24T06:00:01+02:00");
    assert_eq!(start(before, "2026-08-24T20:00:00+02:00"), monday);
    assert_eq!(start(after, "2026-08-24T20:00:00+02:00"), None);
    // A weekend is none, nor is one in which the clocks are changed.
    for sunday in ["2026-08-30", "2026-10-25", "2026-03-29"] {
        let from = at(&format!("{sunday}T12:00:00Z"));
        let to = from + Span::from_hours(30);
        assert_eq!(vienna.start_after_long_pause(from, to), None, "{sunday}");
    }
    let after_long_weekend = start("2026-05-03T20:00:00Z", "2026-05-04T08:00:00Z");
    assert_eq!(after_long_weekend, Some(at("2026-05-04T06:00:00+02:00")));
    // Without holidays there is no stand-still.
    let always = pattern("Europe/Vienna", &week, &[]);
    let none = always.start_after_long_pause(at(day), at("2026-09-24T06:00:00Z"));
    assert_eq!(none, None);
}
