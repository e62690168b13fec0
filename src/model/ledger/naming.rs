//! A step that has told enough is held against what people wrote down, named, and
//! written into the ledger.

use super::{BELONGS, contradiction, logged_movement};
use crate::model::balance::{Balance, LEAST_TELLING, OpenStep, Response, Told};
use crate::model::classify::{Beforehand, Guess, Lines, Often, Usual, classify};
use crate::model::movement::{Logged, LoggedSum, Movement, MovementKind, Origin};
use crate::model::setup::BalanceSetup;
use crate::model::state::{State, Step};
use crate::model::steps::LEAST_STEP;
use crate::units::{Measured, Span, Timestamp};

/// A step that is named with this confidence is not waited for any longer
/// (choice).
const SURE: f64 = 0.97;
/// Squared distance between what was written down and what was seen beyond
/// which they contradict each other: χ² with two degrees of freedom, one in a
/// thousand.
const CONTRADICTS: f64 = 13.8;
/// How much of the wandering's variance falls to either side of a step (choice:
/// all of it, as if nothing of it were the same before and after).
const WANDERS: f64 = 1.0;
/// What an exchange of mix for mix moves the concentration by may be so many
/// points off what was written down. (choice: what a dose is made for)
const SWAP_APART_PCT: f64 = 0.3;
/// What is measured out of both may differ by so many standard deviations.
const SWAP_SIGMAS: f64 = 3.0;
/// Litres of several deeds are those of one step where they differ by so many
/// standard deviations at most. (choice)
const TOGETHER_SIGMAS: f64 = 3.0;
/// A deed is written down for a time within this of when it was done, if it is
/// to be held against what was seen then. (choice)
const WRITTEN_WITHIN: Span = Span::from_mins(30);
/// Lines that have drained are taken to stand empty for so long at most.
const STANDS: Span = Span::from_hours(96);
/// Make-up is usual once there was so much of it, and the newest count.
const USUAL_FROM: usize = 3;
const USUAL_OF: usize = 12;
/// Where the strengths differ by more than this beyond what they are known to
/// (χ² over its degrees of freedom), nothing is usual.
const USUAL_SCATTERS: f64 = 2.0;
/// It is no water where it is so many deviations stronger.
const USUAL_SURE: f64 = 3.0;
/// Its strength differs from one time to the next by this share at least
/// (choice: mixers do).
const USUAL_DIFFERS: f64 = 0.1;

