//! Behaviour of a watch, in simulated time.

mod again;
mod alarm_life;
mod calibrations;
mod channel_alarms;
mod charged_sump;
mod check_plan;
mod chemistry;
mod corrections;
mod doses;
mod evidence;
mod false_limits;
mod figures;
mod fluid_rules;
mod instrument_status;
mod instruments;
mod loops;
mod missing_data;
mod moves;
mod oil;
mod own_rules;
mod plant_alarms;
mod plant_start_up;
mod properties;
mod removal;
mod silence;
mod start_up;
mod upkeep;
mod usual_month;

use std::sync::Arc;

use super::*;
use crate::advice::recharge::RechargeSetup;
use crate::advice::{Measure, VolumeUnit};
use crate::alarm::{AlarmState, Transition};
use crate::chemistry::Chart;
use crate::units::{Brix, Concentration, Flow, Length, Quantity, Span, Timestamp, Volume};
use crate::vessel::Vessel;

const BRIX: u16 = 0;
const LEVEL: u16 = 1;

fn channel(
    name: &str,
    quantity: Quantity,
    series: u32,
    despike_floor: f64,
    tolerance: f64,
) -> ChannelSetup {
    ChannelSetup {
        name: name.into(),
        quantity,
        kind: ChannelKind::Gauge,
        input: InputSetup::default(),
        series: SeriesIx(series),
        plausible: (-1.0, 30.0),
        despike: Some(DespikeSetup {
            window: Span::from_mins(15),
            sigmas: 3.0,
            floor: despike_floor,
        }),
        smooth: Span::from_mins(2),
        silent_after: Span::from_mins(15),
        uncertainty: 0.05,
        hand_tolerance: tolerance,
        wander: 0.02,
        drift: 0.1,
        instrument: InstrumentSetup {
            frozen_after: Some(Span::from_hours(6)),
            noise_limit: None,
            uncertainty: 0.05,
            spike_share: 0.2,
            function_check: Span::from_mins(15),
            probe: match quantity {
                Quantity::Level => Probe::Surface,
                _ => Probe::Other,
            },
        },
    }
}

fn limit(signal: Quantity, level: LimitLevel, threshold: f64, dead_band: f64) -> LimitSetup {
    LimitSetup {
        signal,
        level,
        threshold,
        dead_band,
        priority: Priority::Medium,
        manner: AlarmManner {
            on: Span::from_mins(10),
            off: Span::from_mins(10),
            ..AlarmManner::default()
        },
    }
}

/// An invented sump of 1000 L at 8 %, factor 2, level 1 m = 1000 L.
fn setup() -> Arc<SumpSetup> {
    let metre = Length::from_metres(1.0);
    Arc::new(SumpSetup {
        name: "mill".into(),
        title: "Mill".into(),
        fluid: Arc::new(FluidSetup {
            name: "invented".into(),
            title: "Invented".into(),
            chart: Chart::factor(2.0).unwrap(),
            chart_uncertainty: 0.02,
            temperature_coefficient: None,
            mixing_note: None,
            fresh_ph: None,
            ph_per_decade: 0.5,
            base_line: SheetBaseLine::default(),
            price: None,
        }),
        vessel: Vessel::rectangular(metre, metre, metre).unwrap(),
        lines: Volume::from_litres(0.0),
        drain_back: None,
        fills_itself: false,
        metering: 0.02,
        pump: None,
        shifts: None,
        start_up: false,
        working_volume: Volume::from_litres(900.0),
        max_volume: Volume::from_litres(950.0),
        circulation: Some(Flow::from_litres_per_minute(100.0)),
        target: Concentration::from_percent(8.0),
        window: (
            Concentration::from_percent(6.0),
            Concentration::from_percent(10.0),
        ),
        water_zero: Brix::from_degrees(0.2),
        dose: DoseSetup {
            strongest_premix: Concentration::from_percent(20.0),
            measure: Measure {
                unit: VolumeUnit::Litre,
                step: Volume::from_litres(1.0),
                vessel: None,
            },
            dead_band: Concentration::from_percent(0.3),
            largest_step: Concentration::from_percent(2.0),
            longest_wait: Span::from_hours(24),
            dosing_point: None,
            good_readings: 3,
            turnovers: 5.0,
            min_mixing: Span::from_mins(30),
        },
        recharge: RechargeSetup {
            cleaner: None,
            cleaner_time: Span::from_hours(12),
            drain_rate: None,
            rinses: 1,
            rinse_share: 0.2,
            rinse_strength: Concentration::from_percent(1.0),
            rinse_time: Span::from_mins(30),
            carry_over_limit: 0.05,
            first_fill_surplus: Concentration::from_percent(1.0),
            settle: Span::from_mins(60),
        },
        prices: None,
        mixers: vec![MixerSetup {
            name: "east".into(),
            setting: Concentration::from_percent(6.0),
        }],
        channels: vec![
            channel("brix", Quantity::Brix, 0, 0.05, 0.3),
            channel("level", Quantity::Level, 1, 0.002, 0.02),
        ],
        limits: vec![
            limit(Quantity::Concentration, LimitLevel::Low, 6.0, 0.25),
            limit(Quantity::Concentration, LimitLevel::High, 10.0, 0.25),
            limit(Quantity::Volume, LimitLevel::Low, 765.0, 18.0),
        ],
        silent: Some(AlarmSetup::default()),
        disagrees: AlarmSetup::default(),
        rules: Vec::new(),
        waters: [].into(),
        minerals: MineralSetup::default(),
        souring: SouringSetup::default(),
        methods: FactorSetup::default(),
        choice: ChoiceLimits::default(),
        concentration_series: SeriesIx(2),
        volume_series: SeriesIx(3),
    })
}

