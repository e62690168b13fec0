//! What people and circumstances do to alarms.

use super::*;
use crate::advice::LookStep;
use crate::rules::Condition;
use crate::signal::{InstrumentClass, InstrumentReason};

fn shelve(alarm: &str, hours: f64) -> EntryKind {
    EntryKind::Shelve {
        alarm: alarm.into(),
        hours,
        reason: "concentrate on order".into(),
    }
}

fn lines(bench: &Bench) -> Vec<AlarmLine> {
    let bodies = bench.journal().into_iter().map(|record| &record.body);
    let lines = bodies.filter_map(|body| match body {
        JournalBody::Alarm(line) => Some(line.clone()),
        _ => None,
    });
    lines.collect()
}

/// The bench with a limit at 4 % for what is urgent, and these rules.
fn bench(rules: Vec<RuleSetup>) -> Bench {
    let mut setup = (*setup()).clone();
    let urgent = limit(Quantity::Concentration, LimitLevel::LowLow, 4.0, 0.25);
    setup
        .limits
        .retain(|limit| limit.signal == Quantity::Concentration);
    setup.limits.push(urgent);
    setup.rules = rules;
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn at_once(rule: Rule) -> RuleSetup {
    RuleSetup {
        rule,
        priority: Priority::Low,
        manner: AlarmManner::default(),
    }
}

#[test]
fn a_shelved_alarm_is_told_again_when_its_time_is_over() {
    let mut bench = Bench::new();
    bench.run(0..60, 5.0, 900.0);
    bench.enter("s", minute(60), shelve("concentration.low", 2.0));
    bench.run(60..181, 5.0, 900.0);
    assert_eq!(
        bench.alarms(),
        [
            told("concentration.low", Transition::Raised),
            told("concentration.low", Transition::Shelved),
            told("concentration.low", Transition::Unshelved),
        ]
    );
    let lines = lines(&bench);
    assert_eq!(lines[1].until, Some(minute(180)));
    assert_eq!(lines[1].reason.as_deref(), Some("concentrate on order"));
    assert_eq!(lines[1].by.as_deref(), Some("crew"));
    assert_eq!(lines[2].state, AlarmState::Unacknowledged);
    assert!(lines[2].advice.is_some(), "it comes with what to do");
}

#[test]
fn what_is_over_when_its_shelf_ends_is_not_told_for_its_off_delay() {
    let mut setup = (*setup()).clone();
    for limit in &mut setup.limits {
        limit.manner.off = Span::from_hours(12);
    }
    let mut bench = Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    };
    bench.run(0..60, 5.0, 900.0);
    bench.enter("s", minute(60), shelve("concentration.low", 2.0));
    bench.run(60..120, 5.0, 900.0);
    bench.run(120..300, 8.0, 900.0);
    let last = lines(&bench).pop().unwrap();
    assert_eq!(last.transition, Transition::Unshelved);
    assert_eq!(last.state, AlarmState::Normal);
}

#[test]
fn a_normal_alarm_can_be_shelved_and_taken_out_of_service_by_name() {
    let mut bench = Bench::new();
    bench.run(0..30, 8.0, 900.0);
    bench.enter("s", minute(30), shelve("concentration.low", 1.0));
    let out = EntryKind::OutOfService {
        alarm: "silent.brix".into(),
        reason: "sent in".into(),
    };
    bench.enter("o", minute(31), out);
    for m in 31..200 {
        bench.read(LEVEL, minute(m), 0.9);
    }
    let shown = bench.watch.status().alarms;
    assert_eq!(shown.len(), 1, "{shown:?}");
    assert_eq!(shown[0].state, AlarmState::OutOfService);
    let back = EntryKind::InService {
        alarm: "silent.brix".into(),
    };
    bench.enter("b", minute(200), back);
    let last = lines(&bench).pop().unwrap();
    assert_eq!(last.transition, Transition::PutIntoService);
    assert_eq!(last.state, AlarmState::Unacknowledged);
}

#[test]
fn a_shelf_that_was_a_mistake_is_taken_back() {
    let mut bench = Bench::new();
    bench.run(0..60, 5.0, 900.0);
    bench.enter("s", minute(60), shelve("concentration.low", 8.0));
    let entry = Entry {
        id: "w".into(),
        time: minute(61),
        sump: "mill".into(),
        by: None,
        supersedes: Some("s".into()),
        kind: EntryKind::Withdrawn { text: None },
    };
    let event = Event::Entry(Box::new(entry), minute(61));
    bench.watch.step(&event, &mut bench.effects);
    assert_eq!(
        bench.alarms().last(),
        Some(&told("concentration.low", Transition::Unshelved))
    );
}

