//! The balance of one sump: points and entries go in, movements and loss rates
//! come out.
//!
//! Points wait a little before they are taken in, so that a step is seen
//! before it is mistaken for a change of the losses. While something moves
//! nothing is taken in; once it has settled a step of unknown size is opened,
//! which the points after it tell; and once they have told enough it is held
//! against what people wrote down, named, and closed.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::units::{Measured, Span, Timestamp};

use super::classify::{Beforehand, Guess, Lines, Usual, classify};
use super::departure::{Departure, DepartureWatch};
use super::movement::{Logged, LoggedSum, Movement, MovementKind, Origin};
use super::noise::Noise;
use super::setup::BalanceSetup;
use super::state::{Regime, State, Step};

/// Points that wait.
const WAIT: usize = 6;
/// A step in the level is seen in so many points, one in the concentration in
/// all that wait.
const SEEN_IN: usize = 3;
/// So many deviations off are a step (choice: less than one false one in a sump's
/// year at a point each five minutes).
const STEP: f64 = 5.0;
/// A step is at least this share of the working volume.
const LEAST_STEP: f64 = 0.002;
/// A step of concentration is at least so large, %.
const LEAST_CONCENTRATION_STEP: f64 = 0.1;
/// A point so many deviations off belongs to the movement.
const MOVES: f64 = 2.5;
/// Points over which a movement must have settled.
const SETTLED: usize = 4;
/// Points after which a movement is taken as settled anyway.
const MOST_MOVING: usize = 36;
/// After mixing, points of the concentration go on telling about a step for so
/// long.
const TELLING: Span = Span::from_hours(4);
/// At least so many points of the concentration tell about a step.
const LEAST_TELLING: u32 = 12;
/// A step is closed after this at the latest.
const LONGEST: Span = Span::from_hours(24);
/// The level is not looked at for so long after the pumps started or stopped.
const RUNNING_BACK: Span = Span::from_mins(15);
/// How much of the wandering's variance falls to either side of a step (choice:
/// all of it, as if nothing of it were the same before and after).
const WANDERS: f64 = 1.0;
/// What was written down and what was seen belong together when they lie within
/// this of each other.
const BELONGS: Span = Span::from_hours(4);
/// What was written down and not seen by then is judged without.
const SEEN_WITHIN: Span = Span::from_mins(90);
/// Without a point for so long nobody knows what happened.
const PAUSE: Span = Span::from_hours(2);
/// After a step or a change of the pumps the volume is well known again after
/// this.
const SETTLING: Span = Span::from_mins(60);
/// Departures from the usual losses are told once these are known, d.
const LEARNING_DAYS: f64 = 4.0;
/// Make-up is usual once there was so much of it, and the newest count.
const USUAL_FROM: usize = 3;
const USUAL_OF: usize = 12;
/// Where the strengths differ by more than this beyond what they are known to
/// (χ² over its degrees of freedom), nothing is usual.
const USUAL_SCATTERS: f64 = 2.0;
/// Its strength differs from one time to the next by this share at least
/// (choice: mixers do).
const USUAL_DIFFERS: f64 = 0.1;
/// Lines that have drained are taken to stand empty for so long at most.
const STANDS: Span = Span::from_hours(96);
/// What is let out and filled up again within this is looked at together.
const TOGETHER: Span = Span::from_hours(1);
/// Entries that wait to be matched.
const MOST_LOGGED: usize = 16;
/// Movements that are remembered.
const MOST_MOVEMENTS: usize = 32;
/// Squared distance between what was written down and what was seen beyond
/// which they contradict each other: χ² with two degrees of freedom, one in a
/// thousand.
const CONTRADICTS: f64 = 13.8;
/// A point further off than this counts less.
const ODD: f64 = 4.0;
/// Over so many days the usual share of working hours is taken.
const WORKED_OVER_DAYS: f64 = 7.0;

/// What the instruments say of a short time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// When.
    pub time: Timestamp,
    /// Volume by level, lines included, L.
    pub volume_l: Option<f64>,
    /// Concentration, %.
    pub concentration_pct: Option<f64>,
    /// Whether machines work.
    pub working: bool,
    /// Whether the pumps run, where that is known.
    pub pumps_run: Option<bool>,
    /// What ran in through meters since the last point, L.
    pub metered_l: f64,
    /// Concentrate in it, L.
    pub metered_concentrate_l: f64,
}

/// What the balance has to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// A new line of the ledger.
    Movement(Movement),
    /// What a known addition did to the concentration.
    Response(Response),
    /// Losses or gains have left what is usual, or have come back to it.
    Departure(Option<Departure>),
    /// A movement that was inferred before was written down after all.
    WrittenDown {
        /// When the movement began.
        time: Timestamp,
        /// The entry.
        entry: String,
    },
}

