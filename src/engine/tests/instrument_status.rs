//! How instruments are told to be, over weekends and shifts.

use super::*;
use crate::chemistry::Electrode;
use crate::engine::dose_grade::DoseBlock;
use crate::units::{Measured, Potential, Temperature};

pub(super) const PUMP: u16 = 2;
pub(super) const THERMOMETER: u16 = 3;
pub(super) const PH: u16 = 4;

pub(super) const HOUR: i64 = 60;
pub(super) const DAY: i64 = 24 * HOUR;

/// The invented sump with the instruments of a usual one.
fn instrumented() -> SumpSetup {
    let mut setup = (*setup()).clone();
    setup.limits.clear();
    setup.channels[usize::from(LEVEL)].instrument.uncertainty = 0.005;
    let mut pump = channel("pump", Quantity::State, 4, 0.0, 0.5);
    pump.plausible = (0.0, 1.0);
    pump.kind = ChannelKind::Switch {
        of: SwitchOf::Pumps,
    };
    pump.silent_after = Span::from_hours(24 * 365_000);
    let mut thermometer = channel("temperature", Quantity::Temperature, 5, 0.1, 2.0);
    thermometer.plausible = (0.0, 70.0);
    thermometer.instrument.uncertainty = 0.5;
    let mut ph = channel("ph", Quantity::Ph, 6, 0.02, 0.3);
    ph.instrument.uncertainty = 0.1;
    setup.channels.extend([pump, thermometer, ph]);
    setup
}

