//! The whole loop: an alarm, its advice, what is poured in, and what came of it.

use std::sync::Arc;

use sumpward::advice::{Advice, Dose};
use sumpward::engine::JournalBody;
use sumpward::simulate::trial::TrialSpec;

use super::chance::Chance;
use super::run::{median_and_worst, spec, white};
use super::whole::{Knows, Whole, addition, drained};

const TARGET_PCT: f64 = 8.0;
const WORKING_L: f64 = 800.0;

/// The newest advice with a dose that has not been followed or withdrawn.
fn standing(whole: &Whole) -> Option<Arc<Advice>> {
    let mut standing = None;
    for line in &whole.journal {
        match &line.body {
            JournalBody::Advice { advice } if advice.dose.is_some() => {
                standing = Some(Arc::clone(advice));
            }
            JournalBody::AdviceFollowed { .. } | JournalBody::AdviceWithdrawn { .. } => {
                standing = None;
            }
            _ => {}
        }
    }
    standing
}

/// What the steps of one correction came to.
#[derive(Debug, Default)]
struct Loop {
    /// How far the concentration lay off what was expected, after each dose, in
    /// points.
    missed: Vec<f64>,
    /// How far from the target it ended, in points.
    ended: f64,
    highest_l: f64,
    strongest_pct: f64,
}

/// Follows one dose exactly as it is advised; amounts are metered.
fn follow(whole: &mut Whole, advice: &Advice, dose: &Dose, done: &mut Loop) {
    let amounts = &dose.amounts;
    if amounts.drain_l > 0.0 {
        whole.trial.drain(amounts.drain_l);
        whole.enter(drained(amounts.drain_l, Some(&advice.id)));
    }
    if amounts.premix_l > 0.0 {
        let strength = amounts.premix_strength_pct;
        whole.trial.add(amounts.premix_l, strength);
        whole.enter(addition(amounts.premix_l, strength, Some(&advice.id)));
        done.strongest_pct = done.strongest_pct.max(strength);
    }
    done.highest_l = done.highest_l.max(whole.trial.mix().volume_l());
    whole.run_hours((dose.mixing_min / 60.0).max(0.5));
    let found = whole.trial.mix().concentration_pct();
    done.missed
        .push(found - dose.expected_concentration_pct.value);
}

/// A sump that is lean or rich, low or full, corrected until there is no more
/// advice.
fn corrected(factor: f64, seed: u64) -> Loop {
    let mut chance = Chance(seed);
    let off = chance.between(1.3, 4.0) * if seed.is_multiple_of(2) { 1.0 } else { -1.0 };
    let start = TrialSpec {
        volume_l: WORKING_L * chance.between(0.72, 1.02),
        ..spec(factor, TARGET_PCT + off, white())
    };
    let knows = Knows {
        working_volume_l: WORKING_L,
        target_pct: TARGET_PCT,
        lowest_l: 0.85 * WORKING_L,
        highest_pct: TARGET_PCT + 1.0,
        ..Knows::all(&start)
    };
    let mut whole = Whole::new(start, knows, seed);
    let mut done = Loop::default();
    whole.run_hours(2.0);
    for _ in 0..12 {
        if let Some(advice) = standing(&whole) {
            let dose = advice.dose.as_ref().expect("advice that stands has a dose");
            follow(&mut whole, &advice, dose, &mut done);
        }
        whole.run_hours(1.0);
    }
    assert!(standing(&whole).is_none(), "seed {seed}: no end of advice");
    done.ended = whole.trial.mix().concentration_pct() - TARGET_PCT;
    done
}

#[test]
fn doses_do_what_was_expected_of_them_and_end_at_the_target() {
    for factor in [1.0, 2.3] {
        let loops: Vec<Loop> = (1..=20).map(|seed| corrected(factor, seed)).collect();
        let missed: Vec<f64> = loops.iter().flat_map(|one| one.missed.clone()).collect();
        let ended: Vec<f64> = loops.iter().map(|one| one.ended).collect();
        let highest = loops.iter().map(|one| one.highest_l).fold(0.0, f64::max);
        let strongest = loops
            .iter()
            .map(|one| one.strongest_pct)
            .fold(0.0, f64::max);
        let (missed_by, ended_off) = (median_and_worst(&missed), median_and_worst(&ended));
        println!(
            "doses, factor {factor}: {} in 20 corrections, off what was expected by {:.2} points in the median, {:.2} at worst; ended {:.2} points off the target in the median, {:.2} at worst; highest volume {highest:.0} L of {:.0} L, strongest premix {strongest:.1} %",
            missed.len(),
            missed_by.0,
            missed_by.1,
            ended_off.0,
            ended_off.1,
            1.05 * WORKING_L
        );
        assert!(missed.len() >= 20);
        assert!(missed_by.1 < 0.2, "{missed_by:?}");
        assert!(ended_off.1 < 0.3 + 0.2, "{ended_off:?}");
        assert!(highest <= 1.05 * WORKING_L, "{highest}");
        assert!(strongest <= 20.0, "{strongest}");
    }
}
