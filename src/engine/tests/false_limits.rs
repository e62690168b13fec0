//! What an instrument shows by its own fault is no limit passed, and what is true
//! is told all the same.

use super::*;
use crate::signal::InstrumentReason;

const HOUR: i64 = 60;
const DAY: i64 = 24 * HOUR;

/// A reading each five minutes, as slow gateways send them.
const SLOW: usize = 5;

fn bench_of(limits: Vec<LimitSetup>) -> Bench {
    let mut setup = (*setup()).clone();
    setup.limits = limits;
    setup.rules = ["brix", "level"].map(of_instrument).to_vec();
    Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    }
}

fn of_instrument(channel: &str) -> RuleSetup {
    RuleSetup {
        rule: Rule::Instrument {
            channel: channel.into(),
        },
        priority: Priority::Low,
        manner: AlarmManner::default(),
    }
}

fn of_concentration() -> Bench {
    bench_of(vec![
        limit(Quantity::Concentration, LimitLevel::Low, 6.0, 0.25),
        limit(Quantity::Concentration, LimitLevel::High, 9.0, 0.25),
    ])
}

/// Numbers from 0 to 1 without order.
struct Chance(u64);

impl Chance {
    fn share(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 40) as f64 / (1_u64 << 24) as f64
    }

    fn noise(&mut self, half_width: f64) -> f64 {
        half_width * (2.0 * self.share() - 1.0)
    }
}

impl Bench {
    /// Slow readings of a sump of 8 % and 900 L, the refractometer's off by what
    /// `off` says.
    fn slow(
        &mut self,
        minutes: std::ops::Range<i64>,
        chance: &mut Chance,
        off: impl Fn(&mut Chance) -> f64,
    ) {
        for m in minutes.step_by(SLOW) {
            let brix = 4.2 + chance.noise(0.05) + off(chance);
            self.read(BRIX, minute(m), brix);
            self.read(LEVEL, minute(m), 0.9 + chance.noise(0.002));
        }
    }

    /// The limits that people were told of.
    fn raised(&self) -> Vec<String> {
        let alarms = self.alarms().into_iter();
        let raised =
            alarms.filter(|(_, by)| matches!(by, Transition::Raised | Transition::Unsuppressed));
        let conditions = raised.map(|(condition, _)| condition);
        conditions
            .filter(|condition| !condition.starts_with("instrument"))
            .collect()
    }

    fn unsure_estimates(&self) -> usize {
        let estimates = self.effects.iter().filter_map(concentration);
        estimates
            .filter(|(_, quality)| *quality == Quality::UNSURE)
            .count()
    }

    fn instrument_reason(&self, channel: u16) -> Option<InstrumentReason> {
        let status = self.watch.status();
        status.channels[usize::from(channel)].instrument.reason
    }
}

/// The time and the marks of an estimate of the concentration.
fn concentration(effect: &Effect) -> Option<(Timestamp, Quality)> {
    match effect {
        Effect::Record(sample) if sample.series == SeriesIx(2) => {
            Some((sample.time, sample.quality))
        }
        _ => None,
    }
}

/// Whether the instrument was told of in four hours in which this share of the
/// readings are spikes.
fn is_told_erratic(seed: u64, share: f64) -> bool {
    let (mut bench, mut chance) = (of_concentration(), Chance(seed));
    bench.slow(0..DAY, &mut chance, |_| 0.0);
    let spikes = |chance: &mut Chance| {
        let (hit, up) = (chance.share() < share, chance.share() < 0.5);
        let size = 1.0 + 3.0 * chance.share();
        match (hit, up) {
            (false, _) => 0.0,
            (true, true) => size,
            (true, false) => -size,
        }
    };
    bench.slow(DAY..DAY + 4 * HOUR, &mut chance, spikes);
    let reason = bench.instrument_reason(BRIX);
    [InstrumentReason::Spiking, InstrumentReason::Noisy]
        .map(Some)
        .contains(&reason)
}

#[test]
fn an_erratic_refractometer_is_told_of() {
    let shares = [0.3, 0.45, 0.6];
    let runs = shares.map(|share| (1..=20).map(move |seed| is_told_erratic(seed, share)));
    let told = runs.into_iter().flatten().filter(|told| *told).count();
    assert!(told >= 57, "{told} of 60");
}

