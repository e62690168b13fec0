//! One sump whose truth is known, with losses, instruments and deeds as a test
//! wants them: what the model makes of its readings is held against it.

use crate::units::{Span, Timestamp};

use super::plant::{Mix, Tank};
use super::random::Random;

/// What an hour of evaporation while nothing is cut is of one while machines
/// cut (invented, of the size seen in practice).
const EVAPORATION_AT_REST: f64 = 0.35;

/// Everything about the sump that does not change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialSpec {
    /// The tank that the level probe stands in.
    pub tank: Tank,
    /// Fluid in pipes and machines while the pumps run, L.
    pub lines_l: f64,
    /// What of it runs back into the tank when they stop, L.
    pub drain_back_l: f64,
    /// Volume at the start, lines included, L.
    pub volume_l: f64,
    /// Concentration at the start, %.
    pub concentration_pct: f64,
    /// Flow of the circulation pumps, L/min.
    pub circulation_l_per_min: f64,
    /// Water lost as vapour while machines cut, L/h.
    pub evaporation_l_per_h: f64,
    /// Mix lost with parts and chips while machines cut, L/h.
    pub carry_off_l_per_h: f64,
    /// How uneven both losses are from hour to hour, as a share, each hour by
    /// itself.
    pub uneven: f64,
    /// Hours of the day in which machines cut, the same on every day.
    pub working: (f64, f64),
    /// Whether the pumps stop while nothing is cut.
    pub pumps_stop: bool,
    /// Per cent of concentration to a degree Brix.
    pub factor: f64,
    /// What the refractometer reads in water, °Bx.
    pub water_zero_brix: f64,
    /// How the instruments err.
    pub errors: TrialErrors,
    /// Time from one reading to the next.
    pub interval: Span,
}

/// How the instruments of a trial err, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TrialErrors {
    /// Of one refractometer reading, each by itself, °Bx.
    pub brix: f64,
    /// Of the refractometer's wandering, °Bx.
    pub brix_wander: f64,
    /// How long the wandering takes to forget itself, h.
    pub wander_hours: f64,
    /// Of what the refractometer has drifted after ten days, °Bx; it drifts
    /// evenly until it is wiped.
    pub brix_drift: f64,
    /// Of one level reading, each by itself, m.
    pub level_m: f64,
    /// Of the amounts that people measure out, as a share.
    pub metering: f64,
}

/// What the instruments say at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TrialReading {
    /// When.
    pub time: Timestamp,
    /// The refractometer, °Bx.
    pub brix: f64,
    /// The level probe, m.
    pub level_m: f64,
    /// Whether the pumps run.
    pub pumps_run: bool,
}

/// The sump.
#[derive(Debug, Clone)]
pub struct Trial {
    spec: TrialSpec,
    now: Timestamp,
    wiped: Timestamp,
    mix: Mix,
    nozzle_pct: f64,
    evaporated_l: f64,
    carried_off_l: f64,
    leak_l_per_h: f64,
    ingress_l_per_h: f64,
    wander: f64,
    drift_a_day: f64,
    chance: [Random; 5],
}

impl Trial {
    /// The sump as it stands at `start`.
    pub fn new(spec: &TrialSpec, seed: u64, start: Timestamp) -> Trial {
        let mut chance = ["brix", "level", "wander", "metering", "losses"]
            .map(|part| Random::for_part(seed, &format!("trial/{part}")));
        let wander = spec.errors.brix_wander * chance[2].normal();
        let drift_a_day = spec.errors.brix_drift * chance[2].normal() / 10.0;
        Trial {
            spec: *spec,
            now: start,
            wiped: start,
            mix: Mix::fresh(spec.volume_l, spec.concentration_pct),
            nozzle_pct: spec.concentration_pct,
            evaporated_l: 0.0,
            carried_off_l: 0.0,
            leak_l_per_h: 0.0,
            ingress_l_per_h: 0.0,
            wander,
            drift_a_day,
            chance,
        }
    }

    /// The time that the sump has reached.
    pub fn now(&self) -> Timestamp {
        self.now
    }

    /// What is in it.
    pub fn mix(&self) -> Mix {
        self.mix
    }

    /// Water that went as vapour since the start, L.
    pub fn evaporated_l(&self) -> f64 {
        self.evaporated_l
    }

    /// Mix that went with parts and chips since the start, L.
    pub fn carried_off_l(&self) -> f64 {
        self.carried_off_l
    }

