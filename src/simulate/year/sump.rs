//! One sump through the year: its fluid, its instruments, what goes wrong, and
//! what people do to it.

use crate::simulate::random::Random;
use crate::units::{Span, Timestamp};

use super::calendar::{self, day, hall_c, stands_still};
use super::contents::{Contents, HARD, SOFT, Tap};
use super::fault::{FaultKind, Faults, Happened, Planned};
use super::instruments::{Channel, Instrument, Spoilt};
use super::layout::SumpSpec;

/// Time from one reading of an instrument to its next.
pub const STEP: Span = Span::from_mins(5);
/// Readings between two reports of the pumps' switch that say nothing new.
const SWITCH_REPEATS: u32 = 12;

/// Evaporation while nothing is cut, as a share of that in a shift, and how
/// much a kelvin in the hall changes it (invented, of the size seen in
/// practice).
const EVAPORATION_AT_REST: f64 = 0.35;
const EVAPORATION_PER_KELVIN: f64 = 0.03;
/// How uneven the days are: deviation of a day's work from the usual, how much
/// of it the next day keeps, and the share of days on which a machine stands
/// (choice).
const WORK_DEVIATION: f64 = 0.25;
const WORK_KEPT: f64 = 0.6;
const IDLE_DAYS: f64 = 0.04;
/// The weather: deviation of a day in the hall, K, and how much of it the next
/// day keeps (choice).
const WEATHER_K: f64 = 1.2;
const WEATHER_KEPT: f64 = 0.7;

/// What pumps and cutting add to the hall's temperature, K, and how fast, h.
const HEAT_AT_WORK_K: f64 = 4.5;
const HEAT_PUMPS_K: f64 = 1.5;
const HEAT_LAG_H: f64 = 3.0;

/// How pH wanders by itself, as a deviation, and over what time, h; how fast it
/// forgets a cleaner, h (invented).
const PH_WANDER: f64 = 0.04;
const PH_WANDER_H: f64 = 240.0;
const CLEANER_FADES_H: f64 = 48.0;
/// What hardness and chloride conduct, µS/cm for each mg/L (memory), and what a
/// cleaner adds for each unit of pH (invented).
const HARDNESS_CONDUCTS: f64 = 2.0;
const CHLORIDE_CONDUCTS: f64 = 2.8;
const CLEANER_CONDUCTS: f64 = 250.0;

/// Deviation of what people and mixers measure out, as a share (memory: 2 to
/// 3 %).
const METERING: f64 = 0.025;
/// Deviations of hand instruments: refractometer, °Bx; pH meter; test sets and
/// titration, as shares (memory). The first two are rounded to a tenth.
const HAND_BRIX: f64 = 0.05;
const HAND_PH: f64 = 0.06;
const HAND_TESTS: f64 = 0.06;

/// What is true of a sump at one time, whatever its instruments say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Truth {
    /// Volume, lines included, L.
    pub volume_l: f64,
    /// Concentration of all that is in it, %.
    pub concentration_pct: f64,
    /// Concentration where the instruments are, %: it follows as it mixes.
    pub nozzle_pct: f64,
    /// pH.
    pub ph: f64,
    /// Hardness, mg/L of calcium carbonate.
    pub hardness_mg_l: f64,
    /// Chloride, mg/L.
    pub chloride_mg_l: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Whether the circulation pumps run.
    pub pumps_run: bool,
    /// Whether machines cut.
    pub works: bool,
    /// Whether people hold the pumps off for work on the sump.
    pub held_off: bool,
    /// How far the gauges are off, in their units, in the order of
    /// [`Channel::GAUGES`], single readings' noise apart.
    pub off: [f64; 5],
}

/// One reading as an instrument sends it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YearReading {
    /// The instrument.
    pub channel: Channel,
    /// Its value in the channel's unit; mA where it is on a loop.
    pub value: f64,
}

/// How the sump strikes the nose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Smells {
    /// As when it was fresh.
    Fresh,
    /// Stale, when one comes near.
    Stale,
    /// Bad, from afar.
    Bad,
}

/// The sump.
#[derive(Debug, Clone)]
pub struct YearSump {
    spec: SumpSpec,
    now: Timestamp,
    contents: Contents,
    nozzle_pct: f64,
    temperature_c: f64,
    faults: Faults,
    instruments: [Instrument; 5],
    /// Rise of pH with tenfold concentration, of this fluid as it truly is.
    ph_per_decade: f64,
    ph_wander: f64,
    /// Work of the day as a share of the usual, and its memory.
    work: (f64, f64),
    weather_k: f64,
    day: i64,
    held_off: bool,
    switch: (bool, u32),
    chance: Random,
    hand: Random,
}

