//! A trial and the whole engine that watches it, driven as a shard drives it:
//! readings, entries and ticks go in, the journal and the status come out.

use std::sync::Arc;

use jiff::tz::TimeZone;
use sumpward::advice::choice::ChoiceLimits;
use sumpward::advice::recharge::RechargeSetup;
use sumpward::chemistry::Chart;
use sumpward::engine::{
    AdditionKind, AdmissionSetup, AlarmManner, AlarmSetup, BalanceStatus, ChannelKind,
    ChannelSetup, DespikeSetup, DoseSetup, Effect, Entry, EntryKind, Event, FactorSetup,
    FluidSetup, Form, HappeningKind, InputSetup, InstrumentSetup, JournalBody, JournalRecord,
    LimitLevel, LimitSetup, Measure, MeterOf, MeterSetup, MineralSetup, Priority, Probe, Quality,
    Reading, SeriesIx, Shard, SheetBaseLine, SouringSetup, SumpSetup, SumpWatch, SwitchOf,
    VolumeUnit,
};
use sumpward::model::{Losses, Movement, Shift, ShiftPattern};
use sumpward::simulate::plant::Tank;
use sumpward::simulate::trial::{Trial, TrialReading, TrialSpec};
use sumpward::units::{Brix, Concentration, Flow, Length, Quantity, Span, Timestamp, Volume};
use sumpward::vessel::Vessel;

use super::run::START;

const BRIX: u16 = 0;
const LEVEL: u16 = 1;
const PUMPS: u16 = 2;
/// The first meter.
const METER: u16 = 3;

/// How the engine gets to know whether the pumps run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PumpsBy {
    Switch,
    Entries,
    Nothing,
}

/// What the settings say of the sump, and what they may be wrong about.
#[derive(Debug, Clone)]
pub(crate) struct Knows {
    /// Length of the tank, and of what the lines hold, over the true one.
    pub(crate) size: f64,
    pub(crate) chart_uncertainty: f64,
    pub(crate) pumps: PumpsBy,
    pub(crate) fills_itself: bool,
    pub(crate) meters: Vec<MeterOf>,
    /// Volume and concentration wanted, where they are not those of the start.
    pub(crate) working_volume_l: f64,
    pub(crate) target_pct: f64,
    /// What limits of low volume and high concentration are set to.
    pub(crate) lowest_l: f64,
    pub(crate) highest_pct: f64,
}

impl Knows {
    /// Everything, and rightly.
    pub(crate) fn all(spec: &TrialSpec) -> Self {
        Knows {
            size: 1.0,
            chart_uncertainty: 0.0,
            pumps: PumpsBy::Switch,
            fills_itself: false,
            meters: Vec::new(),
            working_volume_l: spec.volume_l,
            target_pct: spec.concentration_pct,
            lowest_l: 0.85 * spec.volume_l,
            highest_pct: spec.concentration_pct + 1.0,
        }
    }
}

/// The engine's instruments are taken to be as the settings take them where a
/// plant writes nothing else.
fn channel(name: &str, quantity: Quantity, place: u16, kind: ChannelKind) -> ChannelSetup {
    let (uncertainty, floor, wander, drift) = match quantity {
        Quantity::Brix => (0.1, 0.1, 0.02, 0.1),
        Quantity::Level => (0.005, 0.002, 0.0, 0.0),
        _ => (1.0, 0.0, 0.0, 0.0),
    };
    let gauge = kind == ChannelKind::Gauge;
    ChannelSetup {
        name: name.into(),
        quantity,
        kind,
        input: InputSetup::default(),
        series: SeriesIx(u32::from(place)),
        plausible: (-1.0, 1e12),
        despike: gauge.then_some(DespikeSetup {
            window: Span::from_mins(15),
            sigmas: 3.0,
            floor,
        }),
        smooth: if gauge {
            Span::from_mins(5)
        } else {
            Span::ZERO
        },
        silent_after: Span::from_mins(15),
        uncertainty,
        hand_tolerance: 0.3,
        wander,
        drift,
        instrument: InstrumentSetup {
            frozen_after: gauge.then_some(Span::from_hours(6)),
            noise_limit: None,
            uncertainty,
            spike_share: 0.2,
            function_check: Span::from_mins(15),
            probe: match quantity {
                Quantity::Level => Probe::Surface,
                _ => Probe::Other,
            },
        },
    }
}

