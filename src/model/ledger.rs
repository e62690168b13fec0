//! The ledger: what people wrote down, held against the steps that the readings
//! show.

mod naming;
mod witness;

use crate::units::{Measured, Span, Timestamp};

use super::balance::{Balance, Told};
use super::movement::{Logged, LoggedSum, Movement, MovementKind, Origin};
use super::setup::BalanceSetup;
use super::steps::{LEAST_STEP, STEP};
use witness::Saw;
pub(super) use witness::Witness;

/// What was written down and what was seen belong together when they lie within
/// this of each other.
const BELONGS: Span = Span::from_hours(4);
/// What was written down and not seen by then is judged without.
pub(super) const SEEN_WITHIN: Span = Span::from_mins(90);
/// What a level that stands still has not shown for so long is believed. (choice:
/// an instrument is looked after within a day)
const NOT_TO_BE_SEEN: Span = Span::from_hours(24);
/// Entries that wait to be matched.
const MOST_LOGGED: usize = 16;
/// Movements that are remembered.
const MOST_MOVEMENTS: usize = 32;
/// What is let out and filled up again within this is looked at together.
const TOGETHER: Span = Span::from_hours(1);

impl Balance {
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

    /// What people wrote down and the open step are settled as they stand,
    /// before the sump is filled anew.
    pub fn finish(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
        self.close_step(setup, None, out);
        let believed: Vec<Logged> = self.logged.drain(..).collect();
        for one in &believed {
            self.believe(setup, one, out);
        }
    }

    pub(super) fn keep(&mut self, movement: Movement, out: &mut Vec<Told>) {
        if self.movements.len() == MOST_MOVEMENTS {
            self.movements.pop_front();
        }
        self.movements.push_back(movement.clone());
        out.push(Told::Movement(movement));
    }

    /// Judges what was written down long enough ago without having been seen.
    pub(super) fn judge_unseen(&mut self, setup: &BalanceSetup, out: &mut Vec<Told>) {
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
            if setup.level_measured {
                match self.witness.saw(first.time, first.time + SEEN_WITHIN) {
                    Saw::All => {}
                    Saw::Still if now < first.time + NOT_TO_BE_SEEN => return,
                    Saw::Still | Saw::Nothing => {
                        let first = self.logged.pop_front();
                        first.iter().for_each(|one| self.believe(setup, one, out));
                        continue;
                    }
                }
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
            origin: contradiction(std::slice::from_ref(logged), sump),
            confidence: 1.0,
        };
        self.keep(movement, out);
    }

    pub(super) fn believe(&mut self, setup: &BalanceSetup, logged: &Logged, out: &mut Vec<Told>) {
        if let Some(state) = &mut self.state {
            let sump = state.concentration_pct().value;
            let strength = logged.strength_pct.unwrap_or(sump);
            state.put_in(logged.litres, strength, setup.errors.metering);
            self.mixing_until = self.mixing_until.max(logged.time + setup.mixing);
            self.wander.interrupt();
        }
        self.keep_believed(setup, logged, out);
    }

    /// Into the ledger on the writer's word alone.
    pub(super) fn keep_believed(
        &mut self,
        setup: &BalanceSetup,
        logged: &Logged,
        out: &mut Vec<Told>,
    ) {
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

/// What the readings contradict, if anything was written down; of a sump of this
/// strength, %.
fn contradiction(logged: &[Logged], sump_pct: f64) -> Origin {
    if logged.is_empty() {
        return Origin::Inferred;
    }
    let sum = LoggedSum::of(logged, sump_pct, 0.0);
    Origin::Contradicted {
        entries: logged.iter().map(|one| one.entry.clone()).collect(),
        logged_litres: sum.litres,
        logged_strength_pct: match logged {
            [one] => one.strength_pct.unwrap_or(sump_pct),
            _ => 100.0 * sum.concentrate / sum.litres,
        },
    }
}
