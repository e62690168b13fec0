//! Entries that are wrong: what is told of them, and what they do to the
//! losses.

use sumpward::engine::EntryKind;
use sumpward::model::Origin;

use super::run::{median_and_worst, spec, true_losses, white};
use super::whole::{Knows, Whole, addition};

/// How somebody slips when they write a top-up down.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Slip {
    /// Ten times the litres.
    TenTimes,
    /// Water instead of concentrate.
    WrongKind,
    /// Of another sump, so that nothing happened here.
    WrongSump,
    /// Written down twice.
    Twice,
}

/// Twelve days with a top-up of water every other day, some hours after it
/// concentrate; on the sixth and the tenth somebody slips. Tells what became of
/// each wrong entry.
fn twelve_days(slip: Slip, seed: u64) -> (Whole, Vec<String>) {
    let spec = spec(1.0, 8.0, white());
    let (evaporation, carry_off) = true_losses(&spec);
    let mut whole = Whole::new(spec, Knows::all(&spec), seed);
    let mut wrong = Vec::new();
    for round in 1..=6 {
        let slips = round == 3 || round == 5;
        whole.run_hours(31.0);
        let water = 2.0 * evaporation + 2.0 * carry_off * 0.92;
        whole.trial.add(water, 0.0);
        match slips && slip == Slip::TenTimes {
            true => wrong.push(whole.enter(addition(10.0 * water, 0.0, None))),
            false => drop(whole.enter(addition(water, 0.0, None))),
        }
        if slips && slip == Slip::Twice {
            whole.run_hours(0.5);
            wrong.push(whole.enter(addition(water, 0.0, None)));
        }
        if slips && slip == Slip::WrongSump {
            whole.run_hours(5.0);
            wrong.push(whole.enter(addition(60.0, 6.0, None)));
        }
        whole.run_hours(8.0);
        let concentrate = 2.0 * carry_off * 0.08;
        whole.trial.add(concentrate, 100.0);
        let what: EntryKind = match slips && slip == Slip::WrongKind {
            true => addition(concentrate, 0.0, None),
            false => addition(concentrate, 100.0, None),
        };
        let id = whole.enter(what);
        if slips && slip == Slip::WrongKind {
            wrong.push(id);
        }
        let passed = whole.trial.now() - super::run::START;
        whole.run_hours(48.0 * f64::from(round) - passed.secs_f64() / 3600.0);
    }
    (whole, wrong)
}

/// Whether a movement says that this entry and the readings contradict each
/// other, or that nothing was seen of it.
fn is_told(whole: &Whole, entry: &str) -> bool {
    whole.movements().iter().any(|one| match &one.origin {
        Origin::Contradicted { entries, .. } => entries.iter().any(|id| id == entry),
        Origin::Logged { .. } | Origin::Inferred => false,
    })
}

#[test]
fn slips_are_told_and_spoil_no_losses() {
    for slip in [
        Slip::TenTimes,
        Slip::WrongKind,
        Slip::WrongSump,
        Slip::Twice,
    ] {
        let (mut told, mut made) = (0, 0);
        let (mut evaporations, mut carry_offs) = (Vec::new(), Vec::new());
        for seed in 1..=20 {
            let (whole, wrong) = twelve_days(slip, seed);
            made += wrong.len();
            for id in &wrong {
                told += usize::from(is_told(&whole, id));
            }
            let (evaporation, carry_off) = true_losses(&whole.spec);
            let losses = whole.losses();
            evaporations.push(losses.evaporation_l_per_d.value / evaporation - 1.0);
            carry_offs.push(losses.carry_off_l_per_d.value / carry_off - 1.0);
        }
        let evaporation = median_and_worst(&evaporations);
        let carry_off = median_and_worst(&carry_offs);
        println!(
            "slips, {slip:?}: {told} of {made} told; evaporation median {:.1} %, worst {:.1} %; carry-off median {:.1} %, worst {:.1} %",
            100.0 * evaporation.0,
            100.0 * evaporation.1,
            100.0 * carry_off.0,
            100.0 * carry_off.1
        );
        assert_eq!(told, made, "{slip:?}");
        assert!(evaporation.1 < 0.05, "{evaporation:?}");
        assert!(carry_off.1 < 0.10, "{carry_off:?}");
    }
}