impl Balance {
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
        let share = if mean > USUAL_SURE * deviation {
            mean / 100.0
        } else {
            0.0
        };
        Some(Usual {
            share,
            deviation: (deviation / 100.0).max(USUAL_DIFFERS * share),
        })
    }

    /// How often each kind of addition went in of late that nobody wrote down.
    fn often(&self) -> Often {
        let mut often = Often::default();
        let unwritten = |one: &&Movement| one.origin == Origin::Inferred;
        for one in self.movements.iter().filter(unwritten) {
            match one.kind {
                MovementKind::Water => often.water += one.confidence,
                MovementKind::Premix => often.premix += one.confidence,
                MovementKind::Concentrate => often.concentrate += one.confidence,
                _ => {}
            }
        }
        often
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

    /// What was written down about the time of a step, but for what lies nearer to
    /// the step that comes `next`.
    fn written_about(&self, open: &OpenStep, next: Option<Timestamp>) -> Vec<Logged> {
        let (from, to) = (open.since - BELONGS, open.until + BELONGS);
        let belongs_to_next = |one: &Logged| {
            next.is_some_and(|next| (one.time - next).millis().abs() < open.away(one.time))
        };
        let near = self
            .logged
            .iter()
            .filter(|one| (from..=to).contains(&one.time) && !belongs_to_next(one));
        near.cloned().collect()
    }

    /// What a step was, if there was one.
    fn guess(
        &self,
        setup: &BalanceSetup,
        open: &OpenStep,
        step: &Step,
        candidates: &[Logged],
    ) -> Option<Guess> {
        let known = Beforehand {
            written: candidates.iter().any(|one| one.litres > 0.0),
            lines: self.lines(setup),
            usual: self.usual_make_up(),
            often: self.often(),
        };
        classify(step, open.share, &known, setup)
    }

    /// Whether more points would hardly change what the step is taken for. What
    /// was written down is not waited for, nor what leaves the level as it was;
    /// nor anything where nobody says when the pumps stand, as the next stop or
    /// start would fall into the waiting.
    pub(in crate::model) fn is_sure_of(&self, setup: &BalanceSetup, open: &OpenStep) -> bool {
        let Some(step) = self.state.as_ref().and_then(State::step) else {
            return true;
        };
        let candidates = self.written_about(open, None);
        let alone = candidates.is_empty() && self.lines(setup) == Lines::Known;
        if !setup.level_measured || !alone || step.volume_l <= 0.0 {
            return true;
        }
        let guess = self.guess(setup, open, &step, &candidates);
        guess.is_none_or(|guess| match guess.kind {
            MovementKind::Instrument | MovementKind::Thinned => true,
            MovementKind::Unclear => false,
            _ => guess.confidence >= SURE,
        })
    }

    /// Names the open step and writes it into the ledger; `next` is when another
    /// begins.
    pub(in crate::model) fn close_step(
        &mut self,
        setup: &BalanceSetup,
        next: Option<Timestamp>,
        out: &mut Vec<Told>,
    ) {
        let (Some(open), Some(state)) = (self.open.take(), &self.state) else {
            return;
        };
        let Some(step) = state.step() else { return };
        let candidates = self.written_about(&open, next);
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
        if let Some(matched) = matching(setup, &open, &step, &candidates) {
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
        let guess = self.guess(setup, &open, &step, &candidates);
        let Some(state) = &mut self.state else { return };
        match guess.map(|guess| guess.kind) {
            Some(MovementKind::Instrument) => state.blame_instrument(),
            _ => state.close_step(),
        }
        let Some(guess) = guess else { return };
        let contradicted = contradicted(setup, &candidates, &open, &guess);
        let movement = Movement {
            time: open.since,
            until: open.until,
            kind: guess.kind,
            litres: guess.litres,
            strength_pct: guess.strength_pct,
            seen_strength_pct: guess.seen_strength_pct,
            origin: contradiction(&contradicted, sump),
            confidence: guess.confidence,
        };
        for one in &contradicted {
            self.logged.retain(|other| other.entry != one.entry);
        }
        self.keep(movement, out);
    }
}

/// What was written down of a step, if it agrees with what was seen: all
/// candidates together, or those about its own time, or else one of them, the
/// nearest.
fn matching(
    setup: &BalanceSetup,
    open: &OpenStep,
    step: &Step,
    candidates: &[Logged],
) -> Option<Vec<Logged>> {
    let sump_pct = 100.0 * open.share;
    let agrees = |logged: &[Logged]| {
        !logged.is_empty() && distance(setup, step, sump_pct, logged) < CONTRADICTS
    };
    if agrees(candidates) || explains(setup, step, sump_pct, candidates) {
        return Some(candidates.to_vec());
    }
    let about = about(candidates, open);
    if agrees(&about) {
        return Some(about);
    }
    let single = candidates
        .iter()
        .filter(|one| agrees(std::slice::from_ref(*one)));
    let nearest = single.min_by_key(|one| open.away(one.time))?;
    Some(vec![nearest.clone()])
}

/// What was written down within half an hour of a step.
fn about(candidates: &[Logged], open: &OpenStep) -> Vec<Logged> {
    let near = |one: &&Logged| open.away(one.time) <= WRITTEN_WITHIN.millis();
    candidates.iter().filter(near).cloned().collect()
}

/// Whether what was let out and filled up again leaves the volume as it was, as
/// the step does, and moves the concentrate about as far the same way: rather
/// that than the instrument.
fn explains(setup: &BalanceSetup, step: &Step, sump_pct: f64, candidates: &[Logged]) -> bool {
    let sum = LoggedSum::of(candidates, sump_pct, setup.errors.metering);
    let least = LEAST_STEP * setup.working_volume_l;
    // Both amounts are measured out with the same care.
    let poured = SWAP_SIGMAS * sum.litres_variance.sqrt();
    let stays = |litres: f64| litres.abs() < (5.0 * least).max(poured);
    let apart = (step.concentrate_l - sum.concentrate).abs();
    let alike = (0.4..2.5).contains(&(step.concentrate_l / sum.concentrate))
        || apart < SWAP_APART_PCT / 100.0 * setup.working_volume_l;
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

/// What was written down within half an hour that the movement may stand for: it
/// ran the same way, and neither lines nor instruments are written down. All of
/// it where the litres are those together, and else the nearest in time.
fn contradicted(
    setup: &BalanceSetup,
    candidates: &[Logged],
    open: &OpenStep,
    guess: &Guess,
) -> Vec<Logged> {
    let nobodys = [
        MovementKind::Lines,
        MovementKind::Instrument,
        MovementKind::Thinned,
    ];
    if nobodys.contains(&guess.kind) {
        return Vec::new();
    }
    // What was written down long before or after may still be seen by itself.
    let mut about = about(candidates, open);
    about.retain(|one| one.litres * guess.litres.value > 0.0);
    let together = LoggedSum::of(&about, 0.0, setup.errors.metering);
    let apart = (together.litres - guess.litres.value).abs();
    let doubt = guess
        .litres
        .uncertainty
        .hypot(together.litres_variance.sqrt());
    if apart > TOGETHER_SIGMAS * doubt {
        about.sort_by_key(|one| open.away(one.time));
        about.truncate(1);
    }
    about
}

impl OpenStep {
    /// How far a time lies outside of the step, ms.
    fn away(&self, time: Timestamp) -> i64 {
        let before = (self.since - time).millis();
        let after = (time - self.until).millis();
        before.max(after).max(0)
    }
}