impl YearSump {
    /// The sump as it stands at `start`, with these faults ahead.
    pub fn new(spec: &SumpSpec, seed: u64, start: Timestamp, plan: Vec<Planned>) -> YearSump {
        let part = |what: &str| Random::for_part(seed, &format!("sump/{}/{what}", spec.place));
        let mut chance = part("course");
        let contents = Contents::fresh(
            spec.working_l * chance.between(0.95, 1.0),
            spec.product.target_pct * chance.between(0.97, 1.03),
            SOFT,
        );
        YearSump {
            spec: *spec,
            now: start,
            contents,
            nozzle_pct: contents.concentration_pct(),
            temperature_c: hall_c(start) + HEAT_PUMPS_K,
            faults: Faults::new(plan, start),
            instruments: Channel::GAUGES.map(|channel| Instrument::new(seed, spec.place, channel)),
            ph_per_decade: chance.between(0.4, 0.65),
            ph_wander: PH_WANDER * chance.normal(),
            work: (1.0, 0.0),
            weather_k: 0.0,
            day: -1,
            held_off: false,
            switch: (false, SWITCH_REPEATS),
            chance,
            hand: part("hand"),
        }
    }

    /// The time that it has reached.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// How it is built.
    pub fn spec(&self) -> &SumpSpec {
        &self.spec
    }

    /// Everything that went wrong so far, in the order of its beginning.
    pub fn happened(&self) -> &[Happened] {
        &self.faults.happened
    }

    /// Whether something is wrong in this way now.
    pub fn has(&self, kind: FaultKind) -> bool {
        self.faults.present(kind).is_some()
    }

    /// Lets [`STEP`] pass and reads the instruments: the switch before the
    /// gauges.
    pub fn step(&mut self, readings: &mut Vec<YearReading>) {
        let hours = STEP.secs_f64() / 3600.0;
        self.now = self.now + STEP;
        if day(self.now) != self.day {
            self.dawn();
        }
        self.faults.advance(self.now);
        self.lose(hours);
        self.leak(hours);
        self.warm(hours);
        self.wander(hours);
        if self.pumps_run() {
            self.stir(hours);
        }
        for instrument in &mut self.instruments {
            instrument.pass(hours);
        }
        self.report(readings);
    }

    fn dawn(&mut self) {
        self.day = day(self.now);
        let fresh = (1.0_f64 - WORK_KEPT * WORK_KEPT).sqrt() * WORK_DEVIATION;
        let memory = WORK_KEPT * self.work.1 + fresh * self.chance.normal();
        let idle = self.chance.share() < IDLE_DAYS;
        self.work = (
            if idle {
                0.0
            } else {
                (1.0 + memory).clamp(0.3, 1.8)
            },
            memory,
        );
        let fresh = (1.0_f64 - WEATHER_KEPT * WEATHER_KEPT).sqrt() * WEATHER_K;
        self.weather_k = WEATHER_KEPT * self.weather_k + fresh * self.chance.normal();
    }

    fn works(&self) -> bool {
        self.work.0 > 0.0 && self.spec.shifts.work(self.now)
    }

    fn pumps_run(&self) -> bool {
        let stands = self.held_off || stands_still(self.now);
        let on = !self.spec.pumps_stop || self.spec.shifts.work(self.now);
        on && !stands && !self.has(FaultKind::PumpsStopped)
    }

    fn hall_c(&self) -> f64 {
        hall_c(self.now) + self.weather_k
    }

    /// Shares a day's losses out over its hours, so that a working day has what
    /// the layout says.
    fn lose(&mut self, hours: f64) {
        let at_work = self.spec.shifts.hours_a_day();
        let in_shift = 1.0 / (at_work + EVAPORATION_AT_REST * (24.0 - at_work));
        let warm = 1.0 + EVAPORATION_PER_KELVIN * (self.hall_c() - 20.5);
        let (evaporates, cuts) = match self.works() {
            true => (0.6 + 0.4 * self.work.0, self.work.0),
            false => (EVAPORATION_AT_REST, 0.0),
        };
        let still = if self.pumps_run() { 1.0 } else { 0.7 };
        let day = self.spec.working_l * hours;
        let vapour = day * self.spec.evaporation_a_day * in_shift * evaporates * warm * still;
        self.contents.evaporate(vapour.max(0.0));
        self.contents
            .take(day * self.spec.carry_off_a_day * cuts / at_work);
    }

