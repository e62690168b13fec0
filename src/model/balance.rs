//! The balance of one sump: points and entries go in, movements and loss rates
//! come out.
//!
//! Points wait a little before they are taken in, so that a step is seen
//! before it is mistaken for a change of the losses. While something moves
//! nothing is taken in; once it has settled a step of unknown size is opened,
//! which the points after it tell; and once they have told enough it is held
//! against what people wrote down, named, and closed.

mod anew;
mod point;
#[cfg(test)]
mod tests;

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{Measured, Span, Timestamp};

use super::departure::{Departure, DepartureWatch};
use super::ledger::{SEEN_WITHIN, Witness};
use super::losses::NotIdentifiable;
use super::movement::{Logged, Movement};
use super::noise::Noise;
use super::setup::BalanceSetup;
use super::state::{Regime, State};
use super::steps::LEAST_STEP;
use super::wander::Wander;
pub use point::{Point, Response, Told};

/// Points that wait.
pub(super) const WAIT: usize = 6;
/// What moves for more points than this goes on. (choice: an hour)
const MOST_WAITING: usize = 12;
/// After mixing, points of the concentration go on telling about a step for so
/// long.
const TELLING: Span = Span::from_hours(4);
/// For so long where it is still unsure what the step was: by then the
/// concentration's wandering has averaged out somewhat (choice: twice its time).
const TELLING_UNSURE: Span = Span::from_hours(12);
/// At least so many points of the concentration tell about a step.
pub(super) const LEAST_TELLING: u32 = 12;
/// A step is closed after this at the latest.
const LONGEST: Span = Span::from_hours(24);
/// The level is not looked at for so long after the pumps started or stopped.
const RUNNING_BACK: Span = Span::from_mins(15);
/// Without a point for so long nobody knows what happened.
const PAUSE: Span = Span::from_hours(2);
/// After a step or a change of the pumps the volume is well known again after
/// this.
const SETTLING: Span = Span::from_mins(60);
/// Departures from the usual losses are told once these are known, d.
const LEARNING_DAYS: f64 = 4.0;
/// A point further off than this counts less.
const ODD: f64 = 4.0;
/// Over so many days the usual share of working hours is taken.
const WORKED_OVER_DAYS: f64 = 7.0;

/// The memory of the balance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Balance {
    pub(super) state: Option<State>,
    pub(super) begun: Timestamp,
    pub(super) waiting: VecDeque<Point>,
    pub(super) moving: bool,
    pub(super) open: Option<OpenStep>,
    pub(super) volume_noise: Noise,
    pub(super) concentration_noise: Noise,
    /// How far the concentration wanders.
    #[serde(default)]
    pub(super) wander: Wander,
    pub(super) logged: VecDeque<Logged>,
    pub(super) movements: VecDeque<Movement>,
    pub(super) pumps: Option<Pumps>,
    /// Concentration is not looked at until then: something is being mixed in.
    pub(super) mixing_until: Timestamp,
    pub(super) work: Work,
    pub(super) departure: DepartureWatch,
    /// Somebody touched the level's instrument: what it shows next is no step.
    #[serde(default)]
    pub(super) level_touched: bool,
    /// The last time in which nobody listened.
    #[serde(default)]
    pub(super) pause: Option<(Timestamp, Timestamp)>,
    /// Whether the level could have shown what was written down.
    #[serde(default)]
    pub(super) witness: Witness,
}

/// Hours in which machines work.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(super) struct Work {
    /// Of a day, of late; none before the first day is over.
    usual: Option<f64>,
    /// Since the present day of 24 hours began.
    hours: f64,
    /// How long ago that is, h.
    passed: f64,
}

/// A step that is open.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct OpenStep {
    pub(super) since: Timestamp,
    pub(super) until: Timestamp,
    /// Share of concentrate before.
    pub(super) share: f64,
    /// How uncertain that is with all that the instrument has drifted.
    #[serde(default)]
    pub(super) doubt: f64,
    /// Volume before, L.
    pub(super) volume: f64,
    /// Points of the concentration after mixing.
    pub(super) told: u32,
    /// What was in the sump before was not known: another step had not been
    /// told about yet.
    #[serde(default)]
    pub(super) amid: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(super) struct Pumps {
    run: bool,
    since: Timestamp,
}

