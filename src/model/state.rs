//! What is known of a sump from point to point: volume, concentrate, losses
//! and the instruments' slow errors, all with their uncertainty.
//!
//! Between points
//!
//! ```text
//! dV/dt = −(E + D) + inflow        dm/dt = −D·m/V + strength·inflow
//! ```
//!
//! with the volume V, the concentrate m in it, the evaporation E (one rate while
//! machines work, one at rest) and the carry-off D (while they work). The
//! level shows V, with what has drained back from the lines while the pumps
//! stand; the refractometer shows m/V and two slow errors of its own: one that
//! forgets itself within hours, and a drift over weeks. The errors of a series
//! of readings are thus not taken for independent, and the intervals hold. The
//! drift is borne and not guessed at: readings cannot tell it from a change of
//! the losses, so it widens the intervals and moves no estimate.

mod found_anew;
mod open_step;

use serde::{Deserialize, Serialize};

use crate::units::{Measured, Timestamp};

use super::balance::Point;
use super::gaussian::Gaussian;
use super::setup::BalanceSetup;
pub use open_step::Step;

/// Places of what is known.
const V: usize = 0;
const M: usize = 1;
const E_WORK: usize = 2;
const E_REST: usize = 3;
const D: usize = 4;
const WANDER: usize = 5;
const DRIFT: usize = 6;
const DRIFT_RATE: usize = 7;
const DRAINED: usize = 8;
const LASTING: usize = 9;
const STEP_V: usize = 9;
const STEP_M: usize = 10;

/// Losses before anything is known, as shares of the working volume a day, and
/// how wrong that may be. Individual sumps lose 1–10 % a day, most of it by
/// evaporation (memory).
const E_BEFORE: (f64, f64) = (0.02, 0.05);
const D_BEFORE: (f64, f64) = (0.008, 0.03);

/// How losses change from one day to the next, as a share of the usual size
/// (choice: a tenth within three months).
const CHANGE_A_DAY: f64 = 0.01;
/// The least usual size, as a share of the working volume a day.
const LEAST_USUAL: f64 = 0.01;
/// How uneven losses are from hour to hour, as a share (choice: a machine that
/// works every second hour has 0.5 over some hours, a central system far less).
pub(super) const UNEVENNESS: f64 = 0.1;

/// How long the concentration's wandering takes to forget itself, h (choice:
/// the length of a shift).
pub(super) const WANDER_HOURS: f64 = 6.0;
/// How long its drift takes to, h (choice: a month, about the time from one
/// thorough cleaning to the next).
const DRIFT_HOURS: f64 = 30.0 * 24.0;
/// How long it goes on drifting in one direction, h (choice).
const DRIFTS_ON_HOURS: f64 = 10.0 * 24.0;
/// What an instrument drifts in ten days as a multiple of ten days at its usual
/// rate, which forgets itself in ten days: √(2(T/τ − 1 + e^(−T/τ))) with T = τ.
const DRIFTED: f64 = 0.857_763_884_960_706_8;

/// How much volume may come or go unseen from one point to the next while
/// something runs that has no place here, as a share of the working volume
/// (choice: a hundredth in an hour, more than leaks bring and less than steps).
const LOOSE: f64 = 0.001;

/// Below this share of the working volume a tank is being emptied or filled.
const EMPTY: f64 = 0.3;
/// An empty tank is taken to hold so much, L, so that nothing is divided by
/// nothing.
const LEAST_VOLUME: f64 = 0.1;

/// Of the drained-back volume where the settings say how much, and how it
/// differs from one stop to the next, as shares.
const DRAINED_KNOWN: f64 = 0.3;
const DRAINED_DIFFERS: f64 = 0.05;

/// What is known of a sump at one time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct State {
    known: Gaussian,
    time: Timestamp,
    /// Of the concentration's wandering, %, once it is learned.
    #[serde(default)]
    wander_pct: Option<f64>,
}

/// Rates of loss.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rates {
    /// Evaporation while machines work, L/h.
    pub(super) evaporation_at_work: Measured,
    /// Evaporation at rest, L/h.
    pub(super) evaporation_at_rest: Measured,
    /// Carry-off while machines work, L/h.
    pub(super) carry_off: Measured,
    /// Evaporation and carry-off together while machines work, L/h.
    pub(super) both_at_work: Measured,
}