const ADMISSION: AdmissionSetup = AdmissionSetup {
    future_skew: Span::from_secs(60),
    oldest: Span::from_hours(7 * 24),
    late_after: Span::from_mins(2),
};

fn start() -> Timestamp {
    Timestamp::parse("2026-03-02T06:00:00Z").unwrap()
}

fn minute(m: i64) -> Timestamp {
    start() + Span::from_mins(m)
}

/// Drives one watch and keeps what it wanted done.
struct Bench {
    watch: SumpWatch,
    effects: Vec<Effect>,
}

impl Bench {
    fn new() -> Self {
        Bench {
            watch: SumpWatch::new(setup(), ADMISSION, start()),
            effects: Vec::new(),
        }
    }

    fn read(&mut self, channel: u16, time: Timestamp, value: f64) {
        let event = reading(channel, time, time, value);
        self.watch.step(&event, &mut self.effects);
    }

    /// Both channels once a minute, over `minutes`.
    fn run(&mut self, minutes: std::ops::Range<i64>, concentration: f64, volume: f64) {
        for m in minutes {
            self.read(BRIX, minute(m), 0.2 + concentration / 2.0);
            self.read(LEVEL, minute(m), volume / 1000.0);
        }
    }

    fn enter(&mut self, id: &str, time: Timestamp, kind: EntryKind) {
        let entry = Entry {
            id: id.into(),
            time,
            sump: "mill".into(),
            by: Some("crew".into()),
            supersedes: None,
            kind,
        };
        self.watch
            .step(&Event::Entry(Box::new(entry), time), &mut self.effects);
    }

    fn journal(&self) -> Vec<&JournalRecord> {
        self.effects
            .iter()
            .filter_map(|effect| match effect {
                Effect::Journal(record) => Some(&**record),
                _ => None,
            })
            .collect()
    }

    fn alarms(&self) -> Vec<(String, Transition)> {
        self.journal()
            .iter()
            .filter_map(|record| match &record.body {
                JournalBody::Alarm(line) => Some((line.condition.to_string(), line.transition)),
                _ => None,
            })
            .collect()
    }

    fn last_advice(&self) -> Arc<crate::advice::Advice> {
        let advice = self
            .journal()
            .into_iter()
            .rev()
            .find_map(|record| match &record.body {
                JournalBody::Advice { advice } => Some(Arc::clone(advice)),
                _ => None,
            });
        advice.expect("there is advice")
    }

    fn marks(&self) -> Vec<Quality> {
        self.effects
            .iter()
            .filter_map(|effect| match effect {
                Effect::Record(sample) if sample.series.0 < 2 => Some(sample.quality),
                _ => None,
            })
            .collect()
    }
}

fn reading(channel: u16, claimed: Timestamp, arrival: Timestamp, value: f64) -> Event {
    Event::Reading(Reading {
        channel,
        claimed: Some(claimed),
        arrival,
        value,
        form: Form::Reported,
        quality: Quality::GOOD,
    })
}

fn told(condition: &str, transition: Transition) -> (String, Transition) {
    (condition.to_owned(), transition)
}

#[test]
fn a_healthy_sump_tells_nothing() {
    let mut bench = Bench::new();
    bench.run(0..3000, 8.0, 900.0);
    assert!(bench.journal().is_empty());
}

