//! Behaviour of one instrument's watch, in simulated time.

use super::*;
use proptest::prelude::*;

/// A level probe, in metres.
fn setup() -> InstrumentSetup {
    InstrumentSetup {
        frozen_after: Some(Span::from_hours(6)),
        noise_limit: None,
        uncertainty: 0.005,
        spike_share: 0.2,
        function_check: Span::from_mins(15),
        probe: Probe::Surface,
    }
}

fn minute(m: i64) -> Timestamp {
    Timestamp::from_millis(1_772_431_200_000 + m * 60_000)
}

/// Drives one watch with readings that are their own smoothed value.
struct Bench {
    watch: InstrumentWatch,
    setup: InstrumentSetup,
    now: i64,
}

impl Bench {
    fn new() -> Self {
        Bench {
            watch: InstrumentWatch::default(),
            setup: setup(),
            now: 0,
        }
    }

    /// One reading a minute: the smoothed value, and how far off it this one is.
    fn run(&mut self, minutes: i64, fluid: Fluid, reading: impl Fn(i64) -> (f64, f64)) {
        for m in self.now..self.now + minutes {
            let (smoothed, off) = reading(m);
            let value = smoothed + off;
            let seen = Seen {
                time: minute(m),
                digits: Some(value),
                judged: Judged::Kept(value),
                smoothed,
                pumps_stand: false,
            };
            self.watch.step(&self.setup, seen, fluid);
        }
        self.now += minutes;
    }

    fn judged(&self) -> InstrumentJudgement {
        self.watch.status(&self.setup, minute(self.now), None)
    }

    fn told(&self) -> Option<(InstrumentClass, InstrumentReason, Timestamp)> {
        let InstrumentJudgement {
            class,
            reason,
            since,
        } = self.judged();
        Some((class, reason?, since?))
    }
}

/// Up and down by turns.
fn swing(m: i64, by: f64) -> f64 {
    if m % 2 == 0 { by } else { -by }
}

#[test]
fn it_is_small_and_stays_so() {
    assert!(size_of::<InstrumentWatch>() < 220);
    let mut bench = Bench::new();
    bench.run(10_000, Fluid::Moves, |m| (0.8, swing(m, 0.002)));
    let text = serde_json::to_string(&bench.watch).unwrap();
    assert!(text.len() < 1100, "{} {text}", text.len());
}

#[test]
fn standing_still_counts_only_while_the_fluid_moves() {
    let mut bench = Bench::new();
    bench.run(3 * 1440, Fluid::Stands, |_| (0.8, 0.0));
    assert_eq!(bench.told(), None, "a weekend");
    bench.run(359, Fluid::Moves, |_| (0.8, 0.0));
    assert_eq!(bench.told(), None);
    bench.run(1, Fluid::Moves, |_| (0.8, 0.0));
    let frozen = (
        InstrumentClass::Failure,
        InstrumentReason::Frozen,
        minute(0),
    );
    assert_eq!(bench.told(), Some(frozen));
    bench.run(1, Fluid::Moves, |_| (0.801, 0.0));
    assert_eq!(bench.told(), None, "one digit is enough");
}

#[test]
fn where_it_is_switched_off_nothing_is_frozen() {
    let mut bench = Bench::new();
    bench.setup.frozen_after = None;
    bench.run(20_000, Fluid::Moves, |_| (0.8, 0.0));
    assert_eq!(bench.told(), None);
}

#[test]
fn unknown_digits_say_nothing() {
    let mut bench = Bench::new();
    bench.run(300, Fluid::Moves, |_| (0.8, 0.0));
    let unknown = Seen {
        time: minute(300),
        digits: None,
        judged: Judged::Kept(0.9),
        smoothed: 0.9,
        pumps_stand: false,
    };
    bench.watch.step(&setup(), unknown, Fluid::Moves);
    bench.now = 301;
    bench.run(61, Fluid::Moves, |_| (0.8, 0.0));
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Frozen);
}

