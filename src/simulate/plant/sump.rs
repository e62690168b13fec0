//! One sump: its fluid and what happens to it from reading to reading.

use std::sync::Arc;

use crate::simulate::random::Random;
use crate::units::{Span, Timestamp};

use super::fault::{Fault, Faults, Planned};
use super::instrument::{Channel, SimReading, round_to};
use super::layout::{SumpSpec, TopUp};
use super::mix::Mix;
use super::shift;

/// Automatic make-up starts below this share of the working volume and stops at
/// the working volume.
const TOP_UP_BELOW: f64 = 0.985;
/// Flow of the make-up, as a share of the working volume an hour.
const TOP_UP_AN_HOUR: f64 = 0.3;
/// Water that a stuck float valve lets in, as a share of the working volume an
/// hour.
const STUCK_VALVE_AN_HOUR: f64 = 0.034;
/// The lip over which a sump with a stuck valve runs, as a share of the working
/// volume.
const LIP: f64 = 1.004;

/// What the film on a prism adds in the end, °Bx, and how long it takes.
const FOULING_BRIX: f64 = 1.5;
const FOULING_TAKES: Span = Span::from_hours(10);
/// Share of readings that a bubble spoils, and by how much, °Bx.
const BUBBLE_CHANCE: f64 = 0.08;
const BUBBLE_BRIX: (f64, f64) = (1.0, 3.0);

/// What pumps and cutting add to the hall's temperature, K, and how fast, h.
const HEAT_AT_WORK_K: f64 = 4.5;
const HEAT_AT_REST_K: f64 = 1.5;
const HEAT_LAG_H: f64 = 3.0;

/// Rise of pH with tenfold concentration; fall with age in the end, and its
/// time constant, h (invented, of the size seen in practice).
const PH_PER_DECADE: f64 = 0.6;
const PH_AGEING: f64 = 0.2;
const PH_AGEING_H: f64 = 800.0;
/// Conductivity of salts, µS/cm for 1 g/L (memory).
const CONDUCTIVITY_OF_SALTS: f64 = 1800.0;

/// Mean age of the concentrate when the plant starts, h.
const AGE_AT_START_H: f64 = 150.0;

/// A hand refractometer's error is at most half of this before rounding to it,
/// °Bx.
const HAND_STEP_BRIX: f64 = 0.1;

/// What went in and out of a sump since the start.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Flows {
    /// Put in by make-up, by people or by a stuck valve.
    pub added: Mix,
    /// Carried off with parts and chips.
    pub carried_off: Mix,
    /// Let out by people.
    pub drained: Mix,
    /// Run over the edge or the lip.
    pub spilled: Mix,
    /// Water gone as vapour, L.
    pub evaporated_l: f64,
}

/// A sump and everything about it.
#[derive(Debug, Clone)]
pub(super) struct Sump {
    pub(super) spec: SumpSpec,
    name: Arc<str>,
    pub(super) mix: Mix,
    pub(super) flows: Flows,
    pub(super) faults: Faults,
    temperature_c: f64,
    /// Concentration at the nozzle, which follows the tank's as it mixes.
    nozzle_pct: f64,
    filling: bool,
    /// People shut the automatic top-up while they drain, and open it when
    /// they have filled up.
    pub(super) top_up_shut: bool,
    chance: [Random; Channel::ALL.len()],
    hand: Random,
}

impl Sump {
    pub(super) fn new(spec: &SumpSpec, seed: u64, start: Timestamp, plan: &[Planned]) -> Self {
        let mut mix = Mix::fresh(spec.working_volume_l * spec.start_fill, spec.target_pct);
        mix.grow_older(AGE_AT_START_H);
        let part = |what: &str| Random::for_part(seed, &format!("{}/{what}", spec.name));
        Sump {
            spec: *spec,
            name: spec.name.into(),
            mix,
            flows: Flows::default(),
            faults: Faults::new(start, plan, spec.name),
            temperature_c: shift::hall_c(start) + HEAT_AT_REST_K,
            nozzle_pct: mix.concentration_pct(),
            filling: false,
            top_up_shut: false,
            chance: Channel::ALL.map(|channel| part(channel.name())),
            hand: part("hand"),
        }
    }

    /// Lets `step` pass, up to `now`.
    pub(super) fn advance(&mut self, step: Span, now: Timestamp) {
        let hours = step.secs_f64() / 3600.0;
        self.faults.advance(now);
        self.lose(hours, now);
        match self.faults.since(Fault::LeanDrift) {
            Some(_) => self.run_over(hours),
            None => self.top_up(hours),
        }
        self.mix.grow_older(hours);
        self.warm(hours, now);
        self.stir(hours);
    }

    fn lose(&mut self, hours: f64, now: Timestamp) {
        let day = self.spec.working_volume_l * hours;
        let vapour = day * self.spec.evaporation_a_day * shift::evaporation_per_hour(now);
        self.flows.evaporated_l += self.mix.evaporate(vapour);
        let carried = day * self.spec.carry_off_a_day * shift::carry_off_per_hour(now);
        let carried = self.mix.take(carried);
        self.flows.carried_off.add(carried);
    }