/// What a known addition did to the concentration, by which the true volume is
/// told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// What was added, L.
    pub added_l: Measured,
    /// Its strength, %.
    pub strength_pct: f64,
    /// The sump's concentration before, %.
    pub before_pct: Measured,
    /// And once it was mixed in, without what was lost since, %.
    pub after_pct: Measured,
    /// Standard uncertainty of what both are off by alike, %.
    pub offset_pct: f64,
    /// Volume before, by the level, L.
    pub expected_l: f64,
}

/// The memory of the balance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Balance {
    state: Option<State>,
    begun: Timestamp,
    waiting: VecDeque<Point>,
    moving: bool,
    open: Option<OpenStep>,
    volume_noise: Noise,
    concentration_noise: Noise,
    logged: VecDeque<Logged>,
    movements: VecDeque<Movement>,
    pumps: Option<Pumps>,
    /// Concentration is not looked at until then: something is being mixed in.
    mixing_until: Timestamp,
    work: Work,
    departure: DepartureWatch,
    /// Somebody touched the level's instrument: what it shows next is no step.
    #[serde(default)]
    level_touched: bool,
    /// The last time in which nobody listened.
    #[serde(default)]
    pause: Option<(Timestamp, Timestamp)>,
}

/// Hours in which machines work.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
struct Work {
    /// Of a day, of late; none before the first day is over.
    usual: Option<f64>,
    /// Since the present day of 24 hours began.
    hours: f64,
    /// How long ago that is, h.
    passed: f64,
}