#[test]
fn noise_is_held_against_its_own_past() {
    let mut bench = Bench::new();
    // Standard deviation by differences: 0.886 · 0.012 = 11 mm.
    bench.run(1440, Fluid::Moves, |m| (0.8, swing(m, 0.006)));
    let (sigma, usual) = bench.watch.scatter();
    assert!((sigma - 0.0106).abs() < 1e-4 && (usual.unwrap() - 0.0106).abs() < 1e-4);
    bench.run(60, Fluid::Moves, |m| (0.8, swing(m, 0.018)));
    assert_eq!(bench.told(), None, "three times the usual");
    bench.run(20, Fluid::Moves, |m| (0.8, swing(m, 0.04)));
    let (class, reason, since) = bench.told().unwrap();
    assert_eq!(reason, InstrumentReason::Noisy);
    assert_eq!(class, InstrumentClass::OutOfSpecification);
    assert!((minute(1500)..=minute(1501)).contains(&since), "{since}");
    bench.run(60, Fluid::Moves, |m| (0.8, swing(m, 0.006)));
    assert_eq!(bench.told(), None);
}

#[test]
fn noise_is_held_against_its_limit_from_the_first_hour_on() {
    let mut bench = Bench::new();
    bench.setup.noise_limit = Some(0.01);
    bench.run(10, Fluid::Moves, |m| (0.8, swing(m, 0.007)));
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Noisy);
    let mut bench = Bench::new();
    bench.run(600, Fluid::Moves, |m| (0.8, swing(m, 0.05)));
    assert_eq!(bench.told(), None, "nothing says that this is much");
}

#[test]
fn what_is_usual_outlives_a_fortnight_of_quiet() {
    let mut bench = Bench::new();
    bench.run(5000, Fluid::Moves, |m| (0.8, swing(m, 0.02)));
    bench.run(14 * 1440, Fluid::Stands, |m| (0.8, swing(m, 0.000_5)));
    bench.run(1440, Fluid::Moves, |m| (0.8, swing(m, 0.02)));
    assert_eq!(bench.told(), None);
}

#[test]
fn a_step_is_no_noise() {
    let mut bench = Bench::new();
    bench.run(1440, Fluid::Moves, |m| (0.7, swing(m, 0.002)));
    bench.run(5, Fluid::Moves, |m| (0.9, swing(m, 0.002)));
    assert_eq!(bench.told(), None);
}

#[test]
fn a_risen_noisy_level_is_foam_and_the_one_before_is_held() {
    let mut bench = Bench::new();
    bench.run(1440, Fluid::Moves, |m| (0.8, swing(m, 0.001)));
    bench.run(30, Fluid::Moves, |m| (0.86, swing(m, 0.03)));
    let (class, reason, _) = bench.told().unwrap();
    assert_eq!(reason, InstrumentReason::Foam);
    assert_eq!(class, InstrumentClass::OutOfSpecification);
    assert!((bench.watch.held().unwrap() - 0.8).abs() < 1e-6);
    bench.run(60, Fluid::Moves, |m| (0.81, swing(m, 0.001)));
    assert_eq!(bench.told(), None);
    assert_eq!(bench.watch.held(), None);
}

#[test]
fn a_risen_level_with_lost_echoes_is_foam_too() {
    let mut bench = Bench::new();
    bench.run(100, Fluid::Moves, |m| (0.8, swing(m, 0.001)));
    for m in 100..130 {
        let lost = minute(m) - Span::from_secs(20);
        bench.watch.step_bad(lost, Bad::OutOfRange);
        bench.run(1, Fluid::Moves, |_| (0.86, 0.0));
    }
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Foam);
}

#[test]
fn a_calm_rise_is_an_addition_and_noise_without_rise_is_no_foam() {
    let mut bench = Bench::new();
    bench.run(1440, Fluid::Moves, |m| (0.8, swing(m, 0.001)));
    bench.run(60, Fluid::Moves, |m| (0.9, swing(m, 0.001)));
    assert_eq!(bench.told(), None);
    bench.run(60, Fluid::Moves, |m| (0.89, swing(m, 0.03)));
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Noisy);
}

#[test]
fn bad_readings_are_told_once_they_last() {
    let mut bench = Bench::new();
    bench.run(10, Fluid::Moves, |m| (0.8, swing(m, 0.001)));
    for second in [0, 20, 40] {
        assert_eq!(bench.told(), None, "it may be a slip");
        let time = minute(10) + Span::from_secs(second);
        bench.watch.step_bad(time, Bad::Fault);
    }
    assert_eq!(bench.told(), None, "not for long yet");
    bench.now = 11;
    let fault = (
        InstrumentClass::Failure,
        InstrumentReason::Fault,
        minute(10),
    );
    assert_eq!(bench.told(), Some(fault));
    for m in 11..14 {
        bench.watch.step_bad(minute(m), Bad::OutOfRange);
    }
    bench.now = 13;
    let out = InstrumentReason::OutOfRange;
    assert_eq!(
        bench.told(),
        Some((InstrumentClass::OutOfSpecification, out, minute(11)))
    );
    bench.run(1, Fluid::Moves, |_| (0.8, 0.0));
    assert_eq!(bench.told(), None);
}

