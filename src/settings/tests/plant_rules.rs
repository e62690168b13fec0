//! What of the plant itself is watched.

use super::*;
use crate::engine::Priority;
use crate::units::Span;

#[test]
fn the_loss_of_every_source_is_told_after_two_minutes_unless_it_says_otherwise() {
    let settings = read("").unwrap();
    let source = &settings.watched.sources[0];
    assert_eq!((&*source.name, source.kind), ("main", "broker"));
    assert_eq!((source.channels.len(), source.sumps()), (1, 1));
    assert_eq!(source.priority, Priority::Medium);
    assert_eq!(source.manner.on, Span::from_mins(2));
    assert_eq!(source.manner.off, Span::from_mins(2));
    let written =
        "[plant.rules.source]\npriority = \"high\"\non_delay = \"5 s\"\noff_delay = \"0 s\"\n";
    let source = &read(written).unwrap().watched.sources[0];
    assert_eq!(source.priority, Priority::High);
    assert_eq!(source.manner.on, Span::from_secs(5));
    assert_eq!(source.manner.off, Span::ZERO);
    let off = read("[plant.rules]\nsource = false\n").unwrap();
    assert!(off.watched.sources.is_empty());
}

#[test]
fn no_sump_is_called_as_the_plant_is_in_entries_and_topics() {
    let sump =
        "[sump.plant]\nfluid = \"soluble-a\"\ntarget = \"8 %\"\nworking_volume = \"820 L\"\n";
    let told = read(sump).unwrap_err().to_string();
    assert!(
        told.contains("\"plant\"") && told.contains("the plant itself"),
        "{told}"
    );
}

#[test]
fn every_stock_is_watched_and_says_below_what_it_is_told() {
    let counted = "[stock.soluble-a]\nlitres = \"400 L\"\ncounted = \"2026-11-20\"\n";
    let stock = &read(counted).unwrap().watched.stocks[0];
    assert_eq!(
        (&*stock.fluid, stock.priority),
        ("soluble-a", Priority::Low)
    );
    assert_eq!(stock.least, Span::from_hours(14 * 24));
    let least = format!("{counted}least = \"30 d\"\n");
    let stock = &read(&least).unwrap().watched.stocks[0];
    assert_eq!(stock.least_days(), 30.0);
    let none = format!("{counted}[plant.rules]\nstock = false\n");
    assert!(read(&none).unwrap().watched.stocks.is_empty());
    assert!(read(&format!("{counted}least = \"0 d\"\n")).is_err());
}

#[test]
fn servers_of_series_and_the_disk_are_watched_unless_it_says_otherwise() {
    let target = "[forward.history]\nurl = \"http://127.0.0.1:8086\"\n";
    let watched = read(target).unwrap().watched;
    let forward = &watched.forwards[0];
    assert_eq!(
        (&*forward.name, forward.priority),
        ("history", Priority::Low)
    );
    assert_eq!(forward.away_after, Span::from_hours(1));
    assert_eq!(forward.manner.on, Span::from_mins(2));
    let disk = watched.disk.unwrap();
    assert_eq!(disk.priority, Priority::Medium);
    assert_eq!(disk.manner.off, Span::from_hours(1));
    let written =
        format!("{target}[plant.rules.forward]\naway_after = \"8 h\"\npriority = \"high\"\n");
    let forward = &read(&written).unwrap().watched.forwards[0];
    assert_eq!(
        (forward.away_after, forward.priority),
        (Span::from_hours(8), Priority::High)
    );
    let off = format!("{target}[plant.rules]\nforward = false\ndisk = false\n");
    let watched = read(&off).unwrap().watched;
    assert!(watched.forwards.is_empty() && watched.disk.is_none());
    let wrong = format!("{target}[plant.rules.forward]\naway_after = \"0 s\"\n");
    assert!(read(&wrong).is_err());
}

#[test]
fn a_start_after_a_stand_still_is_one_alarm_unless_it_says_otherwise() {
    let settings = read("").unwrap();
    let start_up = settings.watched.start_up.unwrap();
    assert_eq!(start_up.priority, Priority::High);
    assert_eq!(start_up.manner.on, Span::from_mins(30));
    assert_eq!(start_up.manner.off, Span::ZERO);
    assert!(settings.sumps.iter().all(|sump| sump.start_up));
    let written = "[plant.rules.start_up]\npriority = \"medium\"\non_delay = \"10 min\"\n";
    let start_up = read(written).unwrap().watched.start_up.unwrap();
    assert_eq!(start_up.priority, Priority::Medium);
    assert_eq!(start_up.manner.on, Span::from_mins(10));
    let off = read("[plant.rules]\nstart_up = false\n").unwrap();
    assert_eq!(off.watched.start_up, None);
    assert!(off.sumps.iter().all(|sump| !sump.start_up));
    assert!(read("[plant.rules.start_up]\non_delay = \"8 d\"\n").is_err());
}