#[test]
fn who_names_an_alarm_that_is_not_there_is_told_so() {
    let bench = Bench::new();
    let entry = Entry {
        id: "s".into(),
        time: minute(1),
        sump: "mill".into(),
        by: None,
        supersedes: None,
        kind: shelve("concentration.lower", 1.0),
    };
    let said = bench.watch.names_in_vain(&entry).expect("something");
    assert!(said.contains("there is no alarm"), "{said}");
    assert!(said.contains("concentration.low"), "{said}");
}

#[test]
fn of_two_limits_on_one_side_the_worse_one_is_told() {
    let mut bench = bench(Vec::new());
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..120, 3.0, 900.0);
    bench.run(120..300, 5.0, 900.0);
    bench.run(300..400, 8.0, 900.0);
    assert_eq!(
        bench.alarms(),
        [
            told("concentration.low", Transition::Suppressed),
            told("concentration.low_low", Transition::Raised),
            told("concentration.low_low", Transition::Returned),
            told("concentration.low", Transition::Unsuppressed),
            told("concentration.low", Transition::Returned),
        ]
    );
    let lines = lines(&bench);
    let worse = Suppressor::Alarm("concentration.low_low".into());
    assert_eq!(lines[0].because, Some(worse));
    assert_eq!(lines[3].state, AlarmState::Unacknowledged);
}

#[test]
fn the_silence_of_channels_whose_source_is_gone_is_suppressed() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    for channel in [BRIX, LEVEL] {
        let trouble = Trouble {
            channel,
            time: minute(60),
            kind: TroubleKind::SourceGone(true),
        };
        bench
            .watch
            .step(&Event::Trouble(trouble), &mut bench.effects);
    }
    bench
        .watch
        .step(&Event::Tick(minute(200)), &mut bench.effects);
    let raised = bench.alarms().into_iter();
    let raised: Vec<_> = raised.filter(|(_, by)| *by == Transition::Raised).collect();
    assert!(raised.is_empty(), "{raised:?}");
    let because: Vec<_> = lines(&bench).into_iter().map(|line| line.because).collect();
    assert_eq!(because, vec![Some(Suppressor::SourceGone); 2]);
}

#[test]
fn nobody_is_told_of_the_levels_of_a_sump_that_is_being_cleaned_out() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let drained = EntryKind::Event {
        what: HappeningKind::Drained,
        litres: Some(880.0),
        channel: None,
        advice: None,
    };
    bench.enter("d", minute(60), drained);
    bench.run(60..240, 5.0, 20.0);
    let told: Vec<_> = lines(&bench).into_iter().collect();
    assert!(!told.is_empty());
    for line in told {
        assert_eq!(line.transition, Transition::Suppressed, "{line:?}");
        assert_eq!(line.because, Some(Suppressor::Recharge));
    }
}

#[test]
fn a_frozen_refractometer_is_told_of_and_the_alarm_that_it_causes_is_not() {
    let rule = Rule::Instrument {
        channel: "brix".into(),
    };
    let mut bench = bench(vec![at_once(rule)]);
    // Its last digit stands still, at 5 %, while the level goes up and down.
    for hour in 0..24 {
        let volume = if hour % 2 == 0 { 900.0 } else { 600.0 };
        bench.run(60 * hour..60 * (hour + 1), 5.0, volume);
    }
    let told = bench.alarms();
    assert!(
        told.contains(&("instrument.brix".into(), Transition::Raised)),
        "{told:?}"
    );
    let raised = lines(&bench)
        .into_iter()
        .find(|line| line.condition == Condition::Instrument("brix".into()))
        .unwrap();
    let instrument = raised.instrument.unwrap();
    assert_eq!(instrument.reason, Some(InstrumentReason::Frozen));
    assert_eq!(instrument.class, InstrumentClass::Failure);
    assert_eq!(instrument.since, Some(raised.since));
    let frozen_at = instrument.figures.frozen_at.unwrap();
    assert!((frozen_at - 2.7).abs() < 0.01, "{frozen_at}");
    let look_at = &raised.advice.unwrap().look_at;
    assert_eq!(look_at[0], LookStep::WipePrism);
    let (_, last) = told.last().unwrap();
    assert_eq!(*last, Transition::Suppressed, "{told:?}");
    let because = lines(&bench).pop().unwrap().because;
    assert_eq!(because, Some(Suppressor::Instrument("brix".into())));
}

#[test]
fn a_watch_goes_on_with_what_was_hidden() {
    let mut one = Bench::new();
    one.run(0..60, 5.0, 900.0);
    one.enter("s", minute(60), shelve("concentration.low", 4.0));
    let snapshot = serde_json::to_string(&one.watch.snapshot()).unwrap();
    let snapshot = serde_json::from_str(&snapshot).unwrap();
    let mut other = Bench::new();
    other.watch = SumpWatch::restore(setup(), ADMISSION, snapshot);
    one.effects.clear();
    for bench in [&mut one, &mut other] {
        bench.run(60..400, 5.0, 900.0);
    }
    assert_eq!(one.effects, other.effects);
    assert_eq!(one.alarms().len(), 1);
}
