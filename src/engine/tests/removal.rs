//! Alarms that stood when the settings stopped watching for them.

use super::*;

/// The same sump without its limits of the concentration.
fn without_limits() -> Arc<SumpSetup> {
    let mut setup = (*setup()).clone();
    setup
        .limits
        .retain(|limit| limit.signal != Quantity::Concentration);
    Arc::new(setup)
}

/// What is written when the bench's watch is taken up at `time` with these
/// settings, and the watch.
fn taken_up(
    bench: &Bench,
    setup: Arc<SumpSetup>,
    time: Timestamp,
) -> (SumpWatch, Vec<(JournalRecord, AlarmLine)>) {
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let snapshot: SumpSnapshot = serde_json::from_str(&text).unwrap();
    let stood = snapshot.standing();
    let mut watch = SumpWatch::restore(setup, ADMISSION, snapshot);
    watch.listen_from(time);
    let mut effects = Vec::new();
    watch.close_removed(&stood, time, |_| Priority::Medium, &mut effects);
    let lines = effects.into_iter().filter_map(|effect| match effect {
        Effect::Journal(record) => match record.body.clone() {
            JournalBody::Alarm(line) => Some((*record, line)),
            _ => None,
        },
        _ => None,
    });
    let lines = lines.collect();
    (watch, lines)
}

#[test]
fn what_stands_without_its_limit_is_closed_once_and_the_same_settings_close_nothing() {
    let mut bench = Bench::new();
    bench.run(0..60, 5.0, 900.0);
    assert_eq!(
        bench.alarms(),
        [told("concentration.low", Transition::Raised)]
    );
    let raised = bench.watch.status().alarms[0].id.clone();
    let last = bench.journal().last().unwrap().seq;
    let (_, none) = taken_up(&bench, setup(), minute(90));
    assert_eq!(none, []);
    let (watch, lines) = taken_up(&bench, without_limits(), minute(90));
    let [(record, line)] = &lines[..] else {
        panic!("{lines:?}");
    };
    assert_eq!((record.time, record.seq), (minute(90), last + 1));
    assert_eq!(line.id, raised);
    assert_eq!(line.transition, Transition::Removed);
    assert_eq!(line.state, AlarmState::Normal);
    assert_eq!(line.priority, Priority::Medium);
    // It is kept no more, so that the next start closes nothing.
    let other = Bench {
        watch,
        effects: Vec::new(),
    };
    let (_, none) = taken_up(&other, without_limits(), minute(91));
    assert_eq!(none, []);
}

#[test]
fn what_was_set_aside_is_closed_too_and_nobody_hears_of_what_was_suppressed() {
    let mut bench = Bench::new();
    let out = |alarm: &str| EntryKind::OutOfService {
        alarm: alarm.to_owned(),
        reason: "bench test".to_owned(),
    };
    bench.enter("out", minute(0), out("concentration.high"));
    let pumps = EntryKind::Event {
        what: HappeningKind::PumpsOff,
        litres: None,
        channel: None,
        advice: None,
    };
    bench.enter("pumps", minute(0), pumps);
    bench.run(1..60, 5.0, 900.0);
    let (_, lines) = taken_up(&bench, without_limits(), minute(90));
    let mut steps: Vec<(String, Transition)> = lines
        .iter()
        .map(|(_, line)| (line.condition.to_string(), line.transition))
        .collect();
    steps.sort_by(|one, other| one.0.cmp(&other.0));
    assert_eq!(
        steps,
        [
            told("concentration.high", Transition::Removed),
            told("concentration.low", Transition::Unsuppressed)
        ]
    );
    let ended = |(_, line): &(JournalRecord, AlarmLine)| line.state == AlarmState::Normal;
    assert!(lines.iter().all(ended));
}

#[test]
fn a_sump_that_is_gone_keeps_what_it_learned_and_no_alarm() {
    let mut bench = Bench::new();
    bench.run(0..60, 5.0, 900.0);
    let mut snapshot = bench.watch.snapshot();
    let before = serde_json::to_value(&snapshot).unwrap();
    let mut effects = Vec::new();
    let name: Arc<str> = "mill".into();
    let high = |_: &KeptAlarm| Priority::High;
    snapshot.close_all(&name, minute(90), high, &mut effects);
    let [Effect::Journal(record)] = &effects[..] else {
        panic!("{effects:?}");
    };
    let JournalBody::Alarm(line) = &record.body else {
        panic!("{record:?}");
    };
    assert_eq!(
        (line.transition, line.priority),
        (Transition::Removed, Priority::High)
    );
    assert_eq!(snapshot.standing(), []);
    let after = serde_json::to_value(&snapshot).unwrap();
    assert_eq!(before["balance"], after["balance"]);
    // It may come back, and then stands again by what is read.
    let mut again = Bench {
        watch: SumpWatch::restore(setup(), ADMISSION, snapshot),
        effects: Vec::new(),
    };
    again.watch.listen_from(minute(100));
    again.run(100..130, 5.0, 900.0);
    assert_eq!(
        again.alarms(),
        [told("concentration.low", Transition::Raised)]
    );
}

#[test]
fn a_source_that_is_gone_from_the_settings_ends_its_alarm_of_the_plant() {
    let source = |name: &str| SourceSetup {
        name: name.into(),
        kind: "modbus",
        address: "192.168.2.5:502".to_owned(),
        channels: Vec::new(),
        priority: Priority::Medium,
        manner: AlarmManner::default(),
    };
    let setup = |names: &[&str]| {
        Arc::new(PlantSetup {
            sources: names.iter().map(|name| source(name)).collect(),
            stocks: Vec::new(),
            forwards: Vec::new(),
            disk: None,
            start_up: None,
        })
    };
    let mut watch = PlantWatch::new(setup(&["hall-3", "hall-4"]), ADMISSION, start());
    let mut effects = Vec::new();
    for name in ["hall-3", "hall-4"] {
        let lost = Lost {
            since: start(),
            why: "no answer".to_owned(),
        };
        let event = PlantEvent::Source {
            name: name.into(),
            time: minute(1),
            lost: Some(lost),
        };
        watch.step(&event, &mut effects);
    }
    assert_eq!(effects.len(), 2);
    let snapshot = watch.snapshot();
    let stood = snapshot.standing();
    let mut watch = PlantWatch::restore(setup(&["hall-4"]), ADMISSION, snapshot);
    effects.clear();
    watch.close_removed(&stood, minute(5), |_| Priority::Low, &mut effects);
    let [Effect::Journal(record)] = &effects[..] else {
        panic!("{effects:?}");
    };
    let JournalBody::Alarm(line) = &record.body else {
        panic!("{record:?}");
    };
    assert_eq!(
        (&*record.sump, record.seq, record.time),
        (PLANT, 3, minute(5))
    );
    assert_eq!(line.condition.to_string(), "source.hall-3");
    assert_eq!(
        (line.transition, line.state),
        (Transition::Removed, AlarmState::Normal)
    );
}
