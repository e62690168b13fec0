//! What was stored, driven through a watch again, leads to the same journal.

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;
use crate::chemistry::{
    ConductivityCompensation, ConductivityProbe, LinearCoefficient, ProbeFactor,
};
use crate::units::RelativeCoefficient;

const PROBE: u16 = 3;
const CHANNELS: u16 = 6;

/// The invented sump with a thermometer, a conductivity probe that needs it and
/// has a limit, a water meter, and a pump's switch. The series of a channel
/// bears its place.
fn equipped() -> Arc<SumpSetup> {
    let mut setup = (*setup()).clone();
    setup.concentration_series = SeriesIx(100);
    setup.volume_series = SeriesIx(101);
    let mut thermometer = channel("temperature", Quantity::Temperature, 2, 0.1, 2.0);
    thermometer.silent_after = Span::from_mins(3);
    let mut probe = channel("conductivity", Quantity::Conductivity, 3, 1.0, 100.0);
    probe.plausible = (0.0, 20_000.0);
    let percent = RelativeCoefficient::from_percent_per_kelvin(2.0);
    let linear = ConductivityCompensation::Linear(LinearCoefficient::new(percent).unwrap());
    probe.input = InputSetup {
        calibration: Calibration::Probe(ConductivityProbe::AsIs(ProbeFactor::NONE, linear)),
        current_loop: None,
        temperature: Some(2),
    };
    probe.smooth = Span::ZERO;
    probe.despike = None;
    let mut meter = channel("make_up", Quantity::Metered, 4, 0.0, 1.0);
    meter.plausible = (0.0, 1e9);
    meter.kind = ChannelKind::Meter {
        counts: MeterSetup {
            rolls_over_at: Some(10_000.0),
            max_flow: Some(Flow::from_litres_per_minute(40.0)),
        },
        of: MeterOf::Water,
        total_series: SeriesIx(102),
    };
    let mut pump = channel("pump", Quantity::State, 5, 0.0, 0.5);
    pump.plausible = (0.0, 1.0);
    pump.kind = ChannelKind::Switch {
        of: SwitchOf::Pumps,
    };
    setup.channels.extend([thermometer, probe, meter, pump]);
    let mut high = limit(Quantity::Conductivity, LimitLevel::High, 3000.0, 90.0);
    high.manner.on = Span::from_mins(1);
    setup.limits.push(high);
    Arc::new(setup)
}

/// Events through a shard, the clock before each as in the daemon.
struct Driven {
    journal: Vec<JournalRecord>,
    /// What the store keeps: the first value at each time.
    kept: BTreeMap<(Timestamp, SeriesIx), Sample>,
}

fn drive(readings: &[Reading]) -> Driven {
    let watch = SumpWatch::new(equipped(), ADMISSION, start());
    let mut shard = Shard::new(vec![watch]);
    let mut effects = Vec::new();
    for reading in readings {
        let mut due = Vec::new();
        shard.advance(reading.arrival, &mut effects, |_, of_one| {
            due.append(of_one);
        });
        effects.append(&mut due);
        shard.deliver(0, &Event::Reading(*reading), &mut effects);
    }
    let mut driven = Driven {
        journal: Vec::new(),
        kept: BTreeMap::new(),
    };
    for effect in effects {
        match effect {
            Effect::Journal(record) => driven.journal.push(*record),
            Effect::Record(sample) => {
                let key = (sample.time, sample.series);
                driven.kept.entry(key).or_insert(sample);
            }
            Effect::Show(_) => {}
        }
    }
    driven
}

/// The readings as they were kept, in the order in which they came.
fn as_kept(driven: &Driven) -> Vec<Reading> {
    let channels = driven
        .kept
        .values()
        .filter(|sample| sample.series.0 < u32::from(CHANNELS));
    let mut readings: Vec<Reading> = channels
        .map(|sample| Reading {
            channel: sample.series.0 as u16,
            claimed: Some(sample.time),
            arrival: sample.time + sample.delay,
            value: sample.value,
            form: Form::Settled,
            quality: sample.quality,
        })
        .collect();
    readings.sort_by_key(|reading| reading.arrival);
    readings
}

