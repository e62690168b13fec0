//! Instruments on a 4–20 mA loop.

use super::*;
use crate::signal::LoopRange;

/// The invented sump with its refractometer on a loop, 0 to 16 °Bx, that is
/// neither smoothed nor despiked.
fn on_a_loop() -> Bench {
    let mut setup = (*setup()).clone();
    let brix = &mut setup.channels[usize::from(BRIX)];
    brix.input.current_loop = Some(LoopRange::new(0.0, 16.0).unwrap());
    brix.despike = None;
    brix.smooth = Span::ZERO;
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

/// Values and marks of the channel so far.
fn recorded(bench: &Bench) -> Vec<(f64, Quality)> {
    let samples = bench.effects.iter().filter_map(|effect| match effect {
        Effect::Record(sample) if sample.series == SeriesIx(0) => Some(sample),
        _ => None,
    });
    samples
        .map(|sample| (sample.value, sample.quality))
        .collect()
}

fn second(s: i64) -> Timestamp {
    start() + Span::from_secs(s)
}

#[test]
fn a_current_stands_for_a_value_and_its_failure_for_a_fault() {
    let mut bench = on_a_loop();
    // 4 + 8 mA of 16 is half of the range.
    bench.read(BRIX, second(1), 12.0);
    bench.read(BRIX, second(2), 3.0);
    bench.read(BRIX, second(3), 21.0);
    bench.read(BRIX, second(4), 8.0);
    let want = [
        (8.0, Quality::GOOD),
        (-1.0, Quality::FAULT),
        (17.0, Quality::FAULT),
        (4.0, Quality::GOOD),
    ];
    assert_eq!(recorded(&bench), want);
    let status = bench.watch.status();
    assert_eq!(status.channels[usize::from(BRIX)].value, Some(4.0));
}

#[test]
fn an_undefined_current_holds_for_a_while_over_a_restart_too() {
    let mut bench = on_a_loop();
    bench.read(BRIX, second(1), 12.0);
    bench.read(BRIX, second(2), 3.7);
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let setup = Arc::clone(bench.watch.setup());
    bench.watch = SumpWatch::restore(setup, ADMISSION, serde_json::from_str(&text).unwrap());
    bench.read(BRIX, second(5), 3.7);
    bench.read(BRIX, second(6), 3.7);
    let marks: Vec<Quality> = recorded(&bench)
        .into_iter()
        .map(|(_, marks)| marks)
        .collect();
    assert_eq!(
        marks,
        [
            Quality::GOOD,
            Quality::UNSURE,
            Quality::UNSURE,
            Quality::FAULT
        ]
    );
}

#[test]
fn what_comes_behind_newer_readings_is_judged_by_itself() {
    let mut bench = on_a_loop();
    bench.read(BRIX, second(10), 12.0);
    bench.read(BRIX, second(5), 3.7);
    bench.read(BRIX, second(6), 12.0);
    bench.read(BRIX, second(11), 3.7);
    let marks: Vec<Quality> = recorded(&bench)
        .into_iter()
        .map(|(_, marks)| marks)
        .collect();
    let late = Quality::LATE;
    assert_eq!(
        marks,
        [
            Quality::GOOD,
            late.with(Quality::FAULT),
            late,
            Quality::UNSURE
        ]
    );
}

#[test]
fn what_is_settled_already_is_no_current() {
    let mut bench = on_a_loop();
    let Event::Reading(reading) = reading(BRIX, second(1), second(1), 12.0) else {
        panic!("a reading");
    };
    let settled = Reading {
        form: Form::Settled,
        ..reading
    };
    bench
        .watch
        .step(&Event::Reading(settled), &mut bench.effects);
    assert_eq!(recorded(&bench), [(12.0, Quality::GOOD)]);
}

#[test]
fn a_silent_loop_raises_the_alarm_of_silence() {
    let mut bench = on_a_loop();
    bench.read(BRIX, second(1), 12.0);
    for m in 1..20 {
        bench.read(BRIX, minute(m), 3.5);
        bench.read(LEVEL, minute(m), 0.9);
    }
    let silent = ("silent.brix".to_owned(), Transition::Raised);
    assert!(bench.alarms().contains(&silent), "{:?}", bench.alarms());
}

#[test]
fn an_undefined_current_drives_nothing_however_seldom_it_is_asked_for() {
    for undefined in [3.7, 20.8] {
        let mut bench = on_a_loop();
        // 8 % at first, in the middle of its limits. The undefined current would
        // stand for nothing or for more than 30 %, for longer than their delays.
        for m in 1..20 {
            bench.read(BRIX, minute(m), 4.0 + 4.2);
            bench.read(LEVEL, minute(m), 0.9);
        }
        bench.read(BRIX, minute(20), undefined);
        for m in 21..34 {
            bench.read(LEVEL, minute(m), 0.9);
        }
        let [.., (_, before), (held, marks)] = recorded(&bench)[..] else {
            panic!("readings");
        };
        assert_eq!((before, marks), (Quality::GOOD, Quality::UNSURE));
        // Kept as what it stands for.
        assert!((held - (undefined - 4.0)).abs() < 1e-9, "{held}");
        let status = &bench.watch.status().channels[usize::from(BRIX)];
        let value = status.value.unwrap();
        assert!((value - 4.2).abs() < 1e-9, "{value}");
        assert_eq!(status.quality, Some(QualityClass::Uncertain));
        assert_eq!(bench.alarms(), []);
        // It is no sign of life: the channel is silent since the last measured.
        bench.read(LEVEL, minute(34) + Span::from_secs(1), 0.9);
        let silent = ("silent.brix".to_owned(), Transition::Raised);
        assert_eq!(bench.alarms(), [silent]);
    }
}