    fn top_up(&mut self, hours: f64) {
        let strength = match self.spec.top_up {
            TopUp::Mixer => self.spec.holding_strength_pct(),
            TopUp::Water => 0.0,
            TopUp::ByHand => return,
        };
        if self.top_up_shut {
            return;
        }
        let missing = self.spec.working_volume_l - self.mix.volume_l();
        if missing > self.spec.working_volume_l * (1.0 - TOP_UP_BELOW) {
            self.filling = true;
        }
        if self.filling {
            let flow = self.spec.working_volume_l * TOP_UP_AN_HOUR * hours;
            self.put_in(flow.min(missing.max(0.0)), strength);
            self.filling = flow < missing;
        }
    }

    fn run_over(&mut self, hours: f64) {
        self.put_in(
            self.spec.working_volume_l * STUCK_VALVE_AN_HOUR * hours,
            0.0,
        );
        self.spill_above(self.spec.working_volume_l * LIP);
    }

    /// Adds fresh mix; what does not fit runs over the edge.
    pub(super) fn put_in(&mut self, litres: f64, strength_pct: f64) {
        let more = Mix::fresh(litres, strength_pct);
        self.mix.add(more);
        self.flows.added.add(more);
        self.spill_above(self.spec.max_volume_l);
    }

    fn spill_above(&mut self, litres: f64) {
        let surplus = self.mix.volume_l() - litres;
        if surplus > 0.0 {
            let spilled = self.mix.take(surplus);
            self.flows.spilled.add(spilled);
        }
    }

    /// Lets mix out.
    pub(super) fn let_out(&mut self, litres: f64) {
        let drained = self.mix.take(litres);
        self.flows.drained.add(drained);
    }

    fn warm(&mut self, hours: f64, now: Timestamp) {
        let heat = match shift::working(now) {
            true => HEAT_AT_WORK_K,
            false => HEAT_AT_REST_K,
        };
        let towards = shift::hall_c(now) + heat;
        self.temperature_c += (towards - self.temperature_c) * (1.0 - (-hours / HEAT_LAG_H).exp());
    }

    /// One turnover of the volume brings the nozzle all but 1/e of the way to
    /// the tank's concentration.
    fn stir(&mut self, hours: f64) {
        let turnovers =
            self.spec.circulation_l_per_min * 60.0 * hours / self.mix.volume_l().max(1.0);
        let behind = self.mix.concentration_pct() - self.nozzle_pct;
        self.nozzle_pct += behind * (1.0 - (-turnovers).exp());
    }

    /// What the instruments send.
    pub(super) fn report(&mut self, now: Timestamp, to: &mut Vec<SimReading>) {
        for (place, channel) in Channel::ALL.into_iter().enumerate() {
            let truth = self.before_instrument(channel, now);
            let chance = &mut self.chance[place];
            let mut value = channel.read(truth, chance);
            if channel == Channel::Brix && self.faults.since(Fault::Bubbles).is_some() {
                value = with_bubble(value, chance);
            }
            if self.faults.since(Fault::SilentChannel(channel)).is_none() {
                to.push(SimReading {
                    sump: Arc::clone(&self.name),
                    channel,
                    time: now,
                    value,
                });
            }
        }
    }

    fn before_instrument(&self, channel: Channel, now: Timestamp) -> f64 {
        match channel {
            Channel::Brix => self.brix() + self.film(now),
            Channel::Ph => self.ph(),
            Channel::Conductivity => {
                CONDUCTIVITY_OF_SALTS * self.mix.salts_g_per_l()
                    + self.spec.fluid.conductivity_per_pct * self.nozzle_pct
            }
            Channel::Temperature => self.temperature_c,
            Channel::Level => self.level_mm(),
        }
    }

    /// What a clean refractometer without noise shows, °Bx.
    fn brix(&self) -> f64 {
        self.nozzle_pct / self.spec.fluid.factor + self.spec.water_zero_brix
    }

    fn film(&self, now: Timestamp) -> f64 {
        self.faults.since(Fault::FoulingProbe).map_or(0.0, |since| {
            let grown = (now - since).secs_f64() / FOULING_TAKES.secs_f64();
            FOULING_BRIX * grown.min(1.0)
        })
    }

    fn ph(&self) -> f64 {
        let strength = (self.nozzle_pct / self.spec.target_pct).max(0.01);
        let aged = 1.0 - (-self.mix.mean_age_h() / PH_AGEING_H).exp();
        self.spec.fluid.fresh_ph + PH_PER_DECADE * strength.log10() - PH_AGEING * aged
    }

    fn level_mm(&self) -> f64 {
        let in_tank = (self.mix.volume_l() - self.spec.lines_l).max(0.0);
        self.spec.tank.level_m_of(in_tank) * 1000.0
    }

    /// What a hand refractometer shows, °Bx.
    pub(super) fn hand_brix(&mut self) -> f64 {
        let error = self
            .hand
            .between(-HAND_STEP_BRIX / 2.0, HAND_STEP_BRIX / 2.0);
        round_to(self.brix() + error, 1)
    }

    pub(super) fn temperature_c(&self) -> f64 {
        self.temperature_c
    }
}

fn with_bubble(value: f64, chance: &mut Random) -> f64 {
    match chance.share() < BUBBLE_CHANCE {
        true => round_to(value - chance.between(BUBBLE_BRIX.0, BUBBLE_BRIX.1), 2),
        false => value,
    }
}