/// A step that is open.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct OpenStep {
    since: Timestamp,
    until: Timestamp,
    /// Share of concentrate before.
    share: f64,
    /// How uncertain that is with all that the instrument has drifted.
    #[serde(default)]
    doubt: f64,
    /// Volume before, L.
    volume: f64,
    /// Points of the concentration after mixing.
    told: u32,
    /// What was in the sump before was not known: another step had not been
    /// told about yet.
    #[serde(default)]
    amid: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Pumps {
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
            logged: VecDeque::new(),
            movements: VecDeque::new(),
            pumps: None,
            mixing_until: Timestamp::MIN,
            work: Work::default(),
            departure: DepartureWatch::default(),
            level_touched: false,
            pause: None,
        }
    }

    /// The newest movements, oldest first.
    pub fn movements(&self) -> impl DoubleEndedIterator<Item = &Movement> {
        self.movements.iter()
    }

    /// The volume as level and balance tell it together, L, lines included.
    pub fn volume_l(&self) -> Option<Measured> {
        self.state.as_ref().map(State::volume)
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

    /// Takes in what somebody wrote down that went in or out.
    pub fn log(&mut self, setup: &BalanceSetup, logged: Logged, out: &mut Vec<Told>) {
        if let Some(movement) = self.inferred_like(setup, &logged) {
            movement.origin = Origin::Logged {
                entries: vec![logged.entry.clone()],
                seen: true,
            };
            let time = movement.time;
            out.push(Told::WrittenDown {
                time,
                entry: logged.entry,
            });
            return;
        }
        let in_pause = |(from, to): (Timestamp, Timestamp)| (from..=to).contains(&logged.time);
        let unseen = !setup.level_measured && !setup.concentration_measured;
        if unseen || self.pause.is_some_and(in_pause) {
            self.keep_believed(setup, &logged, out);
            return;
        }
        if self.logged.len() == MOST_LOGGED {
            self.judge_oldest(setup, out);
        }
        self.logged.push_back(logged);
    }

    /// An entry was withdrawn or corrected: what was concluded from it is taken
    /// back. Gives the movement that it was counted as, where only the entry spoke
    /// for it; where the readings do too, it stays as one that nobody wrote
    /// down, for the correction to describe.
    pub fn forget(&mut self, setup: &BalanceSetup, entry: &str) -> Option<Movement> {
        self.logged.retain(|logged| logged.entry != entry);
        let of_entry = |movement: &Movement| match &movement.origin {
            Origin::Logged { entries, .. } | Origin::Contradicted { entries, .. } => {
                entries.iter().any(|one| one == entry)
            }
            Origin::Inferred => false,
        };
        let place = self.movements.iter().position(of_entry)?;
        let movement = &mut self.movements[place];
        let seen = match movement.origin {
            Origin::Logged { seen, .. } => seen,
            _ => movement.litres.value != 0.0,
        };
        if seen {
            movement.origin = Origin::Inferred;
            return None;
        }
        let movement = self.movements.remove(place)?;
        let strength = movement.strength_pct.map_or(0.0, |strength| strength.value);
        if let Some(state) = &mut self.state {
            state.put_in(-movement.litres.value, strength, setup.errors.metering);
        }
        Some(movement)
    }

    /// Somebody touched the concentration's instrument.
    pub fn instrument_touched(&mut self, setup: &BalanceSetup) {
        // What still waits was read before.
        for point in &mut self.waiting {
            point.concentration_pct = None;
        }
        self.concentration_noise.interrupt();
        if let Some(state) = &mut self.state {
            state.instrument_touched(setup);
        }
    }

    /// Somebody touched the level's instrument.
    pub fn level_touched(&mut self) {
        self.volume_noise.interrupt();
        self.departure.interrupt();
        self.level_touched = true;
    }

    /// What people wrote down and the open step are settled as they stand,
    /// before the sump is filled anew.
    pub fn finish(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        self.close_step(setup, out);
        let believed: Vec<Logged> = self.logged.drain(..).collect();
        for one in &believed {
            self.believe(setup, one, out);
        }
    }

    /// The sump was filled anew: it begins afresh, with the losses that it had.
    pub fn filled_anew(&mut self) {
        self.waiting.clear();
        self.moving = false;
        self.open = None;
        self.logged.clear();
        self.volume_noise.interrupt();
        self.concentration_noise.interrupt();
        self.departure = DepartureWatch::default();
        self.pumps = None;
        self.mixing_until = Timestamp::MIN;
        self.begun = Timestamp::MIN;
    }

    /// The level's instrument shows something else since it was touched; what is
    /// in the sump has not changed for that.
    fn take_level_as_found(&mut self, setup: &BalanceSetup, point: &Point, out: &mut Vec<Told>) {
        self.level_touched = false;
        self.moving = false;
        while !self.waiting.is_empty() {
            self.apply_oldest(setup, out);
        }
        self.close_step(setup, out);
        let Some(state) = &mut self.state else { return };
        let volume = point
            .volume_l
            .map(|litres| (litres, self.volume_noise.variance()));
        let concentration = state.expected_concentration();
        state.found_again(setup, point.time, volume, Some(concentration));
    }

    /// Nobody listened for a while: what went in or out meanwhile is not known but
    /// for what people wrote down, and that is believed.
    fn bridge(&mut self, setup: &BalanceSetup, point: &Point, out: &mut Vec<Told>) {
        let last = self.waiting.back().map(|last| last.time);
        self.moving = false;
        while !self.waiting.is_empty() {
            self.apply_oldest(setup, out);
        }
        self.close_step(setup, out);
        self.volume_noise.interrupt();
        self.concentration_noise.interrupt();
        self.departure.interrupt();
        let Some(state) = &mut self.state else { return };
        let volume = point
            .volume_l
            .map(|litres| (litres, self.volume_noise.variance()));
        let doubt = setup.errors.concentration_pct.powi(2);
        let concentration = point.concentration_pct.map(|percent| (percent, doubt));
        state.found_again(setup, point.time, volume, concentration);
        self.pause = last.map(|last| (last, point.time));
        let sump = state.concentration_pct().value;
        let meanwhile = |logged: &Logged| logged.time <= point.time;
        let (before, after): (VecDeque<Logged>, _) = self.logged.drain(..).partition(meanwhile);
        self.logged = after;
        for logged in &before {
            let window = (logged.time, logged.time);
            self.keep(logged_movement(setup, logged, sump, window, false), out);
        }
    }

    /// What of the point may be looked at, as things stand.
    fn looked_at(&mut self, setup: &BalanceSetup, mut point: Point) -> Point {
        if let Some(run) = point.pumps_run
            && self.pumps.is_none_or(|pumps| pumps.run != run)
        {
            let since = self.pumps.map_or(Timestamp::MIN, |_| point.time);
            self.pumps = Some(Pumps { run, since });
            self.volume_noise.interrupt();
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

    fn begin(&mut self, setup: &BalanceSetup, point: &Point) {
        let errors = setup.errors;
        let volume = match (setup.level_measured, point.volume_l) {
            (true, Some(litres)) => Some((litres, self.volume_noise.variance())),
            (true, None) => None,
            // Nobody measures it: it is taken to be what it should be.
            (false, _) => Some((setup.working_volume_l, 0.0)),
        };
        let concentration = match (setup.concentration_measured, point.concentration_pct) {
            (true, Some(percent)) => Some((percent, errors.concentration_pct.powi(2))),
            (true, None) => None,
            (false, _) => Some((setup.target_pct, 0.0)),
        };
        if let (Some(volume), Some(concentration)) = (volume, concentration) {
            self.state = Some(State::new(setup, point.time, volume, concentration));
            self.begun = point.time;
        }
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

    /// Whether the points that wait lie off what was expected of them.
    fn look_for_step(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        if self.waiting.len() < WAIT || !setup.level_measured {
            return;
        }
        let Some(state) = &self.state else { return };
        let residuals = residuals(setup, state, &self.waiting);
        let by_level = self.step_of_level(setup, &residuals);
        if let Some(begins) = by_level {
            for _ in 0..begins {
                self.apply_oldest(setup, out);
            }
            self.moving = true;
            self.settle(setup, out);
        } else if self.step_of_concentration(&residuals) {
            let since = self.waiting[0].time;
            self.open_step(setup, since, since, out);
        }
    }

    /// The place of the first waiting point that moves, if the level does.
    fn step_of_level(&self, setup: &BalanceSetup, residuals: &[Residual]) -> Option<usize> {
        let noise = self.volume_noise.variance();
        let last: Vec<(f64, f64)> = residuals
            .iter()
            .rev()
            .take(SEEN_IN)
            .filter_map(|residual| residual.volume)
            .collect();
        if last.len() < SEEN_IN {
            return None;
        }
        let mean = last.iter().map(|(error, _)| error).sum::<f64>() / SEEN_IN as f64;
        let variance = last[0].1 + noise / SEEN_IN as f64;
        let least = LEAST_STEP * setup.working_volume_l;
        if mean.abs() < least.max(STEP * variance.sqrt()) {
            return None;
        }
        let moves = |residual: &Residual| {
            residual.volume.is_none_or(|(error, variance)| {
                error * mean > 0.0 && error.abs() > MOVES * (variance + noise).sqrt()
            })
        };
        let moving = residuals.iter().rev().take_while(|r| moves(r)).count();
        let moving = moving.max(stepped(residuals));
        Some((residuals.len() - moving).saturating_sub(1))
    }

    /// Whether the concentration has changed although the volume has not.
    fn step_of_concentration(&self, residuals: &[Residual]) -> bool {
        let errors: Vec<(f64, f64)> = residuals.iter().filter_map(|r| r.concentration).collect();
        if errors.len() < residuals.len() || self.is_mixing() {
            return false;
        }
        let count = errors.len() as f64;
        let mean = errors.iter().map(|(error, _)| error).sum::<f64>() / count;
        let variance = errors[0].1 + self.concentration_noise.variance() / count;
        let same_side = errors.iter().all(|(error, _)| error * mean > 0.0);
        // All that wait lie behind the step, not only the newest.
        let (first, doubt) = errors[0];
        let scatter = (doubt + self.concentration_noise.variance()).sqrt();
        same_side
            && first.abs() > MOVES * scatter
            && mean.abs() > LEAST_CONCENTRATION_STEP.max(STEP * variance.sqrt())
    }

    fn is_mixing(&self) -> bool {
        let first = self.waiting.front().map_or(Timestamp::MAX, |p| p.time);
        first < self.mixing_until
    }

    /// Opens a step once the level stands still again.
    fn settle(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let Some(state) = &self.state else { return };
        // The first point that waits is the last one before the movement.
        let moving = self.waiting.iter().skip(1);
        let levels: Vec<f64> = moving.filter_map(|p| p.volume_l).collect();
        let waited_long = self.waiting.len() >= MOST_MOVING;
        if levels.len() < SETTLED && !waited_long {
            return;
        }
        let tail = &levels[levels.len().saturating_sub(SETTLED)..];
        let half = tail.len() / 2;
        let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
        let moved = mean(&tail[half..]) - mean(&tail[..half]);
        let rates = state.rates();
        let usual = rates.both_at_work.value.abs() * 0.5;
        let still = moved.abs() < 3.0 * self.volume_noise.variance().sqrt() + usual;
        if !still && !waited_long {
            return;
        }
        let since = self.waiting[0].time;
        let steady = self.waiting.len() - tail.len().min(self.waiting.len());
        let until = self.waiting[steady.min(self.waiting.len() - 1)].time;
        self.moving = false;
        self.open_step(setup, since, until, out);
        for _ in 0..steady {
            self.pass_over_oldest(setup);
        }
    }

    fn open_step(
        &mut self,
        setup: &BalanceSetup,
        since: Timestamp,
        until: Timestamp,
        out: &mut Vec<Told>,
    ) {
        let amid = self.open.is_some_and(|open| open.told < LEAST_TELLING);
        self.close_step(setup, out);
        let Some(state) = &mut self.state else { return };
        let (volume, concentrate) = state.contents();
        let share = concentrate / volume.max(1e-3);
        let doubt = state.concentration_pct().uncertainty / 100.0;
        state.open_step(setup);
        self.open = Some(OpenStep {
            since,
            until,
            share,
            doubt,
            volume,
            told: 0,
            amid,
        });
        self.mixing_until = self.mixing_until.max(until + setup.mixing);
    }

    /// Lets the oldest point's time pass, but does not look at what it says.
    fn pass_over_oldest(&mut self, setup: &BalanceSetup) {
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

    fn apply_oldest(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let Some(point) = self.waiting.pop_front() else {
            return;
        };
        if self.begun == Timestamp::MIN {
            self.start_over(setup, &point);
            return;
        }
        self.pass(setup, &point);
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
            self.close_step(setup, out);
        }
        self.watch_departure(setup, &point, out);
        self.drop_if_unsound();
    }

    /// Numbers that are none must neither be kept nor shown: the balance begins
    /// with the next point as if it had never been.
    fn drop_if_unsound(&mut self) {
        if self.state.as_ref().is_some_and(|state| !state.is_sound()) {
            self.state = None;
            self.filled_anew();
        }
    }

    /// Holds what was lost against what is usual.
    fn watch_departure(&mut self, setup: &BalanceSetup, point: &Point, out: &mut Vec<Told>) {
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

    /// The first point after the sump was filled anew.
    fn start_over(&mut self, setup: &BalanceSetup, point: &Point) {
        let (Some(litres), Some(percent)) = (
            point
                .volume_l
                .or((!setup.level_measured).then_some(setup.working_volume_l)),
            point
                .concentration_pct
                .or((!setup.concentration_measured).then_some(setup.target_pct)),
        ) else {
            return;
        };
        self.pass(setup, point);
        let Some(state) = &mut self.state else { return };
        let volume = (litres, self.volume_noise.variance());
        let doubt = setup.errors.concentration_pct.powi(2);
        state.filled_anew(volume, (percent, doubt));
        state.instrument_touched(setup);
        self.begun = point.time;
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
        now >= self.mixing_until + TELLING && open.told >= LEAST_TELLING
    }

    /// Names the open step and writes it into the ledger.
    fn close_step(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let (Some(open), Some(state)) = (self.open.take(), &mut self.state) else {
            return;
        };
        let Some(step) = state.step() else { return };
        let candidates: Vec<Logged> = {
            let near = |logged: &Logged| {
                logged.time >= open.since - BELONGS && logged.time <= open.until + BELONGS
            };
            self.logged.iter().filter(|l| near(l)).cloned().collect()
        };
        let sump = 100.0 * open.share;
        if let Some(response) = self.response(setup, &open, &step, &candidates) {
            out.push(Told::Response(response));
        }
        let Some(state) = &mut self.state else { return };
        if !setup.level_measured {
            state.close_step();
            for one in &candidates {
                self.logged.retain(|other| other.entry != one.entry);
                self.keep_believed(setup, one, out);
            }
            return;
        }
        if let Some(matched) = matching(setup, &step, sump, &candidates) {
            let unknown = match step.volume_l > 0.0 {
                true => 100.0 * (step.concentrate_l / step.volume_l).clamp(0.0, 1.0),
                false => sump,
            };
            let sum = LoggedSum::of(&matched, unknown, setup.errors.metering);
            state.learn_step(&sum);
            state.close_step();
            for one in &matched {
                self.logged.retain(|other| other.entry != one.entry);
                let window = (open.since, open.until);
                self.keep(logged_movement(setup, one, unknown, window, true), out);
            }
            return;
        }
        let (lines, usual) = (self.lines(setup), self.usual_make_up());
        let Some(state) = &mut self.state else { return };
        let known = Beforehand {
            written: candidates.iter().any(|one| one.litres > 0.0),
            lines,
            usual,
        };
        let Some(guess) = classify(&step, open.share, &known, setup) else {
            state.close_step();
            return;
        };
        match guess.kind {
            MovementKind::Instrument => state.blame_instrument(),
            _ => state.close_step(),
        }
        let contradicted = nearest(&candidates, open.since, &guess);
        let movement = Movement {
            time: open.since,
            until: open.until,
            kind: guess.kind,
            litres: guess.litres,
            strength_pct: guess.strength_pct,
            seen_strength_pct: guess.seen_strength_pct,
            origin: contradiction(contradicted, sump),
            confidence: guess.confidence,
        };
        if let Some(contradicted) = contradicted {
            let entry = contradicted.entry.clone();
            self.logged.retain(|l| l.entry != entry);
        }
        self.keep(movement, out);
    }

    /// What an addition did, where one and only one was written down and the
    /// level has risen by about as much.
    fn response(
        &self,
        setup: &BalanceSetup,
        open: &OpenStep,
        step: &Step,
        candidates: &[Logged],
    ) -> Option<Response> {
        let [logged] = candidates else { return None };
        let strength_pct = logged.strength_pct.filter(|_| logged.litres > 0.0)?;
        let alike = (0.5..2.0).contains(&(step.volume_l / logged.litres));
        if open.amid || open.told < LEAST_TELLING || (setup.level_measured && !alike) {
            return None;
        }
        let after = (open.share * open.volume + step.concentrate_l) / (open.volume + step.volume_l);
        let scatter = self.concentration_noise.variance() / f64::from(LEAST_TELLING);
        let doubt = (scatter + WANDERS * setup.errors.wander_pct.powi(2)).sqrt();
        let metering = setup.errors.metering;
        Some(Response {
            added_l: Measured::new(logged.litres, metering * logged.litres),
            strength_pct,
            before_pct: Measured::new(100.0 * open.share, doubt),
            after_pct: Measured::new(100.0 * after, doubt),
            offset_pct: 100.0 * open.doubt,
            expected_l: match setup.level_measured {
                true => open.volume,
                false => setup.working_volume_l,
            },
        })
    }

    /// What make-up nobody wrote down was of late, once there was some.
    fn usual_make_up(&self) -> Option<Usual> {
        let unwritten = self.movements.iter().rev().filter(|one| {
            let made_up = matches!(one.kind, MovementKind::Water | MovementKind::Premix);
            made_up && one.origin == Origin::Inferred
        });
        let seen: Vec<Measured> = unwritten
            .filter_map(|one| one.seen_strength_pct)
            .take(USUAL_OF)
            .collect();
        if seen.len() < USUAL_FROM {
            return None;
        }
        let weight = |one: &Measured| 1.0 / one.uncertainty.max(0.01).powi(2);
        let total: f64 = seen.iter().map(weight).sum();
        let mean = seen.iter().map(|one| weight(one) * one.value).sum::<f64>() / total;
        let deviation = (1.0 / total).sqrt();
        let squares = |one: &Measured| weight(one) * (one.value - mean).powi(2);
        let scatter = seen.iter().map(squares).sum::<f64>() / (seen.len() - 1) as f64;
        if scatter > USUAL_SCATTERS {
            return None;
        }
        let share = if mean > 2.0 * deviation {
            mean / 100.0
        } else {
            0.0
        };
        Some(Usual {
            share,
            deviation: (deviation / 100.0).max(USUAL_DIFFERS * share),
        })
    }

    /// What is known of the lines.
    fn lines(&self, setup: &BalanceSetup) -> Lines {
        if self.pumps.is_some() || setup.lines_l <= 0.0 {
            return Lines::Known;
        }
        let of_lines = |one: &&Movement| one.kind == MovementKind::Lines;
        let last = self.movements.iter().rev().find(of_lines);
        let came_back_l = last.map_or(0.0, |one| one.litres.value.max(0.0));
        let newest = self.state.as_ref().map(State::time);
        let of_late = last
            .zip(newest)
            .is_some_and(|(one, now)| now - one.time < STANDS);
        let usual_l = last.map_or(0.0, |one| one.litres.value.abs());
        Lines::Unknown {
            came_back_l,
            usual_l,
            stand: of_late && came_back_l > 0.0,
        }
    }

    fn keep(&mut self, movement: Movement, out: &mut Vec<Told>) {
        if self.movements.len() == MOST_MOVEMENTS {
            self.movements.pop_front();
        }
        self.movements.push_back(movement.clone());
        out.push(Told::Movement(movement));
    }

    /// Judges what was written down long enough ago without having been seen.
    fn judge_unseen(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let Some(state) = &self.state else { return };
        let now = state.time();
        let busy = self.moving || self.open.is_some();
        while let Some(first) = self.logged.front() {
            let near_open = self.open.is_some_and(|open| {
                first.time >= open.since - BELONGS && first.time <= open.until + BELONGS
            });
            let due = if setup.level_measured {
                first.time + SEEN_WITHIN <= now
            } else {
                first.time <= now
            };
            if !due || (busy && (near_open || self.moving)) {
                return;
            }
            if !setup.level_measured && self.open.is_none() {
                // Its concentration is what can tell of it.
                let time = first.time;
                self.open_step(setup, time, time, out);
                return;
            }
            self.judge_oldest(setup, out);
        }
    }

    /// Something was written down and no step was seen: where it is too small
    /// to be seen, or nothing could be seen, it is believed. What was let out and
    /// filled up again within the hour is looked at together.
    fn judge_oldest(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        let Some(oldest) = self.logged.front() else {
            return;
        };
        let until = oldest.time + TOGETHER;
        let count = self
            .logged
            .iter()
            .take_while(|one| one.time <= until)
            .count();
        let together = self.logged.iter().take(count);
        let net = together.map(|one| one.litres).sum::<f64>().abs();
        let noise = self.volume_noise.variance().sqrt();
        let visible = 2.0 * (LEAST_STEP * setup.working_volume_l).max(STEP * noise);
        if setup.level_measured && net > visible {
            let oldest = self.logged.pop_front();
            oldest
                .into_iter()
                .for_each(|one| self.miss(setup, &one, noise, out));
            return;
        }
        let believed: Vec<Logged> = self.logged.drain(..count).collect();
        for one in &believed {
            self.believe(setup, one, out);
        }
    }

    /// What was written down should have been seen and was not.
    fn miss(&mut self, setup: &BalanceSetup, logged: &Logged, noise: f64, out: &mut Vec<Told>) {
        let visible = 2.0 * (LEAST_STEP * setup.working_volume_l).max(STEP * noise);
        if logged.litres.abs() <= visible {
            self.believe(setup, logged, out);
            return;
        }
        let sump = self
            .state
            .as_ref()
            .map_or(setup.target_pct, |state| state.concentration_pct().value);
        let movement = Movement {
            time: logged.time,
            until: logged.time,
            kind: logged.kind(),
            litres: Measured::new(0.0, noise),
            strength_pct: None,
            seen_strength_pct: None,
            origin: contradiction(Some(logged), sump),
            confidence: 1.0,
        };
        self.keep(movement, out);
    }

    fn believe(&mut self, setup: &BalanceSetup, logged: &Logged, out: &mut Vec<Told>) {
        if let Some(state) = &mut self.state {
            let sump = state.concentration_pct().value;
            let strength = logged.strength_pct.unwrap_or(sump);
            state.put_in(logged.litres, strength, setup.errors.metering);
            self.mixing_until = self.mixing_until.max(logged.time + setup.mixing);
        }
        self.keep_believed(setup, logged, out);
    }

    /// Into the ledger on the writer's word alone.
    fn keep_believed(&mut self, setup: &BalanceSetup, logged: &Logged, out: &mut Vec<Told>) {
        let sump = self
            .state
            .as_ref()
            .map_or(setup.target_pct, |state| state.concentration_pct().value);
        let window = (logged.time, logged.time);
        self.keep(logged_movement(setup, logged, sump, window, false), out);
    }

    /// A movement that was inferred and that this entry describes.
    fn inferred_like(&mut self, setup: &BalanceSetup, logged: &Logged) -> Option<&mut Movement> {
        let metering = setup.errors.metering;
        self.movements.iter_mut().rev().find(|movement| {
            let near =
                logged.time >= movement.time - BELONGS && logged.time <= movement.until + BELONGS;
            let apart = (movement.litres.value - logged.litres).abs();
            let doubt = movement.litres.uncertainty.hypot(metering * logged.litres);
            let same_kind =
                movement.kind == logged.kind() || movement.kind == MovementKind::Unclear;
            near && same_kind && movement.origin == Origin::Inferred && apart <= 4.0 * doubt
        })
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

impl Point {
    pub(super) fn regime(&self) -> Regime {
        Regime {
            working: self.working,
            stopped: self.pumps_run == Some(false),
        }
    }
}

/// How far off what was expected a waiting point lies, with the variance of
/// what was expected.
struct Residual {
    volume: Option<(f64, f64)>,
    concentration: Option<(f64, f64)>,
}

fn residuals(setup: &BalanceSetup, state: &State, waiting: &VecDeque<Point>) -> Vec<Residual> {
    let mut ahead = state.clone();
    let each = waiting.iter().map(|point| {
        ahead.pass(setup, point.time, point.regime());
        if point.metered_l != 0.0 {
            let strength = 100.0 * point.metered_concentrate_l / point.metered_l;
            ahead.put_in(point.metered_l, strength, setup.errors.metering);
        }
        let off = |found: f64, (expected, variance): (f64, f64)| (found - expected, variance);
        Residual {
            volume: point
                .volume_l
                .map(|litres| off(litres, ahead.expected_volume(point.regime()))),
            concentration: point
                .concentration_pct
                .map(|percent| off(percent, ahead.expected_concentration())),
        }
    });
    each.collect()
}

/// How many of the newest points lie behind a step of the level: of all places
/// where it can lie the most probable one, where (Σe)²/n of the n points behind
/// it is largest (least squares; worked out here).
fn stepped(residuals: &[Residual]) -> usize {
    let (mut sum, mut count, mut best) = (0.0, 0.0, (1, 0.0));
    for (place, residual) in (1..).zip(residuals.iter().rev()) {
        if let Some((error, _)) = residual.volume {
            sum += error;
            count += 1.0;
            let explained = sum * sum / count;
            if explained > best.1 {
                best = (place, explained);
            }
        }
    }
    best.0
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

/// What was written down of a step, if it agrees with what was seen: all
/// candidates together, or else one of them.
fn matching(
    setup: &BalanceSetup,
    step: &Step,
    sump_pct: f64,
    candidates: &[Logged],
) -> Option<Vec<Logged>> {
    let agrees = |logged: &[Logged]| {
        !logged.is_empty() && distance(setup, step, sump_pct, logged) < CONTRADICTS
    };
    if agrees(candidates) || explains(setup, step, sump_pct, candidates) {
        return Some(candidates.to_vec());
    }
    let best = candidates.iter().min_by(|a, b| {
        let distance = |one: &Logged| distance(setup, step, sump_pct, std::slice::from_ref(one));
        distance(a).total_cmp(&distance(b))
    })?;
    agrees(std::slice::from_ref(best)).then(|| vec![best.clone()])
}

/// Whether what was let out and filled up again leaves the volume as it was, as
/// the step does, and moves the concentrate about as far the same way: rather
/// that than the instrument.
fn explains(setup: &BalanceSetup, step: &Step, sump_pct: f64, candidates: &[Logged]) -> bool {
    let sum = LoggedSum::of(candidates, sump_pct, setup.errors.metering);
    let least = LEAST_STEP * setup.working_volume_l;
    let stays = |litres: f64| litres.abs() < 5.0 * least;
    let alike = (0.4..2.5).contains(&(step.concentrate_l / sum.concentrate));
    candidates.len() > 1 && stays(sum.litres) && stays(step.volume_l) && alike
}

/// Squared distance between step and what was written down, in deviations of
/// both together; where nobody wrote the strength, of the litres alone.
fn distance(setup: &BalanceSetup, step: &Step, sump_pct: f64, logged: &[Logged]) -> f64 {
    let sum = LoggedSum::of(logged, sump_pct, setup.errors.metering);
    let (dv, dm) = (
        step.volume_l - sum.litres,
        step.concentrate_l - sum.concentrate,
    );
    let v = step.volume_variance + sum.litres_variance + 1e-9;
    let unknown = |one: &Logged| one.strength_pct.is_none() && one.litres > 0.0;
    if logged.iter().any(unknown) {
        return dv * dv / v;
    }
    let m = step.concentrate_variance + sum.concentrate_variance + 1e-9;
    let vm = step.covariance + sum.covariance;
    let determinant = (v * m - vm * vm).max(1e-12);
    (m * dv * dv - 2.0 * vm * dv * dm + v * dm * dm) / determinant
}

fn logged_movement(
    setup: &BalanceSetup,
    logged: &Logged,
    unknown_pct: f64,
    (time, until): (Timestamp, Timestamp),
    seen: bool,
) -> Movement {
    let strength = logged.strength_pct.unwrap_or(unknown_pct);
    let metering = setup.errors.metering;
    Movement {
        time,
        until,
        kind: logged.kind(),
        litres: Measured::new(logged.litres, (metering * logged.litres).abs()),
        strength_pct: Some(Measured::new(strength, 0.0)),
        seen_strength_pct: None,
        origin: Origin::Logged {
            entries: vec![logged.entry.clone()],
            seen,
        },
        confidence: 1.0,
    }
}

/// What was written down nearest in time that the movement may stand for: it ran
/// the same way, and neither lines nor instruments are written down.
fn nearest<'a>(candidates: &'a [Logged], time: Timestamp, guess: &Guess) -> Option<&'a Logged> {
    let nobodys = [
        MovementKind::Lines,
        MovementKind::Instrument,
        MovementKind::Thinned,
    ];
    if nobodys.contains(&guess.kind) {
        return None;
    }
    let same_way = |one: &&Logged| one.litres * guess.litres.value > 0.0;
    let away = |one: &&Logged| (one.time - time).millis().abs();
    candidates.iter().filter(same_way).min_by_key(away)
}

fn contradiction(logged: Option<&Logged>, sump_pct: f64) -> Origin {
    match logged {
        None => Origin::Inferred,
        Some(logged) => Origin::Contradicted {
            entries: vec![logged.entry.clone()],
            logged_litres: logged.litres,
            logged_strength_pct: logged.strength_pct.unwrap_or(sump_pct),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_begins_where_the_points_before_it_do_not_show_it() {
        let of = |errors: &[f64]| {
            let residual = |error: &f64| Residual {
                volume: Some((*error, 0.1)),
                concentration: None,
            };
            stepped(&errors.iter().map(residual).collect::<Vec<_>>())
        };
        assert_eq!(of(&[1.0, -2.0, 0.5, -4.0, 12.0, 12.5]), 2);
        assert_eq!(of(&[1.0, -2.0, 0.5, 11.0, 4.0, 12.5]), 3);
        assert_eq!(of(&[0.0, 0.0, 1.0, -9.0, -28.0, -30.0]), 2);
    }
}