#[test]
fn lean_is_told_once_with_a_dose_and_returns_once() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..120, 5.0, 900.0);
    bench.run(120..180, 8.0, 900.0);
    assert_eq!(
        bench.alarms(),
        [
            told("concentration.low", Transition::Raised),
            told("concentration.low", Transition::Returned)
        ]
    );
    let advice = bench.last_advice();
    let dose = advice.dose.as_ref().expect("a dose");
    // 900 L from 5 to 8 % with 20 % premix: 900 · 3 / 15 = 180 L, in two steps
    // of at most 2 points.
    assert!((dose.amounts.drain_l - 90.0).abs() <= 1.0, "{dose:?}");
    assert_eq!((dose.step, dose.steps), (1, 2));
    assert!((dose.expected_concentration_pct.value - 6.5).abs() < 0.1);
    assert_eq!(dose.mixing_min, 45.0);
}

#[test]
fn a_short_dip_is_no_alarm() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench.run(60..68, 5.0, 900.0);
    bench.run(68..120, 8.0, 900.0);
    assert!(bench.alarms().is_empty());
}

#[test]
fn single_bubbles_change_nothing_and_are_marked() {
    let mut bench = Bench::new();
    for m in 0..600 {
        let bubble = if m % 7 == 3 { -2.5 } else { 0.0 };
        bench.read(BRIX, minute(m), 4.2 + bubble);
        bench.read(LEVEL, minute(m), 0.9);
    }
    assert!(bench.alarms().is_empty());
    let spikes = bench
        .marks()
        .iter()
        .filter(|mark| mark.has(Quality::SPIKE))
        .count();
    assert!((80..=86).contains(&spikes), "{spikes}");
}

#[test]
fn channels_that_never_reported_are_told_together_by_ticks_alone() {
    let mut bench = Bench::new();
    let later = minute(60);
    bench.watch.step(&Event::Tick(later), &mut bench.effects);
    assert_eq!(bench.alarms()[0], told("silent.brix", Transition::Raised));
    let raised = |(_, transition): &&(String, Transition)| *transition == Transition::Raised;
    assert_eq!(bench.alarms().iter().filter(raised).count(), 1);
    // At the point of the grid where the fifteen minutes ended, not at the tick.
    assert!(
        bench
            .journal()
            .iter()
            .all(|record| record.time == minute(15))
    );
}

#[test]
fn a_silent_channel_returns_with_its_first_reading_and_clears_nothing_meanwhile() {
    let mut bench = Bench::new();
    bench.run(0..60, 5.0, 900.0);
    for m in 60..600 {
        bench.read(LEVEL, minute(m), 0.9);
    }
    assert_eq!(
        bench.alarms(),
        [
            told("concentration.low", Transition::Raised),
            told("silent.brix", Transition::Raised)
        ]
    );
    bench.read(BRIX, minute(600), 2.7);
    assert_eq!(
        bench.alarms().last(),
        Some(&told("silent.brix", Transition::Returned))
    );
}

#[test]
fn late_readings_are_kept_and_drive_nothing() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let before = bench.watch.snapshot();
    for m in 0..50 {
        bench.watch.step(
            &reading(BRIX, minute(m) + Span::from_secs(30), minute(60), 1.0),
            &mut bench.effects,
        );
    }
    assert_eq!(bench.watch.snapshot(), before);
    let late = bench
        .marks()
        .iter()
        .filter(|mark| mark.has(Quality::LATE))
        .count();
    assert_eq!(late, 50);
}

#[test]
fn what_arrived_before_the_sump_went_on_stands_at_its_arrival() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    bench
        .watch
        .step(&Event::Tick(minute(90)), &mut bench.effects);
    let held = [60, 61, 87, 88, 89].map(minute);
    bench.effects.clear();
    for arrival in held {
        let Event::Reading(timed) = reading(BRIX, arrival, arrival, 4.2) else {
            unreachable!("it is a reading");
        };
        let event = Event::Reading(Reading {
            claimed: None,
            ..timed
        });
        bench.watch.step(&event, &mut bench.effects);
    }
    let kept: Vec<(Timestamp, bool)> = bench
        .effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Record(sample) if sample.series == SeriesIx(0) => {
                Some((sample.time, sample.quality.has(Quality::LATE)))
            }
            _ => None,
        })
        .collect();
    let late = [true, true, true, false, false];
    assert_eq!(kept, Vec::from_iter(held.into_iter().zip(late)));
}