    fn leak(&mut self, hours: f64) {
        if !self.faults.any() {
            return;
        }
        let an_hour = |fault: Option<&Planned>| fault.map_or(0.0, |fault| fault.size);
        let out = an_hour(self.faults.present(FaultKind::Leak));
        let into = an_hour(self.faults.present(FaultKind::WaterIngress));
        self.contents.take(out * self.spec.working_l * hours);
        self.put_in(into * self.spec.working_l * hours, 0.0);
    }

    fn tap(&self) -> Tap {
        if self.has(FaultKind::HardWater) {
            HARD
        } else {
            SOFT
        }
    }

    /// What does not fit runs over. What comes into an empty sump is what the
    /// instruments see.
    fn put_in(&mut self, litres: f64, strength_pct: f64) {
        let was_empty = self.contents.volume_l() <= 0.0;
        self.contents
            .add(Contents::fresh(litres, strength_pct, self.tap()));
        self.contents
            .take((self.contents.volume_l() - self.spec.max_l).max(0.0));
        if was_empty {
            self.nozzle_pct = self.contents.concentration_pct();
        }
    }

    fn warm(&mut self, hours: f64) {
        let heat = match (self.works(), self.pumps_run()) {
            (true, _) => HEAT_AT_WORK_K * (0.5 + 0.5 * self.work.0),
            (false, true) => HEAT_PUMPS_K,
            (false, false) => 0.0,
        };
        let towards = self.hall_c() + heat;
        self.temperature_c += (towards - self.temperature_c) * hours / HEAT_LAG_H;
    }

    fn wander(&mut self, hours: f64) {
        let fresh = PH_WANDER * (2.0 * hours / PH_WANDER_H).sqrt();
        self.ph_wander += fresh * self.chance.normal() - self.ph_wander * hours / PH_WANDER_H;
    }

    /// One turnover of the volume brings the nozzle all but 1/e of the way to
    /// the tank's concentration.
    fn stir(&mut self, hours: f64) {
        let litres = self.spec.circulation_l_per_min * 60.0 * hours;
        let turnovers = litres / self.contents.volume_l().max(1.0);
        let behind = self.contents.concentration_pct() - self.nozzle_pct;
        self.nozzle_pct += behind * (1.0 - (-turnovers).exp());
    }

    /// How far pH has fallen by souring.
    fn soured(&self) -> f64 {
        let sours = self.faults.present(FaultKind::Souring);
        sours.map_or(0.0, |sours| sours.grown(self.now))
    }

    fn cleaner(&self) -> f64 {
        let cleaner = self.faults.present(FaultKind::Cleaner);
        cleaner.map_or(0.0, |cleaner| {
            let hours = (self.now - cleaner.from).secs_f64() / 3600.0;
            cleaner.size * (-hours / CLEANER_FADES_H).exp()
        })
    }

    fn ph(&self) -> f64 {
        let strength = (self.nozzle_pct / self.spec.product.target_pct).max(0.01);
        self.spec.product.fresh_ph + self.ph_per_decade * strength.log10() + self.ph_wander
            - self.soured()
            + self.cleaner()
    }

    fn conductivity(&self) -> f64 {
        self.spec.product.conductivity_per_pct * self.nozzle_pct
            + HARDNESS_CONDUCTS * self.contents.hardness_mg_l()
            + CHLORIDE_CONDUCTS * self.contents.chloride_mg_l()
            + CLEANER_CONDUCTS * self.cleaner()
    }

    /// What a clean refractometer shows without error, °Bx.
    fn brix(&self) -> f64 {
        self.nozzle_pct / self.spec.product.factor + self.spec.water_zero_brix
    }

    fn oil_brix(&self) -> f64 {
        let oil = self.faults.present(FaultKind::TrampOil);
        oil.map_or(0.0, |oil| oil.grown(self.now))
    }

    fn level_m(&self) -> f64 {
        let back = if self.pumps_run() {
            0.0
        } else {
            self.spec.drain_back_l
        };
        let in_lines = self.spec.lines_l - back;
        self.spec.level_m(self.contents.volume_l() - in_lines)
    }