/// A number that the channel's instrument may report: often as it should be.
fn number(channel: u16) -> BoxedStrategy<f64> {
    match channel {
        BRIX => prop_oneof![3 => Just(4.2), 2 => Just(2.5), 1 => -3.0..40.0f64].boxed(),
        LEVEL => prop_oneof![3 => Just(0.9), 1 => 0.5..1.2f64].boxed(),
        2 => (10.0..50.0f64).boxed(),
        PROBE => prop_oneof![1 => Just(2000.0), 1 => Just(9000.0)].boxed(),
        4 => (0.0..10_000.0f64).boxed(),
        _ => prop_oneof![Just(0.0), Just(1.0)].boxed(),
    }
}

fn marks() -> impl Strategy<Value = Quality> {
    prop_oneof![
        6 => Just(Quality::GOOD),
        1 => Just(Quality::FAULT),
        1 => Just(Quality::REPEATED),
        1 => Just(Quality::UNSURE),
        1 => Just(Quality::LATE),
    ]
}

/// How far the time that the source gives lies before the arrival, s; far away
/// where its clock is wrong.
fn behind() -> impl Strategy<Value = Option<i64>> {
    prop_oneof![
        6 => Just(Some(0)),
        1 => Just(None),
        1 => (-59i64..300).prop_map(Some),
        1 => Just(Some(-3_600)),
        1 => Just(Some(30 * 86_400)),
    ]
}

fn readings() -> impl Strategy<Value = Vec<Reading>> {
    let one = (0..CHANNELS).prop_flat_map(|channel| {
        (
            Just(channel),
            number(channel),
            marks(),
            behind(),
            1i64..40_000,
        )
    });
    prop::collection::vec(one, 1..300).prop_map(|steps| {
        let mut arrival = start();
        let one =
            |(channel, value, quality, behind, pause): (u16, f64, Quality, Option<i64>, i64)| {
                arrival = arrival + Span::from_millis(pause);
                Reading {
                    channel,
                    claimed: behind.map(|behind| arrival - Span::from_secs(behind)),
                    arrival,
                    value,
                    form: Form::Reported,
                    quality,
                }
            };
        steps.into_iter().map(one).collect()
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever the instruments and their sources say, and whatever marks their
    /// readings get.
    #[test]
    fn what_was_stored_with_its_marks_leads_to_the_same_journal(readings in readings()) {
        let live = drive(&readings);
        let again = drive(&as_kept(&live));
        prop_assert_eq!(without_evidence(live.journal), without_evidence(again.journal));
    }
}

/// What an alarm rests on goes by the instruments' own status too, which values
/// as they are kept do not tell whole.
fn without_evidence(mut journal: Vec<JournalRecord>) -> Vec<JournalRecord> {
    for record in &mut journal {
        if let JournalBody::Alarm(line) = &mut record.body {
            line.evidence = None;
        }
    }
    journal
}

/// Minutes of high conductivity, with these marks.
fn high(quality: Quality) -> Driven {
    let readings: Vec<Reading> = (0..10)
        .map(|m| Reading {
            channel: PROBE,
            claimed: Some(minute(m)),
            arrival: minute(m),
            value: 9000.0,
            form: Form::Reported,
            quality,
        })
        .collect();
    drive(&readings)
}

#[test]
fn marks_make_a_difference_to_the_journal() {
    let raised = |driven: &Driven| {
        let high = |record: &&JournalRecord| matches!(&record.body, JournalBody::Alarm(line) if line.condition.to_string() == "conductivity.high");
        driven.journal.iter().filter(high).count()
    };
    let faulty = high(Quality::FAULT);
    assert_eq!(raised(&faulty), 0);
    let mut without = as_kept(&faulty);
    for reading in &mut without {
        reading.quality = Quality::GOOD;
    }
    assert_eq!(raised(&drive(&without)), 1);
    assert_eq!(raised(&high(Quality::REPEATED)), 1);
    assert_eq!(raised(&high(Quality::LATE)), 0);
}