/// How things stand while time passes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Regime {
    /// Machines work.
    pub(super) working: bool,
    /// The pumps are known to stand.
    pub(super) stopped: bool,
}

impl State {
    /// What is known from the first point: its volume in L and concentration
    /// in %, each with its variance.
    pub(super) fn new(
        setup: &BalanceSetup,
        time: Timestamp,
        volume: (f64, f64),
        concentration: (f64, f64),
    ) -> Self {
        let hourly = setup.working_volume_l / 24.0;
        let before = |(mean, deviation): (f64, f64)| (mean * hourly, (deviation * hourly).powi(2));
        let share = concentration.0 / 100.0;
        let concentrate_variance = concentration.1 * (volume.0 / 100.0).powi(2);
        let drained = match setup.drain_back_l {
            Some(litres) => (litres, (DRAINED_KNOWN * litres).powi(2)),
            None => (0.0, setup.lines_l.powi(2)),
        };
        let mut known = Gaussian::independent(&[
            (volume.0, volume.1),
            (share * volume.0, concentrate_variance),
            before(E_BEFORE),
            before(E_BEFORE),
            before(D_BEFORE),
            (0.0, setup.errors.wander_pct.powi(2)),
            (0.0, 0.0),
            (0.0, 0.0),
            drained,
        ]);
        known.bear(DRIFT_RATE, drift_rate(setup).powi(2));
        known.mix_in(M, &[(V, share)], 0.0);
        State {
            known,
            time,
            wander_pct: None,
        }
    }

    /// Whether every number of it is one.
    pub(super) fn is_sound(&self) -> bool {
        self.known.is_finite()
    }

    /// Nobody measures the volume: it is what it should be, and the concentrate
    /// follows what is read of the concentration.
    pub(super) fn pin_volume(&mut self, setup: &BalanceSetup) {
        let share = self.share().0;
        self.known.begin_anew(V, setup.working_volume_l, 0.0);
        let loose = (LOOSE * setup.working_volume_l * share).powi(2);
        self.known.shift(M, 0.0, loose);
    }

    /// The concentration has been found to wander by so much, % as a standard
    /// deviation.
    pub(super) fn wanders(&mut self, deviation_pct: f64) {
        self.wander_pct = Some(deviation_pct);
    }

    fn wander_pct(&self, setup: &BalanceSetup) -> f64 {
        self.wander_pct.unwrap_or(setup.errors.wander_pct)
    }

    /// By how much the concentration should rise until this point, %.
    pub(super) fn usual_rise_pct(&self, point: &Point) -> f64 {
        let hours = (point.time - self.time).secs_f64() / 3600.0;
        let (volume, concentrate) = self.usual_loss(point.working);
        let gain = point.metered_l - hours * volume;
        let of_concentrate = point.metered_concentrate_l - hours * concentrate;
        let (_, [(_, by_concentrate), (_, by_volume)]) = self.share();
        100.0 * (by_concentrate * of_concentrate + by_volume * gain)
    }

    /// The time up to which everything is taken in.
    pub(super) fn time(&self) -> Timestamp {
        self.time
    }

    /// The volume, L.
    pub(super) fn volume(&self) -> Measured {
        self.measured(V, 1.0)
    }

    /// The concentration, %, but for what the instrument was wrong by at the
    /// beginning.
    pub(super) fn concentration_pct(&self) -> Measured {
        let (share, row) = self.share();
        Measured::new(
            100.0 * share,
            100.0 * self.known.sum(&row).1.max(0.0).sqrt(),
        )
    }

    /// The rates of loss.
    pub(super) fn rates(&self) -> Rates {
        let (sum, variance) = self.known.sum(&[(E_WORK, 1.0), (D, 1.0)]);
        Rates {
            evaporation_at_work: self.measured(E_WORK, 1.0),
            evaporation_at_rest: self.measured(E_REST, 1.0),
            carry_off: self.measured(D, 1.0),
            both_at_work: Measured::new(sum, variance.max(0.0).sqrt()),
        }
    }

