//! Meters, switches, and instruments that say something other than a value.

use super::*;

const METER: u16 = 2;
const PUMP: u16 = 3;

/// The invented sump with a water meter and a pump's switch.
fn equipped() -> Bench {
    let mut setup = (*setup()).clone();
    let mut meter = channel("make_up", Quantity::Metered, 4, 0.0, 1.0);
    meter.plausible = (0.0, 1e9);
    meter.kind = ChannelKind::Meter {
        counts: MeterSetup {
            rolls_over_at: Some(10_000.0),
            max_flow: Some(Flow::from_litres_per_minute(40.0)),
        },
        of: MeterOf::Water,
        total_series: SeriesIx(5),
    };
    let mut pump = channel("pump", Quantity::State, 6, 0.0, 0.5);
    pump.plausible = (0.0, 1.0);
    pump.kind = ChannelKind::Switch {
        of: SwitchOf::Pumps,
    };
    pump.silent_after = Span::from_hours(24 * 365_000);
    setup.channels.extend([meter, pump]);
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn status(bench: &Bench, channel: u16) -> ChannelStatus {
    bench.watch.status().channels[usize::from(channel)].clone()
}

#[test]
fn a_meter_is_followed_over_its_range_and_over_a_restart() {
    let mut bench = equipped();
    bench.read(METER, minute(1), 9_990.0);
    bench.read(METER, minute(2), 5.0);
    assert_eq!(status(&bench, METER).metered_l, Some(15.0));
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let snapshot = serde_json::from_str(&text).unwrap();
    let setup = Arc::clone(bench.watch.setup());
    bench.watch = SumpWatch::restore(setup, ADMISSION, snapshot);
    bench.read(METER, minute(3), 25.0);
    assert_eq!(status(&bench, METER).metered_l, Some(35.0));
    assert_eq!(status(&bench, METER).value, Some(25.0));
    let mut totals = bench.effects.iter().filter_map(|effect| match effect {
        Effect::Record(sample) if sample.series == SeriesIx(5) => Some(sample.value),
        _ => None,
    });
    assert_eq!(totals.next_back(), Some(35.0));
}

/// A rinse has counted far more than the make-up. Their meters change places in
/// the settings: nothing ran in between. In the same places, what ran since
/// the last point still counts.
#[test]
fn meters_that_change_places_have_not_run() {
    let meters = |names: [&str; 2]| {
        let mut setup = (**equipped().watch.setup()).clone();
        setup.channels.pop();
        let mut meter = setup.channels.pop().unwrap();
        meter.kind = ChannelKind::Meter {
            counts: MeterSetup {
                rolls_over_at: None,
                max_flow: None,
            },
            of: MeterOf::Water,
            total_series: SeriesIx(5),
        };
        for name in names {
            meter.name = name.into();
            setup.channels.push(meter.clone());
        }
        Arc::new(setup)
    };
    let read = |bench: &mut Bench, m: i64, counts: [f64; 2]| {
        bench.read(METER, minute(m), counts[0]);
        bench.read(METER + 1, minute(m), counts[1]);
        bench.run(m..m + 1, 8.0, 800.0);
    };
    let used = |bench: &Bench| bench.watch.consumption().charge().water_l;
    let mut bench = equipped();
    bench.watch = SumpWatch::new(meters(["make_up", "rinse"]), ADMISSION, start());
    for m in 0..12 {
        read(&mut bench, m, [m as f64, 5_000.0 * m as f64]);
    }
    let before = used(&bench);
    assert!(before > 0.0);
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let mut ran_since = |names: [&str; 2], counts: [f64; 2]| {
        let snapshot = serde_json::from_str(&text).unwrap();
        bench.watch = SumpWatch::restore(meters(names), ADMISSION, snapshot);
        for m in 12..30 {
            read(&mut bench, m, counts);
        }
        used(&bench) - before
    };
    let swapped = ran_since(["rinse", "make_up"], [55_000.0, 11.0]);
    assert_eq!(swapped, 0.0);
    let same = ran_since(["make_up", "rinse"], [11.0, 55_000.0]);
    assert!(same > 0.0 && same < 55_000.0 - before, "{same}");
}

#[test]
fn a_channel_that_never_reported_has_no_quality() {
    let mut bench = equipped();
    let before = status(&bench, METER);
    assert_eq!((before.time, before.quality), (None, None));
    bench.read(METER, minute(1), 100.0);
    assert_eq!(status(&bench, METER).quality, Some(QualityClass::Good));
}

#[test]
fn a_slip_of_a_meter_is_marked_and_not_counted() {
    let mut bench = equipped();
    for (m, count) in [(1, 100.0), (2, 0.0), (3, 104.0)] {
        bench.read(METER, minute(m), count);
    }
    let marks = bench.effects.iter().filter_map(|effect| match effect {
        Effect::Record(sample) if sample.series == SeriesIx(4) => Some(sample.quality),
        _ => None,
    });
    let marks: Vec<_> = marks.collect();
    assert_eq!(marks, [Quality::GOOD, Quality::SPIKE, Quality::GOOD]);
    assert_eq!(status(&bench, METER).metered_l, Some(4.0));
}

#[test]
fn late_counts_change_no_total() {
    let mut bench = equipped();
    bench.read(METER, minute(1), 100.0);
    bench.read(METER, minute(30), 110.0);
    bench.read(METER, minute(10), 105.0);
    assert_eq!(status(&bench, METER).metered_l, Some(10.0));
}

#[test]
fn a_switch_says_since_when_and_is_never_silent() {
    let mut bench = equipped();
    for (m, value) in [(1, 1.0), (2, 1.0), (3, 0.0), (4, 0.0)] {
        bench.read(PUMP, minute(m), value);
    }
    let pump = status(&bench, PUMP);
    assert_eq!((pump.value, pump.since), (Some(0.0), Some(minute(3))));
    bench
        .watch
        .step(&Event::Tick(minute(100_000)), &mut bench.effects);
    assert!(!status(&bench, PUMP).silent);
}

#[test]
fn a_retained_value_stands_in_and_wakes_nobody() {
    let mut bench = equipped();
    let retained = Event::Baseline {
        channel: PUMP,
        value: 1.0,
    };
    bench.watch.step(&retained, &mut bench.effects);
    let pump = status(&bench, PUMP);
    assert_eq!(
        (pump.baseline, pump.value, pump.time),
        (Some(1.0), None, None)
    );
    bench.read(PUMP, minute(1), 0.0);
    bench.watch.step(&retained, &mut bench.effects);
    let pump = status(&bench, PUMP);
    assert_eq!((pump.baseline, pump.value), (None, Some(0.0)));
    let brix = Event::Baseline {
        channel: BRIX,
        value: 4.2,
    };
    bench.watch.step(&brix, &mut bench.effects);
    bench
        .watch
        .step(&Event::Tick(minute(15)), &mut bench.effects);
    assert!(status(&bench, BRIX).silent, "it is no reading");
    assert!(bench.marks().is_empty(), "and nothing to be kept");
}

#[test]
fn an_instrument_that_is_gone_is_silent_at_once_until_it_reports() {
    let mut bench = equipped();
    bench.run(0..10, 8.0, 900.0);
    // By a clock that is behind that of the readings.
    let gone = Event::Trouble(Trouble {
        channel: BRIX,
        time: minute(5),
        kind: TroubleKind::Gone,
    });
    bench.watch.step(&gone, &mut bench.effects);
    assert!(status(&bench, BRIX).silent);
    assert_eq!(bench.alarms(), [told("silent.brix", Transition::Raised)]);
    bench.read(BRIX, minute(11), 4.2);
    assert!(!status(&bench, BRIX).silent);
}

#[test]
fn a_reading_with_a_fault_is_kept_and_counts_for_nothing() {
    let mut bench = equipped();
    bench.run(0..10, 8.0, 900.0);
    for m in 10..40 {
        let Event::Reading(good) = reading(BRIX, minute(m), minute(m), 1.0) else {
            unreachable!("it is a reading");
        };
        let faulty = Reading {
            quality: Quality::FAULT,
            ..good
        };
        bench
            .watch
            .step(&Event::Reading(faulty), &mut bench.effects);
    }
    assert!(bench.marks().ends_with(&[Quality::FAULT; 30]));
    let brix = status(&bench, BRIX);
    assert_eq!(brix.quality, Some(QualityClass::Bad));
    assert!(
        brix.silent,
        "without a usable reading for a quarter of an hour"
    );
    assert!((brix.value.unwrap() - 4.2).abs() < 1e-9, "{:?}", brix.value);
}

#[test]
fn a_reading_that_was_sent_as_one_of_the_past_changes_nothing() {
    let mut bench = equipped();
    bench.run(0..10, 8.0, 900.0);
    let before = status(&bench, BRIX);
    let Event::Reading(good) = reading(BRIX, minute(12), minute(12), 1.0) else {
        unreachable!("it is a reading");
    };
    let past = Reading {
        quality: Quality::LATE,
        ..good
    };
    bench.watch.step(&Event::Reading(past), &mut bench.effects);
    assert!(bench.marks().ends_with(&[Quality::LATE]), "it is kept");
    assert_eq!(status(&bench, BRIX), before, "however new its time is");
}

#[test]
fn unreadable_messages_are_the_channels_status_until_it_reports() {
    let mut bench = equipped();
    for count in [1, 999] {
        let trouble = Trouble {
            channel: BRIX,
            time: minute(3),
            kind: TroubleKind::Unreadable {
                count,
                why: "the payload is not a number".into(),
            },
        };
        bench
            .watch
            .step(&Event::Trouble(trouble), &mut bench.effects);
    }
    let unreadable = status(&bench, BRIX).unreadable.unwrap();
    assert_eq!((unreadable.count, unreadable.since), (1000, minute(3)));
    assert!(unreadable.why.contains("not a number"));
    bench.read(BRIX, minute(4), 4.2);
    assert_eq!(status(&bench, BRIX).unreadable, None);
}

/// A sump with a pump's switch, which stood for an hour while its probe saw a
/// lean mix in the cell; what it shows from some minutes after the start on is
/// given. The alarms of the concentration that were told.
fn told_after_a_stop(flushed: f64) -> Vec<Transition> {
    let mut setup = (*setup()).clone();
    let mut pump = channel("pump", Quantity::State, 4, 0.0, 0.5);
    pump.plausible = (0.0, 1.0);
    pump.kind = ChannelKind::Switch {
        of: SwitchOf::Pumps,
    };
    pump.silent_after = Span::from_hours(24);
    setup.pump = Some(2);
    setup.channels.push(pump);
    for channel in &mut setup.channels {
        channel.instrument.frozen_after = None;
    }
    let mut bench = Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    };
    for m in 0..180 {
        let brix = match m {
            0..60 => 4.2,
            60..125 => 1.5,
            _ => flushed,
        };
        bench.read(2, minute(m), f64::from(u8::from(!(60..120).contains(&m))));
        bench.read(LEVEL, minute(m), 0.9);
        bench.read(BRIX, minute(m), brix);
    }
    let journal = bench.journal();
    let lines = journal.iter().filter_map(|record| match &record.body {
        JournalBody::Alarm(line) => Some(line),
        _ => None,
    });
    lines
        .filter(|line| line.condition.to_string().starts_with("concentration"))
        .filter(|line| line.transition.annunciates(line.state))
        .map(|line| line.transition)
        .collect()
}

#[test]
fn after_a_stop_the_probes_are_believed_once_they_are_flushed() {
    assert_eq!(told_after_a_stop(4.2), []);
    assert!(!told_after_a_stop(1.5).is_empty());
}
