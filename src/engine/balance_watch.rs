//! The sump's balance as its readings and entries feed it: points of some
//! minutes, what ran through meters, what people wrote down.

use serde::{Deserialize, Serialize};

use crate::model::money::{self, Consumption, Litres};
use crate::model::{
    Balance, BalanceSetup, DosePool, DoseStep, DoseVolumeSetup, ErrorSetup, Logged, Movement,
    MovementKind, Origin, Point, Strength, Told,
};
use crate::signal::InstrumentClass;
use crate::units::{Brix, Concentration, Measured, Quantity, Span, Timestamp, Volume};

use super::entry::{AdditionKind, Entry, EntryKind, HappeningKind};
use super::event::{Effect, Quality, QualityClass};
use super::journal::JournalBody;
use super::mineral_moves::Moved;
use super::prism::Prism;
use super::setup::{ChannelKind, MeterOf, SumpSetup};
use super::watch::SumpWatch;

/// Readings of so long make one point of the balance. Choice: long enough that
/// fast probes do not cost more, short against the time that fluid takes to
/// mix.
const POINT: Span = Span::from_mins(5);

/// A new charge is filled within this before it is written down.
const FILLED_WITHIN: Span = Span::from_hours(24);

/// Who drains more than this share of the working volume empties the sump.
/// Choice: partial exchanges are of a half and less.
pub(super) const EMPTIED: f64 = 0.7;

/// The memory of the sump's balance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct BalanceWatch {
    pub(super) balance: Balance,
    slot: Slot,
    /// What had run through each meter by the last point, L.
    metered: Vec<f64>,
    pub(super) doses: DosePool,
    /// Litres by day, month and charge.
    pub(super) consumption: Consumption,
    #[serde(default)]
    pub(super) prism: Prism,
}

/// The readings since the last point, in the channels' units.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Slot {
    began: Option<Timestamp>,
    last: Option<Timestamp>,
    volumes: (f64, u32),
    concentrations: (f64, u32),
}

/// What a channel tells the balance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tells {
    Volume,
    Concentration,
    Nothing,
}

impl BalanceWatch {
    pub(super) fn new(setup: &SumpSetup) -> Self {
        BalanceWatch {
            balance: Balance::new(&balance_setup(setup)),
            slot: Slot::default(),
            metered: Vec::new(),
            doses: DosePool::default(),
            consumption: Consumption::default(),
            prism: Prism::default(),
        }
    }
}

impl BalanceWatch {
    /// What was in the sump, or its time, says nothing any more; the losses stay.
    pub(super) fn begin_anew(&mut self) {
        self.slot = Slot::default();
        self.balance.filled_anew();
    }
}

impl Slot {
    fn add(&mut self, tells: Tells, time: Timestamp, value: f64) {
        self.last = Some(time);
        let sum = match tells {
            Tells::Volume => &mut self.volumes,
            Tells::Concentration => &mut self.concentrations,
            Tells::Nothing => return,
        };
        *sum = (sum.0 + value, sum.1 + 1);
    }
}

/// What went in as concentrate and water, or, negative, out.
fn amounts(litres: f64, concentrate: f64) -> Litres {
    let came_in = litres > 0.0;
    Litres {
        concentrate_l: if came_in { concentrate.max(0.0) } else { 0.0 },
        water_l: (litres - concentrate).max(0.0),
        drained_l: (-litres).max(0.0),
    }
}

fn mean((sum, count): (f64, u32)) -> Option<f64> {
    (count > 0).then(|| sum / f64::from(count))
}