    /// What is usually lost by now in one hour of this regime: volume and
    /// concentrate, L.
    pub(super) fn usual_loss(&self, working: bool) -> (f64, f64) {
        if !working {
            return (self.known.mean(E_REST), 0.0);
        }
        let carry_off = self.known.mean(D);
        let volume = self.known.mean(E_WORK) + carry_off;
        (volume, carry_off * self.share().0)
    }

    /// Volume and concentrate, L.
    pub(super) fn contents(&self) -> (f64, f64) {
        (self.known.mean(V), self.known.mean(M))
    }

    /// A weighted sum of the three rates: evaporation at work and at rest,
    /// carry-off.
    pub(super) fn mean_rate(&self, weights: [f64; 3]) -> Measured {
        let [work, rest, off] = weights;
        let (sum, variance) = self.known.sum(&[(E_WORK, work), (E_REST, rest), (D, off)]);
        Measured::new(sum, variance.max(0.0).sqrt())
    }

    /// What drains back when the pumps stop, L.
    pub(super) fn drain_back(&self) -> Measured {
        self.measured(DRAINED, 1.0)
    }

    fn measured(&self, place: usize, scale: f64) -> Measured {
        let deviation = self.known.covariance(place, place).max(0.0).sqrt();
        Measured::new(scale * self.known.mean(place), scale * deviation)
    }

    /// The share of concentrate, and how it hangs on concentrate and volume.
    fn share(&self) -> (f64, [(usize, f64); 2]) {
        let volume = self.known.mean(V).max(LEAST_VOLUME);
        let share = self.known.mean(M) / volume;
        (share, [(M, 1.0 / volume), (V, -share / volume)])
    }

    /// Lets time pass up to `time` in one regime.
    pub(super) fn pass(&mut self, setup: &BalanceSetup, time: Timestamp, regime: Regime) {
        let hours = (time - self.time).secs_f64() / 3600.0;
        self.time = time;
        if hours <= 0.0 {
            return;
        }
        self.lose(setup, hours, regime.working);
        self.change(setup, hours);
        self.err(setup, hours);
    }

    fn lose(&mut self, setup: &BalanceSetup, hours: f64, working: bool) {
        let known = &mut self.known;
        if known.mean(V) < EMPTY * setup.working_volume_l {
            // What stands in an emptied tank teaches nothing of the losses.
            known.shift(V, 0.0, (LOOSE * setup.working_volume_l).powi(2));
            return;
        }
        if !working {
            let evaporation = known.mean(E_REST);
            known.mix_in(V, &[(E_REST, -hours)], -hours * evaporation);
            known.shift(V, 0.0, (UNEVENNESS * evaporation).powi(2) * hours);
            return;
        }
        let (volume, concentrate) = (known.mean(V), known.mean(M));
        let (evaporation, carry_off) = (known.mean(E_WORK), known.mean(D));
        let share = concentrate / volume;
        let lost = [
            (M, -hours * carry_off / volume),
            (V, hours * carry_off * share / volume),
            (D, -hours * share),
        ];
        known.mix_in(M, &lost, -hours * carry_off * share);
        known.mix_in(
            V,
            &[(E_WORK, -hours), (D, -hours)],
            -hours * (evaporation + carry_off),
        );
        let uneven = (UNEVENNESS * carry_off).powi(2) * hours;
        let vapour = (UNEVENNESS * evaporation).powi(2) * hours;
        known.shift(V, 0.0, uneven + vapour);
        known.shift(M, 0.0, uneven * share * share);
        known.add_covariance(V, M, uneven * share);
    }

    fn change(&mut self, setup: &BalanceSetup, hours: f64) {
        let least = LEAST_USUAL * setup.working_volume_l / 24.0;
        for rate in [E_WORK, E_REST, D] {
            let usual = self.known.mean(rate).abs().max(least);
            let variance = (CHANGE_A_DAY * usual).powi(2) * hours / 24.0;
            self.known.shift(rate, 0.0, variance);
        }
    }

