//! pH too low or too high.

use super::*;
use crate::rules::PlanStep;

fn sour(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Ph, LimitLevel::Low), pairs)
}

fn alkaline(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Ph, LimitLevel::High), pairs)
}

#[test]
fn a_low_ph_at_a_steady_concentration_is_no_dilution() {
    let steady = Pairs {
        ph_by_concentration: Some(0.0),
        warm_c: Some(31.0),
        ..base()
    };
    assert_eq!(sour(steady), Some(CauseKind::Bacteria));
    let named = causes(&limit(Quantity::Ph, LimitLevel::Low), &steady);
    assert!(named.iter().all(|one| one.cause != CauseKind::Dilution));
    let leaner = Pairs {
        ph_by_concentration: Some(-0.3),
        ..steady
    };
    assert_eq!(sour(leaner), Some(CauseKind::Dilution));
}

#[test]
fn acid_that_is_carried_in_conducts_and_does_not_smell() {
    let acid = Pairs {
        ph_by_concentration: Some(0.0),
        conductivity_ratio: Some(1.4),
        ..base()
    };
    assert_eq!(sour(acid), Some(CauseKind::Acid));
    let smells = Pairs {
        smells: true,
        ..acid
    };
    assert_eq!(sour(smells), Some(CauseKind::Bacteria));
    assert_eq!(
        first(Condition::Souring(Step::Act), smells),
        Some(CauseKind::Bacteria)
    );
}

#[test]
fn an_electrode_that_asks_comes_before_weak_signs() {
    let asks = Pairs {
        electrode_asks: true,
        ph_by_concentration: Some(0.0),
        ..base()
    };
    assert_eq!(sour(asks), Some(CauseKind::Electrode));
    assert_eq!(alkaline(asks), Some(CauseKind::Electrode));
}

#[test]
fn a_high_ph_is_a_cleaners_by_its_jump_and_else_that_of_a_richer_mix() {
    let jumped = |ph_jumped| Pairs {
        ph_jumped,
        ph_by_concentration: Some(0.2),
        ..base()
    };
    assert_eq!(alkaline(jumped(true)), Some(CauseKind::Cleaner));
    assert_eq!(alkaline(jumped(false)), Some(CauseKind::Richer));
}

#[test]
fn a_drop_of_ph_has_the_causes_of_a_low_ph() {
    let steady = Pairs {
        ph_by_concentration: Some(0.0),
        germs_found: true,
        ..base()
    };
    let acid = Pairs {
        germs_found: false,
        conductivity_ratio: Some(1.4),
        ..steady
    };
    let leaner = Pairs {
        ph_by_concentration: Some(-0.3),
        ..base()
    };
    for (pairs, cause) in [
        (steady, CauseKind::Bacteria),
        (acid, CauseKind::Acid),
        (leaner, CauseKind::Dilution),
    ] {
        for step in [PlanStep::Watch, PlanStep::Act] {
            let of_drop = causes(&Condition::PhDrop(step), &pairs);
            let of_limit = causes(&limit(Quantity::Ph, LimitLevel::Low), &pairs);
            assert_eq!(of_drop, of_limit);
            assert_eq!(of_drop[0].cause, cause);
        }
    }
}