/// What the balance must know of the sump.
pub(super) fn balance_setup(setup: &SumpSetup) -> BalanceSetup {
    let of = |quantity: Quantity| setup.channels.iter().find(|c| c.quantity == quantity);
    let level = of(Quantity::Level);
    let volume = level.or(of(Quantity::Volume));
    let brix = of(Quantity::Brix);
    let concentration = brix.or(of(Quantity::Concentration));
    // What the errors in the instrument's unit come to in L and %.
    let litres = level.map_or(1.0, |_| {
        let tank = setup.working_volume.litres() - setup.lines.litres();
        let level = setup.vessel.level_for(Volume::from_litres(tank));
        setup.vessel.litres_per_metre(level)
    });
    let points = brix.map_or(1.0, |_| {
        let net = setup.fluid.chart.brix_for(setup.target, Brix::default());
        setup.fluid.chart.slope_at(net)
    });
    BalanceSetup {
        working_volume_l: setup.working_volume.litres(),
        target_pct: setup.target.percent(),
        lines_l: setup.lines.litres(),
        drain_back_l: setup.drain_back.map(Volume::litres),
        level_measured: volume.is_some(),
        concentration_measured: concentration.is_some(),
        fills_itself: setup.fills_itself,
        work_is_known: setup.shifts.is_some() || setup.pump.is_some(),
        mixing: crate::advice::mixing_time(&setup.dose, setup.working_volume, setup.circulation),
        strongest_premix_pct: setup.dose.strongest_premix.percent(),
        errors: ErrorSetup {
            volume_l: litres * volume.map_or(1.0, |channel| channel.uncertainty),
            concentration_pct: points * concentration.map_or(1.0, |channel| channel.uncertainty),
            wander_pct: points * concentration.map_or(0.0, |channel| channel.wander),
            drift_pct: points * concentration.map_or(0.0, |channel| channel.drift),
            metering: setup.metering,
            chart: setup.fluid.chart_uncertainty,
        },
    }
}

/// What each channel tells the balance: the first level (or volume) and the
/// first refractometer (or concentration).
pub(super) fn tells(setup: &SumpSetup) -> Vec<Tells> {
    let first = |quantities: [Quantity; 2]| {
        let mut of = quantities
            .into_iter()
            .filter_map(|q| setup.channels.iter().position(|c| c.quantity == q));
        of.next()
    };
    let volume = first([Quantity::Level, Quantity::Volume]);
    let concentration = first([Quantity::Brix, Quantity::Concentration]);
    let each = (0..setup.channels.len()).map(Some).map(|ix| match ix {
        ix if ix == volume => Tells::Volume,
        ix if ix == concentration => Tells::Concentration,
        _ => Tells::Nothing,
    });
    each.collect()
}

impl SumpWatch {
    /// Takes a reading into the balance.
    #[inline]
    pub(super) fn weigh(
        &mut self,
        channel: usize,
        (time, value): (Timestamp, f64),
        quality: Quality,
        out: &mut Vec<Effect>,
    ) {
        let began = self.balance.slot.began;
        if began.is_some_and(|began| time >= began + POINT) {
            self.end_point(out);
        }
        // Any reading lets a point end, so that meters count where nothing tells of
        // the fluid.
        let tells = match quality.class() {
            QualityClass::Good => self.tells[channel],
            QualityClass::Uncertain | QualityClass::Bad => Tells::Nothing,
        };
        let slot = &mut self.balance.slot;
        slot.began.get_or_insert(time.floor(POINT));
        slot.add(tells, time, value);
    }

    /// Hands the readings since the last point to the balance.
    fn end_point(&mut self, out: &mut Vec<Effect>) {
        let slot = std::mem::take(&mut self.balance.slot);
        let Some(time) = slot.last else { return };
        let pumps_run = self.pumps_run();
        let working = self.is_working(time);
        let (metered_l, metered_concentrate_l) = self.metered_since_last_point();
        self.count_metered(time, metered_l, metered_concentrate_l);
        let point = Point {
            time,
            volume_l: mean(slot.volumes)
                .zip(self.sound(Tells::Volume))
                .map(|(mean, channel)| self.volume_at(channel, mean)),
            concentration_pct: mean(slot.concentrations)
                .zip(self.sound(Tells::Concentration))
                .map(|(mean, channel)| self.concentration_at(channel, mean)),
            working,
            pumps_run,
            metered_l,
            metered_concentrate_l,
        };
        let mut told = Vec::new();
        self.balance
            .balance
            .take(&self.balance_setup, point, &mut told);
        self.tell_of_balance(told, out);
    }

