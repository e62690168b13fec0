//! The plant's clocks, its shifts, and its pumps.

use jiff::tz::TimeZone;

use super::{read, told};
use crate::units::{Timestamp, Volume};

const SHIFTS: &str = r#"
[plant]
time_zone = "Europe/Vienna"
[shifts]
week = ["mon-fri 06:00-22:00", "sat 06:00-14:00"]
holidays = ["2026-12-24"]
"#;

const SUMP_B: &str = r#"
[sump.cell-b]
fluid = "soluble-a"
target = "8 %"
working_volume = "820 L"
vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
[sump.cell-b.channel.brix]
quantity = "brix"
topic = "cells/b/brix"
"#;

fn at(text: &str) -> Timestamp {
    Timestamp::parse(text).unwrap()
}

#[test]
fn without_a_word_there_are_no_shifts_and_the_zone_is_utc() {
    let settings = read("").unwrap();
    assert_eq!(settings.plant.time_zone, TimeZone::UTC);
    assert_eq!(settings.sumps[0].shifts, None);
    assert_eq!(settings.sumps[0].drain_back, None);
    assert_eq!(settings.sumps[0].pump, None);
}

#[test]
fn shifts_of_the_plant_hold_at_its_sumps_by_its_clocks() {
    let settings = read(SHIFTS).unwrap();
    let shifts = settings.sumps[0].shifts.as_ref().unwrap();
    assert!(shifts.is_working(at("2026-07-06T06:00:00+02:00")));
    assert!(!shifts.is_working(at("2026-07-06T05:59:00+02:00")));
    assert!(!shifts.is_working(at("2026-12-24T10:00:00+01:00")));
}

#[test]
fn a_sump_has_shifts_of_its_own_or_none() {
    let own = "[sump.cell-a]\nshifts = { week = [\"mon-sun 22:00-06:00\"] }\n";
    let sump_b = SUMP_B.replace("[sump.cell-b]\n", "[sump.cell-b]\nshifts = false\n");
    let settings = read(&format!("{SHIFTS}{own}{sump_b}")).unwrap();
    let shifts = settings.sumps[0].shifts.as_ref().unwrap();
    assert!(shifts.is_working(at("2026-07-06T23:00:00+02:00")));
    assert!(
        !shifts.is_working(at("2026-12-24T23:00:00+01:00")),
        "the plant's holiday"
    );
    assert_eq!(settings.sumps[1].shifts, None);
}

#[test]
fn tells_what_is_wrong_with_shifts() {
    told(
        "[plant]\ntime_zone = \"Europe/Viena\"\n",
        &[
            "z.toml:2:13: plant.time_zone: there is no time zone \"Europe/Viena\"; did you mean \
           \"Europe/Vienna\"?",
        ],
    );
    told(
        "[shifts]\nweek = [\"mon-fry 06:00-22:00\"]\nholidays = [\"24.12.2026\"]\n",
        &[
            "z.toml:2:9: shifts.week[0]: \"fry\" is not a day: write mon, tue, wed, thu, fri, sat \
             or sun, several as mon-fri or mon,wed,fri",
            "z.toml:3:13: shifts.holidays[0]: \"24.12.2026\" is not a date; write it as \
             \"2026-03-02\"",
        ],
    );
    told(
        "[sump.cell-a]\nshifts = { week = [] }\n",
        &[
            "z.toml:2:19: sump.cell-a.shifts.week: has no shift; write one, as \"mon-fri \
           06:00-22:00\", or leave the shifts out",
        ],
    );
    told(
        "[shifts]\nholidays = []\n",
        &[
            "z.toml:1:2: shifts.week: is missing; write for example week = [\"mon-fri \
           06:00-22:00\"]",
        ],
    );
}

#[test]
fn what_runs_back_comes_out_of_the_lines_and_finds_room_in_the_tank() {
    let settings = read("[sump.cell-a]\nlines = \"60 L\"\ndrain_back = \"60 L\"\n").unwrap();
    assert_eq!(
        settings.sumps[0].drain_back,
        Some(Volume::from_litres(60.0))
    );
    told(
        "[sump.cell-a]\nlines = \"40 L\"\ndrain_back = \"60 L\"\n",
        &[
            "z.toml:3:14: sump.cell-a.drain_back: 60.0 L is not allowed; allowed is 0 L to what is \
           in the lines (40.0 L), and no more than tank and lines hold beyond max_volume (115.0 L), or \
           the tank runs over when the pumps stop",
        ],
    );
    told(
        "[sump.cell-a]\nlines = \"200 L\"\nmax_volume = \"1100 L\"\ndrain_back = \"60 L\"\n",
        &[
            "z.toml:4:14: sump.cell-a.drain_back: 60.0 L is not allowed; allowed is 0 L to what is \
           in the lines (200.0 L), and no more than tank and lines hold beyond max_volume (36.0 L), or \
           the tank runs over when the pumps stop",
        ],
    );
}

fn switch(name: &str) -> String {
    format!("[sump.cell-a.channel.{name}]\nquantity = \"state\"\ntopic = \"cells/a/{name}\"\n")
}

#[test]
fn the_only_switch_is_the_pumps_unless_something_else_is_said() {
    // By name, the channels are brix, filter, pump.
    let pump = |text: String| read(&text).unwrap().sumps[0].pump;
    let (filter, motor) = (switch("filter"), switch("pump"));
    assert_eq!(pump(motor.clone()), Some(1));
    assert_eq!(pump(format!("{filter}{motor}")), None);
    let named = "[sump.cell-a]\npump = \"pump\"\n";
    assert_eq!(pump(format!("{named}{filter}{motor}")), Some(2));
    assert_eq!(pump(format!("[sump.cell-a]\npump = false\n{motor}")), None);
    told(
        &format!("[sump.cell-a]\npump = \"brix\"\n{motor}"),
        &[
            "z.toml:2:8: sump.cell-a.pump: there is no channel of quantity = \"state\" here with \
           the name \"brix\"; allowed here: pump",
        ],
    );
}