#[test]
fn a_late_reading_without_a_time_takes_no_other_readings_moment() {
    let mut bench = Bench::new();
    let ahead = minute(10) + Span::from_secs(38);
    let days = Span::from_hours(30 * 24);
    let mut read = |claimed, arrival, quality| {
        let Event::Reading(timed) = reading(BRIX, claimed, arrival, 4.2) else {
            unreachable!("it is a reading");
        };
        let event = Event::Reading(Reading { quality, ..timed });
        bench.watch.step(&event, &mut bench.effects);
    };
    read(ahead, minute(10), Quality::GOOD);
    // Both of a clock that is not believed, before the newest one's time.
    read(minute(10) + days, minute(10), Quality::LATE);
    read(minute(10) + days, minute(10), Quality::GOOD);
    let times: Vec<Timestamp> = bench
        .effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Record(sample) if sample.series == SeriesIx(0) => Some(sample.time),
            _ => None,
        })
        .collect();
    assert_eq!(times, [ahead, minute(10), ahead + Span::from_millis(1)]);
}

#[test]
fn a_second_delivery_drives_nothing() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let before = bench.watch.snapshot();
    bench.read(BRIX, minute(59), 4.2);
    bench.read(LEVEL, minute(59), 0.9);
    assert_eq!(bench.watch.snapshot(), before);
}

#[test]
fn impossible_times_stand_at_their_arrival() {
    let mut bench = Bench::new();
    for (m, claimed) in [(1, "1970-01-01T00:00:10Z"), (2, "2031-01-01T00:00:00Z")] {
        let claimed = Timestamp::parse(claimed).unwrap();
        bench
            .watch
            .step(&reading(BRIX, claimed, minute(m), 4.2), &mut bench.effects);
    }
    assert_eq!(bench.marks(), [Quality::CLOCK, Quality::CLOCK]);
    assert_eq!(bench.watch.now(), minute(2));
}

#[test]
fn readings_without_a_time_in_one_millisecond_are_all_kept() {
    let mut bench = Bench::new();
    for value in [4.1, 4.2, 4.3] {
        let event = Event::Reading(Reading {
            channel: BRIX,
            claimed: None,
            arrival: minute(1),
            value,
            form: Form::Reported,
            quality: Quality::GOOD,
        });
        bench.watch.step(&event, &mut bench.effects);
    }
    let mut times: Vec<_> = bench
        .effects
        .iter()
        .filter_map(|effect| match effect {
            Effect::Record(sample) if sample.series.0 == 0 => Some(sample.time),
            _ => None,
        })
        .collect();
    times.dedup();
    assert_eq!(times.len(), 3);
}

#[test]
fn acknowledged_by_id() {
    let mut bench = Bench::new();
    bench.run(0..60, 5.0, 900.0);
    let id = bench.watch.status().alarms[0].id.clone();
    assert_eq!(id, "mill/concentration.low/2026-03-02T06:10:00Z");
    bench.enter("seen", minute(60), EntryKind::Acknowledge { alarm: id });
    assert_eq!(
        bench.watch.status().alarms[0].state,
        AlarmState::Acknowledged
    );
}

#[test]
fn nobody_is_silent_for_the_time_in_which_nobody_listened() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let snapshot: SumpSnapshot = serde_json::from_str(&text).unwrap();
    let mut watch = SumpWatch::restore(setup(), ADMISSION, snapshot);
    watch.listen_from(minute(600));
    let mut effects = Vec::new();
    watch.step(&Event::Tick(minute(614)), &mut effects);
    assert!(effects.is_empty(), "{effects:?}");
    watch.step(&Event::Tick(minute(615)), &mut effects);
    assert!(!effects.is_empty());
}

#[test]
fn a_watch_whose_clock_ran_ahead_goes_on_once_it_is_pulled_back() {
    let mut bench = Bench::new();
    bench.run(0..60, 8.0, 900.0);
    let text = serde_json::to_string(&bench.watch.snapshot()).unwrap();
    let snapshot = serde_json::from_str(&text).unwrap();
    let earlier = minute(-10_000);
    let mut watch = SumpWatch::restore(setup(), ADMISSION, snapshot);
    watch.pull_back(earlier);
    watch.listen_from(earlier);
    let mut effects = Vec::new();
    for m in 1..30 {
        let time = earlier + Span::from_mins(m);
        watch.step(&reading(BRIX, time, time, 2.7), &mut effects);
    }
    let raised = effects.iter().any(|effect| match effect {
        Effect::Journal(record) => record.body.kind() == "alarm",
        _ => false,
    });
    assert!(raised, "a lean sump is told again");
}