    /// Whether machines work, by the shifts or else by the pumps.
    pub(super) fn is_working(&self, time: Timestamp) -> bool {
        match &self.setup.shifts {
            Some(shifts) => shifts.is_working(time),
            None => self.pumps_run().unwrap_or(true),
        }
    }

    /// The channel that tells this, if it is neither doubted nor broken, nor, of
    /// the concentration, about to be. A level that might be foam goes on: what is
    /// topped up meanwhile would not be seen.
    fn sound(&self, tells: Tells) -> Option<usize> {
        let channel = self.tells.iter().position(|one| *one == tells);
        channel.filter(|&ix| {
            let class = self.instrument_judgement(ix).class;
            !self.alarms.is_doubted(ix)
                && class <= InstrumentClass::MaintenanceRequired
                && (tells == Tells::Volume || !self.is_unsettled(ix))
        })
    }

    /// Whether the pumps run, by their switch or else by what people wrote.
    pub(super) fn pumps_run(&self) -> Option<bool> {
        self.pumps().or(self.pumps_said.map(|(_, run)| run))
    }

    /// Whether the pumps run, and since when, likewise.
    pub(super) fn pumps_since(&self) -> Option<(Timestamp, bool)> {
        let by_switch = self.setup.pump.map(usize::from).and_then(|ix| {
            self.usable(ix)?;
            self.channels[ix].switched()
        });
        by_switch
            .map(|switch| (switch.since, switch.on))
            .or(self.pumps_said)
    }

    /// What ran in through meters since the last point, and the concentrate in
    /// it, L.
    fn metered_since_last_point(&mut self) -> (f64, f64) {
        let setup = &self.setup;
        let meters = self.channels.iter().zip(&setup.channels);
        let meters = meters.filter_map(|(watch, channel)| match channel.kind {
            ChannelKind::Meter { of, .. } => Some((watch.metered(), of)),
            _ => None,
        });
        let now: Vec<(f64, MeterOf)> = meters.collect();
        let before = &mut self.balance.metered;
        if before.len() != now.len() {
            *before = now.iter().map(|(total, _)| *total).collect();
        }
        let (mut litres, mut concentrate) = (0.0, 0.0);
        for ((total, of), before) in now.into_iter().zip(before) {
            let ran = (total - *before).max(0.0);
            *before = total;
            litres += ran;
            concentrate += ran
                * match of {
                    MeterOf::Water => 0.0,
                    MeterOf::Concentrate => 1.0,
                    MeterOf::Premix(strength) => strength.fraction(),
                };
        }
        (litres, concentrate)
    }