    fn before(&self, channel: Channel) -> f64 {
        match channel {
            Channel::Brix => self.brix(),
            Channel::Ph => self.ph(),
            Channel::Conductivity => self.conductivity(),
            Channel::Temperature => self.temperature_c,
            Channel::Level => self.level_m(),
            Channel::Pumps => f64::from(u8::from(self.pumps_run())),
        }
    }

    fn spoilt(&self, channel: Channel) -> Spoilt {
        if !self.faults.any() {
            return Spoilt::default();
        }
        let present = |kind| self.faults.present(kind);
        let size = |fault: Option<&Planned>| fault.map_or(0.0, |fault| fault.size);
        let mut spoilt = Spoilt {
            spikes: size(present(FaultKind::Spiking(channel))),
            frozen: present(FaultKind::Frozen(channel)).is_some(),
            ..Spoilt::default()
        };
        if channel == Channel::Brix {
            let film = present(FaultKind::FouledPrism).map_or(0.0, |film| film.grown(self.now));
            spoilt.lifted = film + self.oil_brix();
            if self.pumps_run() {
                spoilt.bubbles = size(present(FaultKind::Bubbles));
            }
        }
        // Foam needs the jets; it comes up within the hour and billows.
        if channel == Channel::Level
            && let Some(foam) = present(FaultKind::Foam)
            && self.pumps_run()
        {
            let risen = ((self.now - foam.from).secs_f64() / 3600.0).clamp(0.0, 1.0);
            spoilt.lifted = risen * foam.size / 1000.0;
            spoilt.scatter = 0.25 * spoilt.lifted;
        }
        spoilt
    }

    fn report(&mut self, readings: &mut Vec<YearReading>) {
        let runs = self.pumps_run();
        self.switch.1 += 1;
        let connected = !self.has(FaultKind::BrokerGone);
        if connected && (runs != self.switch.0 || self.switch.1 >= SWITCH_REPEATS) {
            self.switch = (runs, 0);
            readings.push(YearReading {
                channel: Channel::Pumps,
                value: f64::from(u8::from(runs)),
            });
        }
        for (place, channel) in Channel::GAUGES.into_iter().enumerate() {
            let (truth, spoilt) = (self.before(channel), self.spoilt(channel));
            let shown = self.instruments[place].read(truth, &spoilt);
            if connected && !self.has(FaultKind::Silent(channel)) {
                let value = self.sent(channel, shown);
                readings.push(YearReading { channel, value });
            }
        }
    }

    /// In the channel's unit, or as a current of its loop, to the microampere.
    fn sent(&self, channel: Channel, shown: f64) -> f64 {
        let on_loop = match channel {
            Channel::Brix => self.spec.loops.0,
            Channel::Level => self.spec.loops.1,
            _ => false,
        };
        if !on_loop {
            return shown;
        }
        if self.has(FaultKind::BrokenLoop(channel)) {
            return 0.0;
        }
        let (low, high) = channel.loop_range();
        let current = 4.0 + 16.0 * (shown - low) / (high - low);
        (1000.0 * current.clamp(3.8, 20.5)).round() / 1000.0
    }

    /// What is true of it now.
    pub fn truth(&self) -> Truth {
        let mut off = [0.0; 5];
        for ((off, instrument), channel) in
            off.iter_mut().zip(&self.instruments).zip(Channel::GAUGES)
        {
            *off = instrument.offset() + self.spoilt(channel).lifted;
        }
        Truth {
            volume_l: self.contents.volume_l(),
            concentration_pct: self.contents.concentration_pct(),
            nozzle_pct: self.nozzle_pct,
            ph: self.ph(),
            hardness_mg_l: self.contents.hardness_mg_l(),
            chloride_mg_l: self.contents.chloride_mg_l(),
            temperature_c: self.temperature_c,
            pumps_run: self.pumps_run(),
            works: self.works(),
            held_off: self.held_off,
            off,
        }
    }

    /// What the mixer gives now, %.
    pub fn mixer_gives_pct(&self) -> f64 {
        let by = |kind| self.faults.present(kind).map_or(1.0, |fault| fault.size);
        self.spec.mixer_pct * by(FaultKind::MixerLean) * by(FaultKind::MixerRich)
    }

    /// Puts in premix of which somebody measured out `litres`; strength 0 is
    /// water, 100 concentrate. Tells how much it really was, L.
    pub fn add(&mut self, litres: f64, strength_pct: f64) -> f64 {
        let really = (litres * (1.0 + METERING * self.hand.normal())).max(0.0);
        self.put_in(really, strength_pct);
        really
    }

