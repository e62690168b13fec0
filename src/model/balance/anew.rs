//! Where the course of the points breaks: its beginning, an instrument that was
//! touched, a time in which nobody listened, a sump that was filled anew.

use std::collections::VecDeque;

use super::{Balance, Point, Told};
use crate::model::departure::DepartureWatch;
use crate::model::ledger::Witness;
use crate::model::movement::Logged;
use crate::model::setup::BalanceSetup;
use crate::model::state::State;
use crate::units::Timestamp;

impl Balance {
    pub(super) fn begin(&mut self, setup: &BalanceSetup, point: &Point) {
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

    /// Somebody touched the concentration's instrument.
    pub fn instrument_touched(&mut self, setup: &BalanceSetup) {
        // What still waits was read before.
        for point in &mut self.waiting {
            point.concentration_pct = None;
        }
        self.concentration_noise.interrupt();
        self.wander.interrupt();
        if let Some(state) = &mut self.state {
            state.instrument_touched(setup);
        }
    }

    /// Somebody touched the level's instrument.
    pub fn level_touched(&mut self) {
        self.volume_noise.interrupt();
        self.departure.interrupt();
        self.witness = Witness::default();
        self.level_touched = true;
    }

    /// The sump was filled anew: it begins afresh, with the losses that it had.
    pub fn filled_anew(&mut self) {
        self.waiting.clear();
        self.moving = false;
        self.open = None;
        self.logged.clear();
        self.witness = Witness::default();
        self.volume_noise.interrupt();
        self.concentration_noise.interrupt();
        self.wander.interrupt();
        self.departure = DepartureWatch::default();
        self.pumps = None;
        self.mixing_until = Timestamp::MIN;
        self.begun = Timestamp::MIN;
    }

    /// The level's instrument shows something else since it was touched; what is
    /// in the sump has not changed for that.
    pub(super) fn take_level_as_found(
        &mut self,
        setup: &BalanceSetup,
        point: &Point,
        out: &mut Vec<Told>,
    ) {
        self.level_touched = false;
        self.moving = false;
        while !self.waiting.is_empty() {
            self.apply_oldest(setup, out);
        }
        self.close_step(setup, None, out);
        // What was written down and not seen by now can be seen no more. How much of
        // it the concentration has told already nobody knows.
        let (before, after) = self.written_until(point.time);
        self.logged = after;
        for logged in &before {
            self.keep_believed(setup, logged, out);
        }
        let Some(state) = &mut self.state else { return };
        let volume = point
            .volume_l
            .map(|litres| (litres, self.volume_noise.variance()));
        let concentration = match before.is_empty() {
            true => Some(state.expected_concentration()),
            false => None,
        };
        state.found_again(setup, point.time, volume, concentration);
    }

    /// Nobody listened for a while: what went in or out meanwhile is not known but
    /// for what people wrote down, and that is believed.
    pub(super) fn bridge(&mut self, setup: &BalanceSetup, point: &Point, out: &mut Vec<Told>) {
        let last = self.waiting.back().map(|last| last.time);
        self.moving = false;
        while !self.waiting.is_empty() {
            self.apply_oldest(setup, out);
        }
        self.close_step(setup, None, out);
        self.volume_noise.interrupt();
        self.concentration_noise.interrupt();
        self.wander.interrupt();
        self.departure.interrupt();
        let Some(state) = &mut self.state else { return };
        let volume = point
            .volume_l
            .map(|litres| (litres, self.volume_noise.variance()));
        let doubt = setup.errors.concentration_pct.powi(2);
        let concentration = point.concentration_pct.map(|percent| (percent, doubt));
        state.found_again(setup, point.time, volume, concentration);
        self.pause = last.map(|last| (last, point.time));
        let (before, after) = self.written_until(point.time);
        self.logged = after;
        for logged in &before {
            self.keep_believed(setup, logged, out);
        }
    }

    /// What was written down, until a time and after it.
    fn written_until(&mut self, time: Timestamp) -> (VecDeque<Logged>, VecDeque<Logged>) {
        let by_then = |logged: &Logged| logged.time <= time;
        self.logged.drain(..).partition(by_then)
    }

    /// The first point after the sump was filled anew.
    pub(super) fn start_over(&mut self, setup: &BalanceSetup, point: &Point) {
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

    /// Numbers that are none must neither be kept nor shown: the balance begins
    /// with the next point as if it had never been.
    pub(super) fn drop_if_unsound(&mut self) {
        if self.state.as_ref().is_some_and(|state| !state.is_sound()) {
            self.state = None;
            self.filled_anew();
        }
    }
}