#[test]
fn the_most_serious_sign_is_told() {
    let mut bench = Bench::new();
    bench
        .watch
        .forbidden_drift(minute(0), Some(Measured::new(0.3, 0.1)));
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Fouled);
    bench.run(400, Fluid::Moves, |_| (0.8, 0.0));
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Frozen);
    let silent = bench
        .watch
        .status(&bench.setup, minute(500), Some(minute(450)));
    assert_eq!(silent.reason, Some(InstrumentReason::Silent));
    assert_eq!(silent.since, Some(minute(450)));
    assert!(InstrumentClass::Failure > InstrumentClass::FunctionCheck);
    assert!(InstrumentClass::FunctionCheck > InstrumentClass::OutOfSpecification);
    assert!(InstrumentClass::OutOfSpecification > InstrumentClass::MaintenanceRequired);
}

#[test]
fn a_touched_probe_settles_and_begins_afresh() {
    let mut bench = Bench::new();
    bench.run(1440, Fluid::Moves, |m| (0.8, swing(m, 0.006)));
    bench.run(400, Fluid::Moves, |_| (0.8, 0.0));
    bench.watch.touched(minute(bench.now));
    bench.run(14, Fluid::Moves, |_| (0.8, 0.0));
    let (class, reason, since) = bench.told().unwrap();
    assert_eq!(reason, InstrumentReason::JustTouched);
    assert_eq!(class, InstrumentClass::FunctionCheck);
    assert_eq!(since, minute(1840));
    bench.run(1, Fluid::Moves, |_| (0.8, 0.0));
    assert_eq!(bench.told().unwrap().1, InstrumentReason::Frozen);
    assert!(bench.watch.scatter().1.is_some(), "but its noise is known");
}

#[test]
fn a_forbidden_drift_must_be_certain() {
    let mut watch = InstrumentWatch::default();
    watch.forbidden_drift(minute(0), Some(Measured::new(0.1, 0.1)));
    assert_eq!(watch.drift_forbidden(), None);
    for broken in [f64::INFINITY, f64::NAN] {
        watch.forbidden_drift(minute(0), Some(Measured::new(broken, 0.1)));
        assert_eq!(watch.drift_forbidden(), None);
    }
    watch.forbidden_drift(minute(1), Some(Measured::new(-0.3, 0.1)));
    watch.forbidden_drift(minute(2), Some(Measured::new(-0.4, 0.1)));
    let judged = watch.status(&setup(), minute(3), None);
    assert_eq!(judged.since, Some(minute(1)));
    assert!((watch.drift_forbidden().unwrap() + 0.4).abs() < 1e-6);
    watch.forbidden_drift(minute(4), None);
    assert_eq!(watch.status(&setup(), minute(5), None).reason, None);
}

proptest! {
    #[test]
    fn goes_on_from_its_memory(
        steps in prop::collection::vec((0i64..200, -1f64..1.0, 0u8..4), 1..80),
        cut in 0usize..80,
    ) {
        let (mut whole, mut parts) = (InstrumentWatch::default(), InstrumentWatch::default());
        let mut time = minute(0);
        for (i, &(seconds, value, kind)) in steps.iter().enumerate() {
            time = time + Span::from_secs(seconds);
            if i == cut {
                let text = serde_json::to_string(&parts).unwrap();
                parts = serde_json::from_str(&text).unwrap();
            }
            for watch in [&mut whole, &mut parts] {
                match kind {
                    0 => watch.step_bad(time, Bad::Fault),
                    _ => {
                        let judged = if kind == 1 { Judged::Spike(0.8) } else { Judged::Kept(value) };
                        let seen = Seen { time, digits: Some(value), judged, smoothed: value, pumps_stand: false };
                        watch.step(&setup(), seen, Fluid::Moves);
                    }
                }
            }
            prop_assert_eq!(whole.status(&setup(), time, None), parts.status(&setup(), time, None));
        }
        prop_assert_eq!(whole, parts);
    }
}