#[test]
fn a_true_step_is_told_within_the_hour() {
    let (mut bench, mut chance) = (of_concentration(), Chance(7));
    bench.slow(0..DAY, &mut chance, |_| 0.0);
    bench.slow(DAY..DAY + HOUR, &mut chance, |_| -1.5);
    assert_eq!(bench.raised(), ["concentration.low"]);
}

#[test]
fn foam_that_comes_up_as_the_pumps_start_is_no_overfilled_sump() {
    let mut setup = (*setup()).clone();
    setup.limits = vec![limit(Quantity::Volume, LimitLevel::High, 920.0, 18.0)];
    setup.rules = vec![of_instrument("level")];
    setup.lines = Volume::from_litres(60.0);
    setup.drain_back = Some(Volume::from_litres(40.0));
    setup.channels[usize::from(LEVEL)].instrument.uncertainty = 0.005;
    let mut pump = channel("pump", Quantity::State, 4, 0.0, 0.5);
    pump.plausible = (0.0, 1.0);
    pump.kind = ChannelKind::Switch {
        of: SwitchOf::Pumps,
    };
    pump.silent_after = Span::from_hours(24 * 365);
    setup.pump = Some(2);
    setup.channels.push(pump);
    let mut bench = Bench {
        watch: SumpWatch::new(Arc::new(setup), ADMISSION, start()),
        effects: Vec::new(),
    };
    let mut chance = Chance(3);
    for m in (0..2 * DAY + 4 * HOUR).step_by(SLOW) {
        let run = m % DAY < 8 * HOUR;
        let foam = m >= 2 * DAY;
        bench.read(2, minute(m), f64::from(u8::from(run)));
        let level = if run { 0.84 } else { 0.88 };
        let lifted = if foam {
            0.05 + chance.noise(0.025)
        } else {
            0.0
        };
        bench.read(LEVEL, minute(m), level + chance.noise(0.002) + lifted);
        bench.read(BRIX, minute(m), 4.2 + chance.noise(0.05));
    }
    assert_eq!(bench.raised(), Vec::<String>::new());
    assert_eq!(bench.instrument_reason(LEVEL), Some(InstrumentReason::Foam));
}

#[test]
fn a_film_on_the_prism_is_told_of_and_not_what_it_shows() {
    let (mut bench, mut chance) = (of_concentration(), Chance(5));
    bench.slow(0..3 * DAY, &mut chance, |_| 0.0);
    assert_eq!(bench.unsure_estimates(), 0);
    let clean = bench.effects.len();
    bench.slow(3 * DAY..3 * DAY + 2 * HOUR, &mut chance, |_| 0.8);
    assert_eq!(bench.raised(), Vec::<String>::new());
    assert_eq!(
        bench.instrument_reason(BRIX),
        Some(InstrumentReason::Fouled)
    );
    // What it shows from when it is noticed is kept, as what is not to be believed.
    let mut told = bench.effects[clean..].iter().filter_map(concentration);
    let noticed = told.find(|(_, quality)| *quality == Quality::UNSURE);
    let (noticed, _) = noticed.unwrap();
    assert!(noticed < minute(3 * DAY + 30), "{noticed}");
    assert!(told.all(|(_, quality)| quality == Quality::UNSURE));
}

#[test]
fn a_rise_that_a_hand_reading_bears_out_is_told() {
    let (mut bench, mut chance) = (of_concentration(), Chance(5));
    bench.slow(0..3 * DAY, &mut chance, |_| 0.0);
    bench.slow(3 * DAY..3 * DAY + HOUR, &mut chance, |_| 0.8);
    let by_hand = EntryKind::HandReading {
        mixer: None,
        quantity: Quantity::Brix,
        value: 5.0,
        method: None,
        written: None,
    };
    bench.enter("h", minute(3 * DAY + HOUR), by_hand);
    bench.slow(3 * DAY + HOUR..3 * DAY + 3 * HOUR, &mut chance, |_| 0.8);
    assert_eq!(bench.raised(), ["concentration.high"]);
    assert_eq!(bench.instrument_reason(BRIX), None);
}