    /// An entry that stands says what went in or out, or touches what the
    /// balance goes by.
    pub(super) fn enter_into_balance(
        &mut self,
        entry: &Entry,
        time: Timestamp,
        out: &mut Vec<Effect>,
    ) {
        if let Some(superseded) = &entry.supersedes {
            let balance = &mut self.balance.balance;
            if let Some(movement) = balance.forget(&self.balance_setup, superseded) {
                self.take_back(&movement);
            }
        }
        let logged = |litres: f64, strength_pct: Option<f64>| Logged {
            entry: entry.id.clone(),
            time,
            litres,
            strength_pct,
        };
        let logged = match &entry.kind {
            // What a meter counts is not counted besides.
            EntryKind::Addition { what, .. } if self.is_metered(*what) => return,
            EntryKind::Addition {
                what,
                litres,
                strength_pct,
                ..
            } => {
                let strength = match what {
                    AdditionKind::Water => Some(0.0),
                    AdditionKind::Concentrate => Some(100.0),
                    AdditionKind::Premix => *strength_pct,
                };
                logged(*litres, strength)
            }
            EntryKind::Event {
                what: HappeningKind::Drained,
                litres: Some(litres),
                ..
            } => {
                self.conductivity_witness.begin_anew();
                if *litres > EMPTIED * self.setup.working_volume.litres() {
                    self.emptied = Some(time);
                }
                logged(-litres, None)
            }
            EntryKind::Event {
                what: what @ (HappeningKind::Recharged | HappeningKind::Cleaned),
                litres,
                ..
            } => {
                self.end_charge(out);
                self.emptied = (*what == HappeningKind::Cleaned).then_some(time);
                if *what == HappeningKind::Recharged {
                    self.refilled = Some(time);
                    self.begin_charge(time, *litres);
                }
                return;
            }
            EntryKind::Event {
                what: HappeningKind::ProbeCleaned | HappeningKind::ProbeCalibrated,
                ..
            } => {
                for ix in self.touched_probes(&entry.kind) {
                    match self.tells[ix] {
                        Tells::Volume => self.balance.balance.level_touched(),
                        Tells::Concentration => {
                            self.balance.balance.instrument_touched(&self.balance_setup);
                        }
                        Tells::Nothing => {}
                    }
                }
                return;
            }
            _ => return,
        };
        let mut told = Vec::new();
        self.balance
            .balance
            .log(&self.balance_setup, logged, &mut told);
        self.tell_of_balance(told, out);
    }

    /// The fluid is let out for good: what waits to be judged is settled first.
    fn end_charge(&mut self, out: &mut Vec<Effect>) {
        let mut told = Vec::new();
        self.balance.balance.finish(&self.balance_setup, &mut told);
        self.tell_of_balance(told, out);
        self.balance.begin_anew();
        self.ph_trend.begin_anew();
        self.courses.disturbed();
        self.rates.disturbed();
        self.charts.begin_anew();
        self.conductivity_witness.begin_anew();
    }

    /// A new charge begins; what of its first fill nobody wrote down as
    /// additions, or no meter counted, is taken to be of the target's strength.
    fn begin_charge(&mut self, time: Timestamp, litres: Option<f64>) {
        let filled = litres.unwrap_or(self.setup.working_volume.litres());
        let of_fill = |movement: &&Movement| {
            movement.time >= time - FILLED_WITHIN && movement.litres.value > 0.0
        };
        let written = self.balance.balance.movements().filter(of_fill);
        let written: f64 = written.map(|movement| movement.litres.value).sum();
        self.balance.consumption.begin_charge(time);
        let rest = (filled - written).max(0.0);
        self.use_up(time, rest, rest * self.setup.target.fraction());
    }

    /// What was counted on the word of an entry that is withdrawn.
    fn take_back(&mut self, movement: &Movement) {
        let litres = movement.litres.value;
        let strength = movement.strength_pct.map_or(0.0, |strength| strength.value);
        let counted = amounts(litres, litres * strength / 100.0);
        let counted = money::Movement {
            time: movement.time,
            litres: counted,
        };
        self.balance.consumption.take_back(&counted).ok();
    }

    fn tell_of_balance(&mut self, told: Vec<Told>, out: &mut Vec<Effect>) {
        for told in told {
            let body = match told {
                Told::Movement(movement) => {
                    self.courses.disturbed();
                    self.rates.disturbed();
                    self.note_ledger(&movement);
                    let working = self.setup.working_volume.litres();
                    let strength_shows = self.strength_shows_since(movement.time);
                    self.upkeep
                        .moved(&movement, self.now, (working, strength_shows));
                    JournalBody::Movement { movement }
                }
                Told::Departure(departure) => JournalBody::Departure { departure },
                Told::WrittenDown { time, entry } => {
                    self.count_written_down(time, &entry);
                    JournalBody::MovementLogged { time, entry }
                }
                Told::Response(response) => {
                    let step = DoseStep {
                        added_l: response.added_l,
                        strength: Strength::Counted(Measured::new(response.strength_pct, 0.0)),
                        before_pct: response.before_pct,
                        after_pct: response.after_pct,
                        offset_pct: response.offset_pct,
                    };
                    self.pool_dose(&step, response.expected_l);
                    continue;
                }
            };
            self.journal(body, out);
            self.show(out);
        }
    }