impl Balance {
    /// A balance that has seen nothing yet.
    pub fn new(setup: &BalanceSetup) -> Self {
        Balance {
            state: None,
            begun: Timestamp::MIN,
            waiting: VecDeque::with_capacity(WAIT),
            moving: false,
            open: None,
            volume_noise: Noise::new(setup.errors.volume_l),
            concentration_noise: Noise::new(setup.errors.concentration_pct),
            wander: Wander::default(),
            logged: VecDeque::new(),
            movements: VecDeque::new(),
            pumps: None,
            mixing_until: Timestamp::MIN,
            work: Work::default(),
            departure: DepartureWatch::default(),
            level_touched: false,
            pause: None,
            witness: Witness::default(),
        }
    }

    /// What was written down and waits for its step in the readings.
    pub fn waiting(&self) -> impl Iterator<Item = &Logged> {
        self.logged.iter()
    }

    /// The newest movements, oldest first.
    pub fn movements(&self) -> impl DoubleEndedIterator<Item = &Movement> {
        self.movements.iter()
    }

    /// The volume as level and balance tell it together, L, lines included;
    /// nothing from when the sump was filled anew until it is seen how full.
    pub fn volume_l(&self) -> Option<Measured> {
        let of_this_charge = self.begun != Timestamp::MIN;
        let state = self.state.as_ref().filter(|_| of_this_charge);
        state.map(State::volume)
    }

    /// For how long the pumps have run at `now`, nothing while they stand; none
    /// where they were never seen to start.
    pub fn pumps_ran_for(&self, now: Timestamp) -> Option<Span> {
        let pumps = self.pumps.filter(|one| one.since != Timestamp::MIN)?;
        Some(if pumps.run {
            now - pumps.since
        } else {
            Span::ZERO
        })
    }

    /// Whether something goes in or out just now, or has of late and is not told
    /// about yet.
    pub fn is_settling(&self) -> bool {
        self.moving || self.open.is_some()
    }

    /// Whether something that the level shows has gone in or out of late, and still
    /// mixes at `now`; not of what goes on for long.
    pub fn mixes_unseen(&self, setup: &BalanceSetup, now: Timestamp) -> bool {
        let begins = self.moving && self.waiting.len() <= MOST_WAITING;
        let mixes = |open: OpenStep| now < open.until + setup.mixing;
        begins || self.open.is_some_and(mixes)
    }

    /// Concentration, %, and volume, L, that are to be expected at `time`, by what
    /// was there and what is lost; none while something moved of which it is not
    /// known yet what, but a step of the concentration alone, before which it is.
    pub fn expected(
        &self,
        setup: &BalanceSetup,
        time: Timestamp,
        working: bool,
    ) -> Option<(Measured, Measured)> {
        let mut state = self.state.clone()?;
        let alone = self.open.is_none_or(|open| open.since == open.until);
        if self.begun == Timestamp::MIN || self.moving || !alone || !self.logged.is_empty() {
            return None;
        }
        if let Some(open) = self.open {
            let percent = Measured::new(100.0 * open.share, 100.0 * open.doubt);
            return Some((percent, state.volume()));
        }
        for point in &self.waiting {
            state.pass(setup, point.time, point.regime());
            if point.metered_l != 0.0 {
                return None;
            }
        }
        let regime = Regime {
            working,
            stopped: false,
        };
        state.pass(setup, time, regime);
        let (percent, variance) = state.expected_concentration();
        let variance = variance + self.concentration_noise.variance();
        let percent = Measured::new(percent, variance.max(0.0).sqrt());
        Some((percent, state.volume()))
    }

    /// What drains back from the lines when the pumps stop, L.
    pub fn drain_back_l(&self) -> Option<Measured> {
        self.state.as_ref().map(State::drain_back)
    }

    /// What is lost or gained beyond what is usual, if anything is.
    pub fn departure(&self) -> Option<&Departure> {
        self.departure.told()
    }

