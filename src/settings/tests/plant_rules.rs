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