    /// Whether what the refractometer shows has told the strength of what moved
    /// at that time: by itself, and not before and after a wipe.
    fn strength_shows_since(&self, time: Timestamp) -> bool {
        self.sound(Tells::Concentration).is_some_and(|ix| {
            let touched = self.channels[ix].instrument.touched_at();
            touched.is_none_or(|touched| touched < time)
        })
    }

    /// What ran through meters is used, and carries minerals.
    fn count_metered(&mut self, time: Timestamp, litres: f64, concentrate: f64) {
        if litres <= 0.0 {
            return;
        }
        self.use_up(time, litres, concentrate);
        let strength = Concentration::from_fraction(concentrate / litres);
        self.note_movement(time, Moved { litres, strength });
    }

    /// What was inferred before carried its minerals already.
    fn count_written_down(&mut self, time: Timestamp, entry: &str) {
        let by_entry = |origin: &Origin| match origin {
            Origin::Logged { entries, .. } => entries.iter().any(|one| one == entry),
            Origin::Inferred | Origin::Contradicted { .. } => false,
        };
        let balance = &self.balance.balance;
        let moved = balance
            .movements()
            .rev()
            .find(|one| one.time == time && by_entry(&one.origin))
            .and_then(Moved::told_by);
        if let Some(moved) = moved {
            self.count_once(entry, moved);
        }
    }

    /// What a line of the ledger means for what is used, for minerals, and for
    /// the instrument.
    fn note_ledger(&mut self, movement: &Movement) {
        let (time, litres) = (movement.time, movement.litres.value);
        let strength = movement.strength_pct.map_or(0.0, |strength| strength.value);
        match movement.kind {
            MovementKind::Water | MovementKind::Premix | MovementKind::Concentrate => {
                let strength = strength.clamp(0.0, 100.0);
                self.use_up(time, litres, litres * strength / 100.0);
            }
            MovementKind::MixOut => {
                self.use_up(time, litres, 0.0);
            }
            MovementKind::Instrument => {
                let hours = (movement.until - movement.time).secs_f64() / 3600.0;
                if let Some(jump) = movement.strength_pct {
                    self.suspect_fouling(jump, movement.time, hours);
                }
            }
            MovementKind::Lines | MovementKind::Thinned | MovementKind::Unclear => {}
        }
        // What was written down has carried its minerals already.
        let carried = Moved::told_by(movement);
        if let Some(moved) = carried.filter(|_| movement.origin == Origin::Inferred) {
            self.note_movement(time, moved);
        }
    }

    fn use_up(&mut self, time: Timestamp, litres: f64, concentrate: f64) {
        // Amounts are finite and none is below zero; a time beyond the calendar
        // is of no use to anybody.
        let litres = amounts(litres, concentrate);
        self.balance
            .consumption
            .add(&money::Movement { time, litres })
            .ok();
    }

    /// A dose that tells no volume is passed over: it was too small, or
    /// something else went in with it.
    fn pool_dose(&mut self, step: &DoseStep, expected_l: f64) {
        let expected = Volume::from_litres(expected_l);
        let setup = self.dose_volume_setup();
        self.balance.doses.add(step, expected, &setup).ok();
    }

    /// How doses are taken to tell the volume.
    pub(super) fn dose_volume_setup(&self) -> DoseVolumeSetup {
        DoseVolumeSetup {
            factor_uncertainty: self.setup.fluid.chart_uncertainty,
            ..DoseVolumeSetup::default()
        }
    }
}