    /// What is known of the sump.
    pub(super) fn state(&self) -> Option<&State> {
        self.state.as_ref()
    }

    /// When the first point was taken in.
    pub(super) fn begun(&self) -> Timestamp {
        self.begun
    }

    /// Hours of a day in which machines work, of late.
    pub(super) fn worked_hours(&self) -> f64 {
        self.work.usual.unwrap_or(24.0)
    }

    /// Takes in the next point, in order of time.
    pub fn take(&mut self, setup: &BalanceSetup, point: Point, out: &mut Vec<Told>) {
        let point = self.looked_at(setup, point);
        let Some(state) = &self.state else {
            self.begin(setup, &point);
            return;
        };
        let last = self.waiting.back().map_or(state.time(), |last| last.time);
        if self.level_touched && point.volume_l.is_some() {
            self.take_level_as_found(setup, &point, out);
            return;
        }
        let starts_over = self.begun == Timestamp::MIN;
        if point.time <= last && !starts_over {
            return;
        }
        if point.time - last > PAUSE && !starts_over {
            self.bridge(setup, &point, out);
            return;
        }
        if let Some(litres) = point.volume_l {
            self.witness.see(point.time, litres);
        }
        self.learn_noise(&point);
        self.waiting.push_back(point);
        if self.moving {
            self.settle(setup, out);
        } else {
            self.look_for_step(setup, out);
        }
        while !self.moving && self.waiting.len() > WAIT {
            self.apply_oldest(setup, out);
        }
        self.judge_unseen(setup, out);
    }

    /// What of the point may be looked at, as things stand.
    fn looked_at(&mut self, setup: &BalanceSetup, mut point: Point) -> Point {
        if let Some(run) = point.pumps_run
            && self.pumps.is_none_or(|pumps| pumps.run != run)
        {
            let since = self.pumps.map_or(Timestamp::MIN, |_| point.time);
            self.pumps = Some(Pumps { run, since });
            self.volume_noise.interrupt();
            self.wander.interrupt();
            if let Some(state) = &mut self.state {
                state.pumps_changed();
            }
        }
        if let Some(pumps) = self.pumps {
            let changed = point.time - pumps.since;
            if changed < RUNNING_BACK {
                point.volume_l = None;
            }
            // What stands in the cell is not what is in the tank.
            if !pumps.run || changed < setup.mixing {
                point.concentration_pct = None;
            }
        }
        if point.metered_l > LEAST_STEP * setup.working_volume_l {
            self.mixing_until = self.mixing_until.max(point.time + setup.mixing);
        }
        point
    }

    fn learn_noise(&mut self, point: &Point) {
        match point.volume_l {
            Some(litres) => self.volume_noise.step(litres),
            None => self.volume_noise.interrupt(),
        }
        match point.concentration_pct {
            Some(percent) => self.concentration_noise.step(percent),
            None => self.concentration_noise.interrupt(),
        }
    }

    /// Lets the oldest point's time pass, but does not look at what it says.
    pub(super) fn pass_over_oldest(&mut self, setup: &BalanceSetup) {
        if let Some(point) = self.waiting.pop_front() {
            self.pass(setup, &point);
        }
    }

    fn pass(&mut self, setup: &BalanceSetup, point: &Point) {
        let Some(state) = &mut self.state else { return };
        let hours = (point.time - state.time()).secs_f64() / 3600.0;
        self.work.pass(hours, point.working);
        state.pass(setup, point.time, point.regime());
        if point.metered_l != 0.0 {
            let strength = 100.0 * point.metered_concentrate_l / point.metered_l;
            state.put_in(point.metered_l, strength, setup.errors.metering);
        }
        if !setup.level_measured {
            state.pin_volume(setup);
        }
    }

