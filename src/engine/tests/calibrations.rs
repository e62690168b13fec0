//! Instruments whose number is still to be calibrated, with a temperature that
//! changes, comes late, or does not come.

use super::*;
use crate::chemistry::{
    BrixCompensation, ConductivityCompensation, ConductivityProbe, Electrode, LinearCoefficient,
    MixCoefficient, ProbeFactor, Refractometer,
};
use crate::units::{BrixCoefficient, Potential, RelativeCoefficient, Temperature};

const THERMOMETER: u16 = 2;
const PROBE: u16 = 3;

/// The invented sump with a thermometer and an instrument of this calibration,
/// neither despiked nor smoothed.
fn with(quantity: Quantity, calibration: Calibration) -> Bench {
    let mut setup = (*setup()).clone();
    let mut thermometer = channel("temperature", Quantity::Temperature, 4, 0.1, 2.0);
    thermometer.plausible = (0.0, 70.0);
    let mut probe = channel("probe", quantity, 5, 0.1, 1.0);
    probe.plausible = (-1.0, 20_000.0);
    probe.input = InputSetup {
        calibration,
        current_loop: None,
        temperature: Some(THERMOMETER),
    };
    for channel in [&mut thermometer, &mut probe] {
        channel.despike = None;
        channel.smooth = Span::ZERO;
    }
    setup.channels.extend([thermometer, probe]);
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

/// The first case of tests/reference/ph_calibration_cases.csv.
fn electrode() -> Bench {
    let offset = Potential::from_millivolts(-9.8434);
    let calibration = Calibration::Electrode {
        electrode: Electrode::new(offset, 0.982_082).unwrap(),
        calibrated_at: Temperature::from_celsius(25.0),
    };
    with(Quantity::Ph, calibration)
}

fn conductivity(compensation: Option<ConductivityCompensation>) -> Bench {
    let probe = match compensation {
        None => ConductivityProbe::Compensated(ProbeFactor::NONE),
        Some(rule) => ConductivityProbe::AsIs(ProbeFactor::NONE, rule),
    };
    with(Quantity::Conductivity, Calibration::Probe(probe))
}

fn linear() -> Option<ConductivityCompensation> {
    let coefficient = RelativeCoefficient::from_percent_per_kelvin(2.0);
    let coefficient = LinearCoefficient::new(coefficient).unwrap();
    Some(ConductivityCompensation::Linear(coefficient))
}

fn refractometer(compensation: BrixCompensation) -> Bench {
    let calibration = Calibration::Refractometer(Refractometer::right(compensation));
    with(Quantity::Brix, calibration)
}

fn per_kelvin() -> BrixCompensation {
    let coefficient = BrixCoefficient::from_degrees_per_kelvin(-0.08);
    BrixCompensation::PerKelvin(MixCoefficient::new(coefficient).unwrap())
}

impl Bench {
    /// What was kept of a reading of the instrument.
    fn keeps(&mut self, time: Timestamp, reported: f64) -> (f64, Quality) {
        self.read(PROBE, time, reported);
        let kept = self.effects.iter().rev().find_map(|effect| match effect {
            Effect::Record(sample) if sample.series == SeriesIx(5) => Some(sample),
            _ => None,
        });
        let kept = kept.expect("every reading is kept");
        (kept.value, kept.quality)
    }
}

#[track_caller]
fn near((value, quality): (f64, Quality), want: f64, marks: Quality) {
    assert!((value - want).abs() < 5e-5, "{value} is not {want}");
    assert_eq!(quality, marks);
}

#[test]
fn ph_follows_the_temperature() {
    let mut bench = electrode();
    bench.read(THERMOMETER, minute(0), 25.0);
    near(bench.keeps(minute(1), -88.0), 8.3452, Quality::GOOD);
    // By hand: 78.1566 mV over 0.982082 of 61.1435 mV per pH.
    bench.read(THERMOMETER, minute(2), 35.0);
    near(bench.keeps(minute(3), -88.0), 8.3016, Quality::GOOD);
}

#[test]
fn ph_before_the_first_temperature_is_as_of_the_calibration_and_unsure() {
    let mut bench = electrode();
    near(bench.keeps(minute(1), -88.0), 8.3452, Quality::UNSURE);
    bench.read(THERMOMETER, minute(2), 35.0);
    near(bench.keeps(minute(3), -88.0), 8.3016, Quality::GOOD);
}

#[test]
fn a_silent_thermometer_leaves_its_last_value_and_doubt() {
    let mut bench = electrode();
    bench.read(THERMOMETER, minute(0), 35.0);
    near(bench.keeps(minute(14), -88.0), 8.3016, Quality::GOOD);
    // The thermometer falls silent on the way to this reading.
    near(bench.keeps(minute(60), -88.0), 8.3016, Quality::UNSURE);
    bench.read(THERMOMETER, minute(61), 25.0);
    near(bench.keeps(minute(62), -88.0), 8.3452, Quality::GOOD);
}

#[test]
fn a_doubted_thermometer_makes_unsure() {
    let mut bench = electrode();
    for m in 0..10 {
        bench.read(THERMOMETER, minute(m), 35.0);
    }
    let kind = EntryKind::HandReading {
        quantity: Quantity::Temperature,
        value: 25.0,
        method: None,
        mixer: None,
        written: None,
    };
    bench.enter("by-hand", minute(10), kind);
    near(bench.keeps(minute(11), -88.0), 8.3016, Quality::UNSURE);
}

#[test]
fn a_late_reading_has_no_temperature_of_its_time() {
    let mut bench = electrode();
    bench.read(THERMOMETER, minute(30), 25.0);
    let marks = Quality::UNSURE.with(Quality::LATE);
    near(bench.keeps(minute(10), -88.0), 8.3452, marks);
    let mut alone = conductivity(None);
    alone.read(THERMOMETER, minute(30), 25.0);
    near(alone.keeps(minute(10), 3000.0), 3000.0, Quality::LATE);
}

#[test]
fn what_is_stored_is_not_calibrated_again() {
    let mut bench = electrode();
    bench.read(THERMOMETER, minute(0), 35.0);
    let Event::Reading(reported) = reading(PROBE, minute(1), minute(1), 8.9) else {
        unreachable!("it is a reading");
    };
    let settled = Event::Reading(Reading {
        form: Form::Settled,
        ..reported
    });
    bench.watch.step(&settled, &mut bench.effects);
    assert_eq!(bench.watch.status().channels[3].value, Some(8.9));
}

#[test]
fn conductivity_is_referred_to_25_degrees_once() {
    let mut bench = conductivity(linear());
    near(bench.keeps(minute(0), 3000.0), 3000.0, Quality::UNSURE);
    bench.read(THERMOMETER, minute(1), 35.0);
    near(bench.keeps(minute(2), 3000.0), 2500.0, Quality::GOOD);
    near(bench.keeps(minute(40), 3000.0), 2500.0, Quality::UNSURE);
    let mut alone = conductivity(None);
    alone.read(THERMOMETER, minute(1), 35.0);
    near(alone.keeps(minute(2), 3000.0), 3000.0, Quality::GOOD);
}

#[test]
fn beyond_the_table_its_end_is_taken_and_unsure() {
    let mut bench = conductivity(Some(ConductivityCompensation::NaturalWater));
    // ISO 7888: f₂₅(35.0 °C) = 0.822, f₂₅(35.3 °C) = 0.817, where the rows end.
    bench.read(THERMOMETER, minute(0), 35.0);
    near(bench.keeps(minute(1), 500.0), 411.0, Quality::GOOD);
    bench.read(THERMOMETER, minute(2), 40.0);
    near(bench.keeps(minute(3), 500.0), 408.5, Quality::UNSURE);
}

#[test]
fn a_refractometer_without_any_temperature_doses_nothing() {
    let mut bench = refractometer(per_kelvin());
    near(bench.keeps(minute(0), 5.0), 5.0, Quality::FAULT);
    assert_eq!(bench.watch.status().channels[3].value, None);
    bench.read(THERMOMETER, minute(1), 30.0);
    near(bench.keeps(minute(2), 5.0), 5.8, Quality::GOOD);
    near(bench.keeps(minute(40), 5.0), 5.8, Quality::UNSURE);
    let mut alone = refractometer(BrixCompensation::ByInstrument);
    near(alone.keeps(minute(0), 5.0), 5.0, Quality::GOOD);
}

#[test]
fn what_was_retained_is_calibrated_too() {
    let mut bench = electrode();
    let retained = Event::Baseline {
        channel: PROBE,
        value: -88.0,
    };
    bench.watch.step(&retained, &mut bench.effects);
    let baseline = bench.watch.status().channels[3].baseline.unwrap();
    assert!((baseline - 8.3452).abs() < 5e-5, "{baseline}");
}

#[test]
fn a_number_of_no_instrument_is_a_fault() {
    for mut bench in [
        electrode(),
        conductivity(linear()),
        refractometer(per_kelvin()),
    ] {
        bench.read(THERMOMETER, minute(0), 30.0);
        for reported in [1e300, -1e300] {
            let (value, quality) = bench.keeps(minute(1), reported);
            assert!(value.is_finite() && !quality.is_usable(), "{quality:?}");
        }
    }
}

#[test]
fn the_temperature_outlives_a_restart() {
    let mut bench = electrode();
    bench.read(THERMOMETER, minute(0), 35.0);
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let setup = Arc::clone(bench.watch.setup());
    let snapshot = serde_json::from_str(&text).unwrap();
    bench.watch = SumpWatch::restore(setup, ADMISSION, snapshot);
    near(bench.keeps(minute(1), -88.0), 8.3016, Quality::GOOD);
}