fn bench_of(setup: SumpSetup) -> Bench {
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

pub(super) fn bench() -> Bench {
    bench_of(instrumented())
}

impl Bench {
    fn instrument(&self, channel: u16) -> InstrumentStatus {
        self.watch.status().channels[usize::from(channel)]
            .instrument
            .clone()
    }

    fn reason(&self, channel: u16) -> Option<InstrumentReason> {
        self.instrument(channel).reason
    }

    fn words(&self, channel: u16) -> String {
        self.instrument(channel).words.unwrap_or_default()
    }

    /// The watch is stopped and goes on from its snapshot.
    fn restart(&mut self) {
        let text = serde_json::to_string(&self.watch.snapshot()).unwrap();
        let snapshot = serde_json::from_str(&text).unwrap();
        let setup = Arc::clone(self.watch.setup());
        self.watch = SumpWatch::restore(setup, ADMISSION, snapshot);
    }

    fn mark(&mut self, channel: u16, time: Timestamp, value: f64, quality: Quality) {
        let reading = Reading {
            channel,
            claimed: Some(time),
            arrival: time,
            value,
            form: Form::Reported,
            quality,
        };
        self.watch.step(&Event::Reading(reading), &mut self.effects);
    }

    pub(super) fn by_hand(&mut self, id: &str, time: Timestamp, brix: f64) {
        let kind = EntryKind::HandReading {
            mixer: None,
            quantity: Quantity::Brix,
            value: brix,
            method: None,
            written: None,
        };
        self.enter(id, time, kind);
    }

    fn happened(&mut self, id: &str, time: Timestamp, what: HappeningKind) {
        let kind = EntryKind::Event {
            what,
            litres: None,
            channel: None,
            advice: None,
        };
        self.enter(id, time, kind);
    }
}

/// Up and down by turns, as instruments flicker.
fn flicker(m: i64) -> f64 {
    if m % 2 == 0 { 0.01 } else { -0.01 }
}

#[test]
fn a_sump_that_stands_over_a_weekend_has_no_frozen_probe() {
    let mut bench = bench();
    bench.read(PUMP, minute(0), 0.0);
    for m in 0..64 * HOUR {
        bench.read(BRIX, minute(m), 7.4);
        bench.read(LEVEL, minute(m), 0.9);
        bench.read(THERMOMETER, minute(m), 28.0 - m as f64 / 300.0);
        assert_eq!(bench.reason(BRIX), None, "minute {m}");
        assert_eq!(bench.reason(LEVEL), None, "minute {m}");
    }
    assert_eq!(bench.watch.dose_grade(usize::from(BRIX)), Ok(7.4));
}

#[test]
fn nor_where_nobody_tells_of_the_pumps_as_long_as_it_only_cools() {
    let mut bench = bench();
    for m in 0..64 * HOUR {
        bench.read(BRIX, minute(m), 7.4);
        bench.read(LEVEL, minute(m), 0.9);
        bench.read(THERMOMETER, minute(m), 28.0 - m as f64 / 300.0);
    }
    assert_eq!((bench.reason(BRIX), bench.reason(LEVEL)), (None, None));
}

#[test]
fn a_frozen_probe_is_told_while_the_pumps_run_over_a_restart_too() {
    let mut bench = bench();
    bench.read(PUMP, minute(0), 1.0);
    for m in 0..12 * HOUR {
        let brix = if m < 3 * HOUR { 7.4 + flicker(m) } else { 7.4 };
        bench.read(BRIX, minute(m), brix);
        bench.read(LEVEL, minute(m), 0.9 + 0.1 * flicker(m));
        if m == 5 * HOUR {
            bench.restart();
        }
        let frozen = bench.reason(BRIX) == Some(InstrumentReason::Frozen);
        assert_eq!(frozen, m >= 9 * HOUR, "minute {m}");
    }
    let told = bench.instrument(BRIX);
    assert_eq!(told.class, InstrumentClass::Failure);
    assert_eq!(told.since, Some(minute(3 * HOUR)));
    let words = bench.words(BRIX);
    let begins = "refractometer frozen at 7.40 °Bx since 2026-03-02T09:00:00Z while the fluid moves. Wipe the prism";
    assert!(words.starts_with(begins), "{words}");
    assert!(words.contains("Lock out the pumps"), "{words}");
    let block = bench.watch.dose_grade(usize::from(BRIX)).unwrap_err();
    assert_eq!(
        block,
        DoseBlock::Instrument {
            class: InstrumentClass::Failure,
            reason: InstrumentReason::Frozen,
            since: minute(3 * HOUR),
        }
    );
    assert!(block.to_string().contains("frozen since 2026-03-02T09:00"));
    assert_eq!(bench.reason(LEVEL), None);
    assert!(bench.watch.dose_grade(usize::from(LEVEL)).is_ok());
}

#[test]
fn where_nobody_tells_of_the_pumps_a_level_that_falls_tells_that_brix_is_frozen() {
    let mut bench = bench();
    let told = (0..3 * DAY).find(|&m| {
        bench.read(BRIX, minute(m), 7.4);
        bench.read(LEVEL, minute(m), 0.9 - 0.05 * m as f64 / DAY as f64);
        bench.reason(BRIX) == Some(InstrumentReason::Frozen)
    });
    // 10 mm in each fifth of a day, an hour each: the sixth hour is in the
    // second day.
    assert!(
        told.is_some_and(|m| (DAY..2 * DAY).contains(&m)),
        "{told:?}"
    );
}

#[test]
fn pumps_that_are_said_to_be_off_make_a_level_that_falls_tell_nothing() {
    let mut bench = bench();
    bench.happened("off", minute(0), HappeningKind::PumpsOff);
    let run = |bench: &mut Bench, from: i64, to: i64| {
        for m in from..to {
            bench.read(BRIX, minute(m), 7.4);
            bench.read(LEVEL, minute(m), 0.9 - 0.05 * m as f64 / DAY as f64);
        }
        bench.reason(BRIX)
    };
    assert_eq!(run(&mut bench, 0, 3 * DAY), None);
    bench.restart();
    assert_eq!(run(&mut bench, 3 * DAY, 5 * DAY), None);
    bench.happened("on", minute(5 * DAY), HappeningKind::PumpsOn);
    let frozen = Some(InstrumentReason::Frozen);
    assert_eq!(run(&mut bench, 5 * DAY, 7 * DAY), frozen);
}

#[test]
fn a_compensated_reading_that_follows_the_temperature_is_frozen_all_the_same() {
    let mut setup = instrumented();
    let electrode = Electrode::new(Potential::from_millivolts(0.0), 1.0).unwrap();
    let input = &mut setup.channels[usize::from(PH)].input;
    input.temperature = Some(THERMOMETER);
    input.calibration = Calibration::Electrode {
        electrode,
        calibrated_at: Temperature::from_celsius(25.0),
    };
    let mut bench = bench_of(setup);
    bench.read(PUMP, minute(0), 1.0);
    for m in 0..7 * HOUR {
        bench.read(THERMOMETER, minute(m), 20.0 + m as f64 / 60.0);
        bench.read(PH, minute(m), -120.0);
    }
    assert_eq!(bench.reason(PH), Some(InstrumentReason::Frozen));
}

#[test]
fn foam_holds_the_level_and_blocks_doses() {
    let mut bench = bench();
    bench.read(PUMP, minute(0), 1.0);
    for m in 0..5 * HOUR {
        let foam = m >= 4 * HOUR;
        let level = if foam {
            0.87 + 3.0 * flicker(m)
        } else {
            0.82 + 0.2 * flicker(m)
        };
        if foam && m % 3 == 0 {
            // A lost echo.
            bench.read(LEVEL, minute(m) - Span::from_secs(20), 99.0);
        }
        bench.read(LEVEL, minute(m), level);
    }
    let told = bench.instrument(LEVEL);
    assert_eq!(told.reason, Some(InstrumentReason::Foam));
    assert_eq!(told.class, InstrumentClass::OutOfSpecification);
    assert!(
        (told.figures.held.unwrap() - 0.82).abs() < 0.002,
        "{told:?}"
    );
    let since = told.since.unwrap();
    assert!(
        (minute(4 * HOUR)..minute(4 * HOUR + 10)).contains(&since),
        "{since}"
    );
    let words = told.words.unwrap();
    assert!(words.contains("it was 0.82"), "{words}");
    let block = bench.watch.dose_grade(usize::from(LEVEL)).unwrap_err();
    assert!(block.to_string().contains("over foam"), "{block}");
}

#[test]
fn a_noisy_probe_is_out_of_specification() {
    let mut bench = bench();
    for m in 0..30 * HOUR {
        let by = if m < 29 * HOUR { 1.0 } else { 40.0 };
        bench.read(BRIX, minute(m), 7.4 + by * flicker(m));
        if m == 29 * HOUR - 1 {
            assert_eq!(bench.reason(BRIX), None);
        }
    }
    let told = bench.instrument(BRIX);
    assert_eq!(told.reason, Some(InstrumentReason::Noisy));
    assert_eq!(told.class, InstrumentClass::OutOfSpecification);
    let words = told.words.unwrap();
    assert!(
        words.contains("(usual 0.02 °Bx)") && words.contains("air bubbles"),
        "{words}"
    );
    assert!(bench.watch.dose_grade(usize::from(BRIX)).is_err());
}

#[test]
fn too_many_spikes_ask_for_maintenance_and_block_nothing() {
    let mut bench = bench();
    for m in 0..3 * HOUR {
        let bubble = if m % 4 == 1 { -3.0 } else { 0.0 };
        bench.read(BRIX, minute(m), 7.4 + flicker(m) + bubble);
    }
    let told = bench.instrument(BRIX);
    assert_eq!(told.class, InstrumentClass::MaintenanceRequired);
    assert_eq!(told.reason, Some(InstrumentReason::Spiking));
    assert!(bench.words(BRIX).contains("25 %"), "{}", bench.words(BRIX));
    assert!((bench.watch.dose_grade(usize::from(BRIX)).unwrap() - 7.4).abs() < 0.02);
}

#[test]
fn a_touched_probe_is_checked_for_a_while() {
    let mut bench = bench();
    for m in 0..20 {
        bench.read(BRIX, minute(m), 7.4 + flicker(m));
    }
    bench.happened("cleaned", minute(20), HappeningKind::ProbeCleaned);
    assert_eq!(
        bench.watch.dose_grade(usize::from(BRIX)),
        Err(DoseBlock::NoValue)
    );
    for m in 20..40 {
        bench.read(BRIX, minute(m), 7.4 + flicker(m));
        let told = bench.instrument(BRIX);
        let settles = m < 35;
        assert_eq!(
            told.class == InstrumentClass::FunctionCheck,
            settles,
            "minute {m}"
        );
        assert_eq!(
            bench.watch.dose_grade(usize::from(BRIX)).is_err(),
            settles,
            "minute {m}"
        );
    }
}

#[test]
fn hand_readings_that_run_away_tell_of_a_drift_until_one_is_corrected() {
    let mut bench = bench();
    let hand = [7.35, 7.28, 7.18];
    for m in 0..3 * DAY {
        bench.read(BRIX, minute(m), 7.4 + flicker(m));
        if m % DAY == HOUR {
            let day = m / DAY;
            bench.by_hand(&format!("day-{day}"), minute(m), hand[day as usize]);
        }
    }
    let told = bench.instrument(BRIX);
    assert_eq!(told.reason, Some(InstrumentReason::Drifting));
    assert_eq!(told.class, InstrumentClass::MaintenanceRequired);
    assert_eq!(told.since, Some(minute(HOUR)));
    let words = bench.words(BRIX);
    assert!(
        words.contains("last 0.2") && words.contains("above"),
        "{words}"
    );
    assert!(
        bench.watch.dose_grade(usize::from(BRIX)).is_ok(),
        "within tolerance"
    );

    let correction = Entry {
        id: "slip".into(),
        time: minute(2 * DAY + HOUR),
        sump: "mill".into(),
        by: None,
        supersedes: Some("day-2".into()),
        kind: EntryKind::HandReading {
            mixer: None,
            quantity: Quantity::Brix,
            value: 7.38,
            method: None,
            written: None,
        },
    };
    let event = Event::Entry(Box::new(correction), minute(3 * DAY));
    bench.watch.step(&event, &mut bench.effects);
    assert_eq!(bench.reason(BRIX), None);

    bench.by_hand("far", minute(3 * DAY), 7.0);
    let told = bench.instrument(BRIX);
    assert_eq!(told.class, InstrumentClass::OutOfSpecification);
    assert_eq!(
        bench.watch.dose_grade(usize::from(BRIX)),
        Err(DoseBlock::Doubted)
    );

    bench.happened("wiped", minute(3 * DAY + 1), HappeningKind::ProbeCleaned);
    for m in 3 * DAY + 2..3 * DAY + 40 {
        bench.read(BRIX, minute(m), 7.0 + flicker(m));
    }
    assert_eq!(bench.reason(BRIX), None, "what was before is forgotten");
    assert!(bench.watch.dose_grade(usize::from(BRIX)).is_ok());
}

#[test]
fn a_drift_that_the_model_forbids_is_fouling() {
    let mut bench = bench();
    bench.read(BRIX, minute(1), 7.4);
    bench
        .watch
        .forbidden_drift(BRIX, Some(Measured::new(-0.3, 0.05)));
    bench.restart();
    let told = bench.instrument(BRIX);
    assert_eq!(told.reason, Some(InstrumentReason::Fouled));
    assert!(bench.words(BRIX).contains("-0.30 °Bx a day"));
    assert!(bench.watch.dose_grade(usize::from(BRIX)).is_err());
    bench.watch.forbidden_drift(BRIX, None);
    bench.watch.forbidden_drift(999, None);
    assert_eq!(bench.watch.dose_grade(usize::from(BRIX)), Ok(7.4));
}

#[test]
fn faults_and_impossible_values_are_told_once_they_last() {
    let mut bench = bench();
    bench.read(BRIX, minute(1), 7.4);
    bench.read(LEVEL, minute(1), 0.9);
    for m in 2..5 {
        bench.mark(BRIX, minute(m), 7.4, Quality::FAULT);
        bench.read(LEVEL, minute(m), 45.0);
        let bad = Err(DoseBlock::Reading {
            class: QualityClass::Bad,
        });
        assert_eq!(bench.watch.dose_grade(usize::from(BRIX)), bad, "at once");
    }
    assert_eq!(bench.reason(BRIX), Some(InstrumentReason::Fault));
    assert_eq!(bench.reason(LEVEL), Some(InstrumentReason::OutOfRange));
    let later = Event::Tick(minute(16));
    bench.watch.step(&later, &mut bench.effects);
    for channel in [BRIX, LEVEL] {
        assert_eq!(bench.reason(channel), Some(InstrumentReason::Silent));
        let since = minute(1);
        let silent = Err(DoseBlock::Silent { since });
        assert_eq!(bench.watch.dose_grade(usize::from(channel)), silent);
    }
}

#[test]
fn what_is_unsure_or_not_there_drives_no_dose() {
    let mut bench = bench();
    assert_eq!(
        bench.watch.dose_grade(usize::from(BRIX)),
        Err(DoseBlock::NoValue)
    );
    bench.mark(BRIX, minute(1), 7.4, Quality::UNSURE);
    let class = QualityClass::Uncertain;
    let unsure = Err(DoseBlock::Reading { class });
    assert_eq!(bench.watch.dose_grade(usize::from(BRIX)), unsure);
    bench.read(BRIX, minute(2), 7.4);
    assert!(bench.watch.dose_grade(usize::from(BRIX)).is_ok());
}

#[test]
fn the_state_tells_class_reason_time_and_words() {
    let mut bench = bench();
    bench.read(BRIX, minute(1), 7.4);
    let of = |bench: &Bench| serde_json::to_value(bench.instrument(BRIX)).unwrap();
    assert_eq!(of(&bench), serde_json::json!({"class": "good"}));
    bench.happened("wiped", minute(2), HappeningKind::ProbeCleaned);
    let told = of(&bench);
    assert_eq!(told["class"], "function_check");
    assert_eq!(told["reason"], "just_touched");
    assert_eq!(told["since"], "2026-03-02T06:02:00Z");
    let words = told["words"].as_str().unwrap();
    assert!(words.starts_with("refractometer cleaned or calibrated"));
}