    /// The instrument wanders within hours and drifts over weeks, evenly for
    /// days on end.
    fn err(&mut self, setup: &BalanceSetup, hours: f64) {
        self.known.fade(DRIFT, (-hours / DRIFT_HOURS).exp());
        let rate = self.known.mean(DRIFT_RATE);
        self.known
            .mix_in(DRIFT, &[(DRIFT_RATE, hours)], hours * rate);
        let fresh = |deviation: f64, kept: f64| deviation * deviation * (1.0 - kept * kept);
        let kept = (-hours / WANDER_HOURS).exp();
        self.known.fade(WANDER, kept);
        self.known
            .shift(WANDER, 0.0, fresh(self.wander_pct(setup), kept));
        let kept = (-hours / DRIFTS_ON_HOURS).exp();
        self.known.fade(DRIFT_RATE, kept);
        self.known.bear(DRIFT_RATE, fresh(drift_rate(setup), kept));
    }

    /// The pumps started or stopped.
    pub(super) fn pumps_changed(&mut self) {
        let differs = DRAINED_DIFFERS * self.known.mean(DRAINED);
        self.known.shift(DRAINED, 0.0, differs * differs);
    }

    /// What the level is expected to show as volume, L, and the variance of
    /// that.
    pub(super) fn expected_volume(&self, regime: Regime) -> (f64, f64) {
        self.known.expected(volume_row(regime))
    }

    /// What the instrument is expected to show as concentration, %, and the
    /// variance of that.
    pub(super) fn expected_concentration(&self) -> (f64, f64) {
        let (share, [m, v]) = self.share();
        let row = [
            (m.0, 100.0 * m.1),
            (v.0, 100.0 * v.1),
            (WANDER, 1.0),
            (DRIFT, 1.0),
        ];
        let slow = self.known.mean(WANDER) + self.known.mean(DRIFT);
        (100.0 * share + slow, self.known.expected(&row).1)
    }

    /// Takes in a volume by level, L.
    pub(super) fn learn_volume(&mut self, volume: f64, variance: f64, regime: Regime) {
        let row = volume_row(regime);
        let surprise = volume - self.known.expected(row).0;
        self.known.learn(row, surprise, variance);
    }

    /// Takes in a concentration as the instrument shows it, %.
    pub(super) fn learn_concentration(&mut self, concentration: f64, variance: f64) {
        let surprise = concentration - self.expected_concentration().0;
        let (_, [m, v]) = self.share();
        let row = [
            (m.0, 100.0 * m.1),
            (v.0, 100.0 * v.1),
            (WANDER, 1.0),
            (DRIFT, 1.0),
        ];
        self.known.learn(&row, surprise, variance);
    }

    /// So much went in (or, negative, out) by a measure that errs by `metering`
    /// of it.
    pub(super) fn put_in(&mut self, litres: f64, strength_pct: f64, metering: f64) {
        let share = strength_pct / 100.0;
        let variance = (metering * litres).powi(2);
        self.known.shift(V, litres, variance);
        self.known
            .shift(M, share * litres, share * share * variance);
        self.known.add_covariance(V, M, share * variance);
    }

    /// Something runs that has no place here: for now volume and concentrate are
    /// followed, and nothing is learned of the losses.
    pub(super) fn loosen(&mut self, setup: &BalanceSetup) {
        let share = self.share().0;
        let variance = (LOOSE * setup.working_volume_l).powi(2);
        self.known.shift(V, 0.0, variance);
        self.known.shift(M, 0.0, (share * share + 1e-4) * variance);
        self.known.add_covariance(V, M, share * variance);
    }

    /// The same of concentrate alone.
    pub(super) fn loosen_concentrate(&mut self, setup: &BalanceSetup) {
        let variance = (LOOSE * setup.working_volume_l * self.share().0).powi(2);
        self.known.shift(M, 0.0, variance);
    }
}

/// The usual rate of drift, % an hour.
fn drift_rate(setup: &BalanceSetup) -> f64 {
    setup.errors.drift_pct / (DRIFTED * DRIFTS_ON_HOURS)
}

/// What the level shows: the volume, and what drained back.
fn volume_row(regime: Regime) -> &'static [(usize, f64)] {
    match regime.stopped {
        true => &[(V, 1.0), (DRAINED, 1.0)],
        false => &[(V, 1.0)],
    }
}
