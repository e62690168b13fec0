//! The alarms that every channel has, as a plant has set them.

use super::*;

fn bench(silent: Option<AlarmSetup>, disagrees: AlarmSetup) -> Bench {
    let setup = SumpSetup {
        silent,
        disagrees,
        ..(*setup()).clone()
    };
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn after(on: Span) -> AlarmSetup {
    AlarmSetup {
        priority: Priority::High,
        manner: AlarmManner {
            on,
            ..AlarmManner::default()
        },
    }
}

impl Bench {
    /// The lines of one alarm, with when.
    fn lines_of(&self, condition: &str) -> Vec<(Timestamp, AlarmLine)> {
        let each = self
            .journal()
            .into_iter()
            .filter_map(|record| match &record.body {
                JournalBody::Alarm(line) => Some((record.time, line.clone())),
                _ => None,
            });
        each.filter(|(_, line)| line.condition.to_string() == condition)
            .collect()
    }
}

/// Silent after 15 minutes without a reading, and told half an hour later.
#[test]
fn silence_is_told_after_its_delay() {
    let mut bench = bench(Some(after(Span::from_mins(30))), AlarmSetup::default());
    bench.run(0..60, 8.0, 900.0);
    bench
        .watch
        .step(&Event::Tick(minute(103)), &mut bench.effects);
    assert!(bench.lines_of("silent.brix").is_empty());
    bench
        .watch
        .step(&Event::Tick(minute(120)), &mut bench.effects);
    let lines = bench.lines_of("silent.brix");
    let (time, line) = &lines[0];
    assert_eq!((*time, lines.len()), (minute(59 + 15 + 30), 1));
    assert_eq!(line.priority, Priority::High);
}

#[test]
fn a_reading_within_the_delay_keeps_silence_from_being_told() {
    let mut bench = bench(Some(after(Span::from_mins(30))), AlarmSetup::default());
    bench.run(0..60, 8.0, 900.0);
    // Silent from minute 74 on, and again from minute 95 on.
    bench.run(80..81, 8.0, 900.0);
    bench
        .watch
        .step(&Event::Tick(minute(120)), &mut bench.effects);
    assert!(bench.lines_of("silent.brix").is_empty());
    bench
        .watch
        .step(&Event::Tick(minute(130)), &mut bench.effects);
    assert_eq!(bench.lines_of("silent.brix")[0].0, minute(80 + 15 + 30));
}

/// A delay that ran when the program stopped goes on, and nothing hangs meanwhile.
#[test]
fn the_delay_of_silence_goes_on_over_a_restart() {
    let mut bench = bench(Some(after(Span::from_mins(30))), AlarmSetup::default());
    bench.run(0..60, 8.0, 900.0);
    for m in 60..90 {
        bench.read(LEVEL, minute(m), 0.9);
    }
    bench.watch.listen_from(minute(150));
    bench
        .watch
        .step(&Event::Tick(minute(155)), &mut bench.effects);
    assert!(bench.lines_of("silent.brix").is_empty());
    for m in 155..240 {
        bench.read(LEVEL, minute(m), 0.9);
    }
    let told = bench.lines_of("silent.brix");
    assert_eq!(told.len(), 1, "{:?}", bench.alarms());
    assert!(told[0].0 < minute(190), "{}", told[0].0);
    assert!(bench.lines_of("silent.level").is_empty());
}

#[test]
fn nobody_is_told_of_silence_where_that_is_off() {
    let mut bench = bench(None, AlarmSetup::default());
    bench.run(0..60, 8.0, 900.0);
    bench
        .watch
        .step(&Event::Tick(minute(300)), &mut bench.effects);
    assert!(bench.alarms().is_empty(), "{:?}", bench.alarms());
    let names = bench.watch.setup().alarm_names().collect::<Vec<_>>();
    assert!(names.contains(&"disagrees.level".to_owned()), "{names:?}");
    assert!(!names.contains(&"silent.level".to_owned()), "{names:?}");
    // It is silent all the same, and its limits say nothing.
    assert!(bench.watch.status().channels[0].silent);
}

#[test]
fn doubt_is_told_with_its_own_priority_and_again() {
    let disagrees = AlarmSetup {
        priority: Priority::Medium,
        manner: AlarmManner {
            again_after: Some(Span::from_hours(2)),
            ..AlarmManner::default()
        },
    };
    let mut bench = bench(None, disagrees);
    bench.run(0..60, 8.0, 900.0);
    let by_hand = EntryKind::HandReading {
        quantity: Quantity::Brix,
        value: 3.0,
        method: None,
        mixer: None,
        written: None,
    };
    bench.enter("h", minute(60), by_hand);
    bench.run(60..70, 8.0, 900.0);
    let (_, line) = bench.lines_of("disagrees.brix").remove(0);
    assert_eq!(line.priority, Priority::Medium);
    bench
        .watch
        .acknowledge(&line.id, Some("crew"), &mut bench.effects);
    bench.run(70..240, 8.0, 900.0);
    let last = bench.lines_of("disagrees.brix").pop().expect("it is told");
    assert_eq!(last.1.transition, Transition::RaisedAgain);
}