    /// Lets out mix of which somebody measured `litres`; tells how much it
    /// really was, L.
    pub fn drain(&mut self, litres: f64) -> f64 {
        let really = litres * (1.0 + METERING * self.hand.normal());
        self.contents.take(really.max(0.0))
    }

    /// The pumps are held off for work on the sump, or let run again.
    pub fn hold_off(&mut self, off: bool) {
        self.held_off = off;
    }

    /// Cleaned out: of what is left nothing sours, and no oil floats on it.
    pub fn clean_out(&mut self) {
        self.contents = Contents::default();
        self.nozzle_pct = 0.0;
        for kind in [FaultKind::Souring, FaultKind::TrampOil, FaultKind::Cleaner] {
            self.mend(kind);
        }
    }

    /// Wipes or calibrates an instrument; `true` if it took a film off.
    pub fn set_right(&mut self, channel: Channel) -> bool {
        let gauges = self.instruments.iter_mut().zip(Channel::GAUGES);
        for (instrument, _) in gauges.filter(|(_, one)| *one == channel) {
            instrument.set_right();
        }
        channel == Channel::Brix && self.mend(FaultKind::FouledPrism)
    }

    /// Mends a fault; `false` if it was not there.
    pub fn mend(&mut self, kind: FaultKind) -> bool {
        self.faults.mend(kind, self.now)
    }

    fn tenth(&mut self, truth: f64, deviation: f64) -> f64 {
        (10.0 * (truth + deviation * self.hand.normal())).round() / 10.0
    }

    /// A hand refractometer on a sample of the sump, °Bx: tramp oil lifts it as
    /// it lifts the inline one.
    pub fn hand_brix(&mut self) -> f64 {
        self.tenth(self.brix() + self.oil_brix(), HAND_BRIX)
            .max(0.0)
    }

    /// A hand refractometer at the mixer's outlet, °Bx.
    pub fn mixer_brix(&mut self) -> f64 {
        let truth = self.mixer_gives_pct() / self.spec.product.factor + self.spec.water_zero_brix;
        self.tenth(truth, HAND_BRIX).max(0.0)
    }

    /// A pH meter.
    pub fn hand_ph(&mut self) -> f64 {
        self.tenth(self.ph(), HAND_PH)
    }

    /// Titration, %: it does not see oil.
    pub fn titrated_pct(&mut self) -> f64 {
        let truth = self.nozzle_pct * (1.0 + HAND_TESTS / 2.0 * self.hand.normal());
        (10.0 * truth).round() / 10.0
    }

    /// Hardness and chloride by a test set, mg/L.
    pub fn hand_minerals(&mut self) -> (f64, f64) {
        let hardness = self.contents.hardness_mg_l() * (1.0 + HAND_TESTS * self.hand.normal());
        let chloride = self.contents.chloride_mg_l() * (1.0 + HAND_TESTS * self.hand.normal());
        (hardness.round(), chloride.round())
    }

    /// Nitrite by a test strip, mg/L: nothing here brings any.
    pub fn hand_nitrite(&mut self) -> f64 {
        self.hand.between(0.0, 6.0).round()
    }

    /// A dip slide, to the power of ten, CFU/mL.
    pub fn dip_slide(&mut self) -> f64 {
        let decades = 2.5 + 4.5 * self.sourness() + 0.4 * self.hand.normal();
        10_f64.powf(decades.clamp(2.0, 7.0).round())
    }

    /// How it smells.
    pub fn smells(&self) -> Smells {
        match self.sourness() {
            share if share > 0.7 => Smells::Bad,
            share if share > 0.35 => Smells::Stale,
            _ => Smells::Fresh,
        }
    }

    /// How far souring has come, 0 to 1.
    pub fn sourness(&self) -> f64 {
        let sours = self.faults.present(FaultKind::Souring);
        sours.map_or(0.0, |sours| sours.grown(self.now) / sours.size)
    }

    /// The volume in the tank as a glance at its gauge tells, as a share of the
    /// working volume with the pumps running.
    pub fn filled(&self) -> f64 {
        self.contents.volume_l() / self.spec.working_l
    }

    /// Whether maintenance is there.
    pub fn crew_is_there(&self) -> bool {
        calendar::crew_is_there(self.now)
    }
}