    /// Whether machines cut at this time.
    pub fn cuts(&self) -> bool {
        let hour = (self.now.millis().rem_euclid(86_400_000)) as f64 / 3_600_000.0;
        (self.spec.working.0..self.spec.working.1).contains(&hour)
    }

    /// Puts in premix of which somebody measured out `litres`; tells how much
    /// it really was, L. Strength 0 is water, 100 concentrate.
    pub fn add(&mut self, litres: f64, strength_pct: f64) -> f64 {
        let really = litres * (1.0 + self.spec.errors.metering * self.chance[3].normal());
        self.mix.add(Mix::fresh(really, strength_pct));
        really
    }

    /// Lets out mix.
    pub fn drain(&mut self, litres: f64) {
        self.mix.take(litres);
    }

    /// Wipes the refractometer: what it has drifted is gone, and it drifts
    /// anew.
    pub fn wipe(&mut self) {
        self.wiped = self.now;
        self.drift_a_day = self.spec.errors.brix_drift * self.chance[2].normal() / 10.0;
    }

    /// From now on so much mix leaks out, L/h.
    pub fn leak(&mut self, litres_per_hour: f64) {
        self.leak_l_per_h = litres_per_hour;
    }

    /// From now on so much water runs in unseen, L/h.
    pub fn let_water_in(&mut self, litres_per_hour: f64) {
        self.ingress_l_per_h = litres_per_hour;
    }

    /// Lets one interval pass and reads the instruments.
    pub fn step(&mut self) -> TrialReading {
        let hours = self.spec.interval.secs_f64() / 3600.0;
        self.now = self.now + self.spec.interval;
        self.lose(hours);
        self.err(hours);
        let runs = self.pumps_run();
        if runs {
            self.stir(hours);
        }
        self.read(runs)
    }

    fn lose(&mut self, hours: f64) {
        let evaporation = self.spec.evaporation_l_per_h * self.unevenly(hours);
        if self.cuts() {
            self.evaporated_l += self.mix.evaporate(evaporation);
            let carry_off = self.spec.carry_off_l_per_h * self.unevenly(hours);
            let carried = self.mix.take(carry_off);
            self.carried_off_l += carried.volume_l();
        } else {
            self.evaporated_l += self.mix.evaporate(EVAPORATION_AT_REST * evaporation);
        }
        self.mix.take(self.leak_l_per_h * hours);
        self.mix.add(Mix::fresh(self.ingress_l_per_h * hours, 0.0));
    }

    /// So many hours count for more or less than that: by `uneven` after one hour,
    /// and by √n as much after n.
    fn unevenly(&mut self, hours: f64) -> f64 {
        if self.spec.uneven == 0.0 {
            return hours;
        }
        let off = self.spec.uneven * hours.sqrt() * self.chance[4].normal();
        (hours + off).max(0.0)
    }

    /// The wandering is a first-order autoregression in time, so that it keeps
    /// its deviation.
    fn err(&mut self, hours: f64) {
        let errors = self.spec.errors;
        if errors.brix_wander > 0.0 {
            let kept = (-hours / errors.wander_hours).exp();
            let fresh = errors.brix_wander * (1.0 - kept * kept).sqrt();
            self.wander = kept * self.wander + fresh * self.chance[2].normal();
        }
    }

    fn stir(&mut self, hours: f64) {
        let turnovers = self.spec.circulation_l_per_min * 60.0 * hours / self.mix.volume_l();
        let behind = self.mix.concentration_pct() - self.nozzle_pct;
        self.nozzle_pct += behind * (1.0 - (-turnovers).exp());
    }

    fn pumps_run(&self) -> bool {
        !self.spec.pumps_stop || self.cuts()
    }

    fn read(&mut self, pumps_run: bool) -> TrialReading {
        let errors = self.spec.errors;
        let days = (self.now - self.wiped).secs_f64() / 86_400.0;
        let true_brix = self.nozzle_pct / self.spec.factor + self.spec.water_zero_brix;
        let in_lines = self.spec.lines_l
            - if pumps_run {
                0.0
            } else {
                self.spec.drain_back_l
            };
        let level = self.spec.tank.level_m_of(self.mix.volume_l() - in_lines);
        TrialReading {
            time: self.now,
            brix: true_brix
                + self.wander
                + self.drift_a_day * days
                + errors.brix * self.chance[0].normal(),
            level_m: level + errors.level_m * self.chance[1].normal(),
            pumps_run,
        }
    }
}