fn channels(knows: &Knows) -> Vec<ChannelSetup> {
    let mut channels = vec![
        channel("brix", Quantity::Brix, BRIX, ChannelKind::Gauge),
        channel("level", Quantity::Level, LEVEL, ChannelKind::Gauge),
    ];
    let of = match knows.pumps {
        PumpsBy::Switch => SwitchOf::Pumps,
        PumpsBy::Entries | PumpsBy::Nothing => SwitchOf::Other,
    };
    let kind = ChannelKind::Switch { of };
    channels.push(channel("pumps", Quantity::State, PUMPS, kind));
    for (place, of) in (METER..).zip(&knows.meters) {
        let kind = ChannelKind::Meter {
            counts: MeterSetup::default(),
            of: *of,
            total_series: SeriesIx(100 + u32::from(place)),
        };
        let name = format!("meter-{place}");
        channels.push(channel(&name, Quantity::Metered, place, kind));
    }
    channels
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

fn dose_setup() -> DoseSetup {
    DoseSetup {
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
    }
}

fn recharge_setup() -> RechargeSetup {
    RechargeSetup {
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
    }
}

fn fluid(spec: &TrialSpec, knows: &Knows) -> FluidSetup {
    FluidSetup {
        name: "invented".into(),
        title: "Invented".into(),
        chart: Chart::factor(spec.factor).expect("the factor is above zero"),
        chart_uncertainty: knows.chart_uncertainty,
        temperature_coefficient: None,
        mixing_note: None,
        fresh_ph: None,
        ph_per_decade: 0.5,
        base_line: SheetBaseLine::default(),
        price: None,
    }
}

fn vessel(spec: &TrialSpec, size: f64) -> Vessel {
    let Tank::Rectangular {
        length_m,
        width_m,
        height_m,
    } = spec.tank
    else {
        unreachable!("trials here have boxes");
    };
    let metres = Length::from_metres;
    Vessel::rectangular(metres(size * length_m), metres(width_m), metres(height_m))
        .expect("the box has three sides")
}

fn sump_setup(spec: &TrialSpec, knows: &Knows) -> SumpSetup {
    let (from, to) = spec.working;
    let shift = Shift::parse(&format!("mon-sun {from:02}:00-{to:02}:00")).expect("hours of a day");
    let shifts = ShiftPattern::new(TimeZone::UTC, &[shift], &[]).expect("there is a shift");
    let (target, working) = (knows.target_pct, knows.size * knows.working_volume_l);
    SumpSetup {
        name: "mill".into(),
        title: "Mill".into(),
        fluid: Arc::new(fluid(spec, knows)),
        vessel: vessel(spec, knows.size),
        lines: Volume::from_litres(knows.size * spec.lines_l),
        drain_back: None,
        pump: (knows.pumps == PumpsBy::Switch).then_some(PUMPS),
        fills_itself: knows.fills_itself,
        metering: 0.02,
        shifts: Some(Arc::new(shifts)),
        start_up: false,
        working_volume: Volume::from_litres(working),
        max_volume: Volume::from_litres(1.05 * working),
        circulation: Some(Flow::from_litres_per_minute(spec.circulation_l_per_min)),
        target: Concentration::from_percent(target),
        window: (
            Concentration::from_percent(target - 1.0),
            Concentration::from_percent(target + 1.0),
        ),
        water_zero: Brix::from_degrees(spec.water_zero_brix),
        dose: dose_setup(),
        choice: ChoiceLimits::default(),
        recharge: recharge_setup(),
        prices: None,
        mixers: Vec::new(),
        channels: channels(knows),
        limits: vec![
            limit(Quantity::Concentration, LimitLevel::Low, target - 1.0, 0.25),
            limit(
                Quantity::Concentration,
                LimitLevel::High,
                knows.highest_pct,
                0.25,
            ),
            limit(
                Quantity::Volume,
                LimitLevel::Low,
                knows.size * knows.lowest_l,
                0.02 * working,
            ),
        ],
        silent: Some(AlarmSetup::default()),
        disagrees: AlarmSetup::default(),
        rules: Vec::new(),
        waters: [].into(),
        minerals: MineralSetup::default(),
        souring: SouringSetup::default(),
        methods: FactorSetup::default(),
        concentration_series: SeriesIx(1000),
        volume_series: SeriesIx(1001),
    }
}

const ADMISSION: AdmissionSetup = AdmissionSetup {
    future_skew: Span::from_secs(60),
    oldest: Span::from_hours(7 * 24),
    late_after: Span::from_mins(2),
};

/// A trial under the watch of the whole engine.
pub(crate) struct Whole {
    pub(crate) trial: Trial,
    pub(crate) spec: TrialSpec,
    pub(crate) journal: Vec<JournalRecord>,
    knows: Knows,
    shard: Shard,
    effects: Vec<Effect>,
    metered: Vec<f64>,
    ran: Option<bool>,
    entries: usize,
}

impl Whole {
    pub(crate) fn new(spec: TrialSpec, knows: Knows, seed: u64) -> Self {
        let setup = Arc::new(sump_setup(&spec, &knows));
        Whole {
            trial: Trial::new(&spec, seed, START),
            spec,
            journal: Vec::new(),
            shard: Shard::new(vec![SumpWatch::new(setup, ADMISSION, START)]),
            effects: Vec::new(),
            metered: vec![1000.0; knows.meters.len()],
            knows,
            ran: None,
            entries: 0,
        }
    }

    pub(crate) fn watch(&self) -> &SumpWatch {
        &self.shard.watches()[0]
    }

    /// Lets one interval pass, and hands its readings to the engine. The switch
    /// and the meters come before the gauges of the same time.
    pub(crate) fn step(&mut self) -> TrialReading {
        let reading = self.trial.step();
        self.shard
            .advance(reading.time, &mut self.effects, |_, _| ());
        if self.knows.pumps == PumpsBy::Entries && self.ran != Some(reading.pumps_run) {
            self.enter(happening(match reading.pumps_run {
                true => HappeningKind::PumpsOn,
                false => HappeningKind::PumpsOff,
            }));
        }
        self.ran = Some(reading.pumps_run);
        if self.knows.pumps == PumpsBy::Switch {
            let on = f64::from(u8::from(reading.pumps_run));
            self.read(PUMPS, reading.time, on);
        }
        for (place, stands_at) in (METER..).zip(self.metered.clone()) {
            self.read(place, reading.time, stands_at);
        }
        self.read(BRIX, reading.time, reading.brix);
        self.read(LEVEL, reading.time, reading.level_m);
        reading
    }

    fn read(&mut self, channel: u16, time: Timestamp, value: f64) {
        let reading = Event::Reading(Reading {
            channel,
            claimed: Some(time),
            arrival: time,
            value,
            form: Form::Reported,
            quality: Quality::GOOD,
        });
        self.deliver(&reading);
    }

    fn deliver(&mut self, event: &Event) {
        self.shard.deliver(0, event, &mut self.effects);
        let journal = self.effects.drain(..).filter_map(|effect| match effect {
            Effect::Journal(record) => Some(*record),
            Effect::Record(_) | Effect::Show(_) => None,
        });
        self.journal.extend(journal);
    }

    pub(crate) fn run_hours(&mut self, hours: f64) {
        let steps = (hours * 3600.0 / self.spec.interval.secs_f64()).round() as usize;
        for _ in 0..steps {
            self.step();
        }
    }

    /// Lets time pass until machines cut.
    pub(crate) fn run_until_work(&mut self) {
        while !self.trial.cuts() {
            self.step();
        }
    }

    /// Somebody writes this down now; tells the entry's id.
    pub(crate) fn enter(&mut self, kind: EntryKind) -> String {
        self.entries += 1;
        let id = format!("entry-{}", self.entries);
        let time = self.trial.now();
        let entry = Entry {
            id: id.clone(),
            time,
            sump: "mill".into(),
            by: Some("crew".into()),
            supersedes: None,
            kind,
        };
        self.deliver(&Event::Entry(Box::new(entry), time));
        id
    }

    /// Puts in premix (0 % is water, 100 % concentrate) and writes it down;
    /// tells how much it really was, L.
    pub(crate) fn add(&mut self, litres: f64, strength_pct: f64) -> f64 {
        let really = self.trial.add(litres, strength_pct);
        self.enter(addition(litres, strength_pct, None));
        really
    }

    /// Lets out mix and writes it down.
    pub(crate) fn drain(&mut self, litres: f64) {
        self.trial.drain(litres);
        self.enter(drained(litres, None));
    }

    /// Wipes the refractometer and writes it down.
    pub(crate) fn wipe(&mut self) {
        self.trial.wipe();
        self.enter(EntryKind::Event {
            what: HappeningKind::ProbeCleaned,
            litres: None,
            channel: Some("brix".into()),
            advice: None,
        });
    }

    /// Puts in premix through a meter, which counts what was measured out, and
    /// nobody writes it down.
    pub(crate) fn run_in(&mut self, meter: usize, litres: f64, strength_pct: f64) {
        self.trial.add(litres, strength_pct);
        self.metered[meter] += litres;
    }

    pub(crate) fn movements(&self) -> Vec<&Movement> {
        let movements = self.journal.iter().filter_map(|line| match &line.body {
            JournalBody::Movement { movement } => Some(movement),
            _ => None,
        });
        movements.collect()
    }

    pub(crate) fn balance(&self) -> BalanceStatus {
        let balance = self.watch().status().balance;
        balance.expect("the balance has seen readings")
    }

    pub(crate) fn losses(&self) -> Losses {
        let balance = self.balance();
        let losses = balance.losses;
        losses.unwrap_or_else(|| panic!("{:?}", balance.not_identifiable))
    }
}

/// An entry of so much of this strength.
pub(crate) fn addition(litres: f64, strength_pct: f64, advice: Option<&str>) -> EntryKind {
    let (what, strength_pct) = match strength_pct {
        0.0 => (AdditionKind::Water, None),
        100.0 => (AdditionKind::Concentrate, None),
        strength => (AdditionKind::Premix, Some(strength)),
    };
    EntryKind::Addition {
        what,
        litres,
        strength_pct,
        water: None,
        advice: advice.map(str::to_owned),
    }
}

/// An entry of so much let out.
pub(crate) fn drained(litres: f64, advice: Option<&str>) -> EntryKind {
    EntryKind::Event {
        what: HappeningKind::Drained,
        litres: Some(litres),
        channel: None,
        advice: advice.map(str::to_owned),
    }
}

fn happening(what: HappeningKind) -> EntryKind {
    EntryKind::Event {
        what,
        litres: None,
        channel: None,
        advice: None,
    }
}