    pub(super) fn apply_oldest(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let Some(point) = self.waiting.pop_front() else {
            return;
        };
        if self.begun == Timestamp::MIN {
            self.start_over(setup, &point);
            return;
        }
        let rise = self
            .state
            .as_ref()
            .map_or(0.0, |state| state.usual_rise_pct(&point));
        self.pass(setup, &point);
        self.learn_wander(setup, &point, rise);
        let Some(state) = &mut self.state else { return };
        if let Some(litres) = point.volume_l {
            let noise = self.volume_noise.variance();
            let regime = point.regime();
            let variance = toned_down(litres, state.expected_volume(regime), noise);
            state.learn_volume(litres, variance, regime);
        }
        if let Some(percent) = point.concentration_pct
            && point.time >= self.mixing_until
        {
            let noise = self.concentration_noise.variance();
            let variance = toned_down(percent, state.expected_concentration(), noise);
            state.learn_concentration(percent, variance);
            if let Some(open) = &mut self.open {
                open.told += 1;
            }
        }
        if self.has_told(setup, point.time) {
            self.close_step(setup, None, out);
        }
        self.watch_departure(setup, &point, out);
        self.drop_if_unsound();
    }

    /// Learns how far the concentration wanders where nothing but the losses
    /// changes it; `rise` is what those do since the last point, %.
    fn learn_wander(&mut self, setup: &BalanceSetup, point: &Point, rise: f64) {
        let Some(state) = &mut self.state else { return };
        if point.time < self.mixing_until {
            self.wander.interrupt();
            return;
        }
        let setting = setup.errors.wander_pct;
        let scatter = self.concentration_noise.variance();
        let percent = point.concentration_pct;
        self.wander
            .step(point.time, percent, rise, scatter, setting);
        state.wanders(self.wander.deviation(setting));
    }

    /// Holds what was lost against what is usual.
    fn watch_departure(&mut self, setup: &BalanceSetup, point: &Point, out: &mut Vec<Told>) {
        // Of what is not known nothing can depart.
        let known = matches!(
            self.losses(setup),
            Ok(_) | Err(NotIdentifiable::NoConcentration)
        );
        if !known {
            let told = std::mem::take(&mut self.departure).told().is_some();
            out.extend(told.then_some(Told::Departure(None)));
            return;
        }
        let Some(state) = &mut self.state else { return };
        let days = (point.time - self.begun).secs_f64() / 86_400.0;
        let settling = self
            .open
            .is_some_and(|open| point.time < open.until + SETTLING);
        let changing = self
            .pumps
            .is_some_and(|pumps| point.time - pumps.since < SETTLING);
        if days < LEARNING_DAYS || settling || changing || point.volume_l.is_none() {
            self.departure.interrupt();
            return;
        }
        if let Some(change) = self.departure.step(setup, state, point) {
            out.push(Told::Departure(change));
        }
        // What leaves the usual must not become the usual.
        if self.departure.is_suspected_of_volume() {
            state.loosen(setup);
        } else if self.departure.is_suspected() {
            state.loosen_concentrate(setup);
        }
    }

    /// Whether the open step has been told about enough.
    fn has_told(&self, setup: &BalanceSetup, now: Timestamp) -> bool {
        let Some(open) = &self.open else { return false };
        if now - open.until >= LONGEST {
            return true;
        }
        if !setup.concentration_measured {
            return now - open.until >= SEEN_WITHIN;
        }
        let told = |span| now >= self.mixing_until + span && open.told >= LEAST_TELLING;
        told(TELLING) && (told(TELLING_UNSURE) || self.is_sure_of(setup, open))
    }
}

impl Work {
    /// Lets time pass; a day counts once it is over.
    fn pass(&mut self, hours: f64, working: bool) {
        self.passed += hours;
        self.hours += if working { hours } else { 0.0 };
        if self.passed >= 24.0 {
            let a_day = 24.0 * self.hours / self.passed;
            let usual = self.usual.get_or_insert(a_day);
            *usual += (a_day - *usual) / WORKED_OVER_DAYS;
            (self.hours, self.passed) = (0.0, 0.0);
        }
    }
}

/// The variance of a point, larger where it lies far off.
fn toned_down(found: f64, (expected, variance): (f64, f64), noise: f64) -> f64 {
    let off = (found - expected).abs() / (variance + noise).sqrt();
    if off > ODD {
        noise * (off / ODD).powi(2)
    } else {
        noise
    }
}
