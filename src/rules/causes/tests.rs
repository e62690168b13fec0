//! Each cause comes first by its own signs, and not by the contrary ones.

mod level;
mod minerals;
mod nitrite;
mod ph;
mod salts;
mod temperature;

use super::*;
use crate::rules::{LimitLevel, Step};

fn first(condition: Condition, pairs: Pairs) -> Option<CauseKind> {
    causes(&condition, &pairs).first().map(|one| one.cause)
}

fn limit(quantity: Quantity, level: LimitLevel) -> Condition {
    Condition::Limit(quantity, level)
}

fn lean(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Concentration, LimitLevel::Low), pairs)
}

fn rich(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Concentration, LimitLevel::HighHigh), pairs)
}

/// Some of all, which each case changes.
fn base() -> Pairs {
    Pairs {
        concentration: Course::Steady,
        volume: Course::Steady,
        hand_tolerance_pct: 0.5,
        since_added_h: Some(12.0),
        conductivity_ratio: Some(1.0),
        pumps: Some((true, 100.0)),
        ..Pairs::default()
    }
}

#[test]
fn without_signs_no_cause_is_named() {
    for quantity in [Quantity::Concentration, Quantity::Ph, Quantity::Volume] {
        for level in LimitLevel::ALL {
            let none = causes(&limit(quantity, level), &Pairs::default());
            assert_eq!(none, [], "{quantity} {level:?}");
        }
    }
}

#[test]
fn lean_by_water_that_runs_in_and_not_while_the_level_falls() {
    let pairs = Pairs {
        volume: Course::Rising,
        ..base()
    };
    assert_eq!(lean(pairs), Some(CauseKind::WaterIn));
    let falls = Pairs {
        volume: Course::Falling,
        ..base()
    };
    assert_ne!(lean(falls), Some(CauseKind::WaterIn));
    let seen = Pairs {
        water_in: Some(40.0),
        water_written: Some(20.0),
        ..base()
    };
    assert_eq!(lean(seen), Some(CauseKind::WaterIn));
}

#[test]
fn lean_by_plain_water_and_by_a_weak_mixer_not_by_a_strong_one() {
    let water = Pairs {
        water_written: Some(50.0),
        ..base()
    };
    assert_eq!(lean(water), Some(CauseKind::PlainWater));
    let mixer = |off| Pairs {
        mixer_off_pct: Some(off),
        ..water
    };
    assert_eq!(lean(mixer(-2.0)), Some(CauseKind::MixerWeak));
    assert_eq!(lean(mixer(2.0)), Some(CauseKind::PlainWater));
}

#[test]
fn lean_by_a_prism_unless_hand_and_conductivity_agree_with_it() {
    let prism = Pairs {
        prism_asks: true,
        conductivity_ratio: Some(1.3),
        ..base()
    };
    assert_eq!(lean(prism), Some(CauseKind::Prism));
    let agrees = Pairs {
        over_hand_pct: Some(0.1),
        conductivity_ratio: Some(1.0),
        ..prism
    };
    assert_eq!(lean(agrees), None);
    let hand = |gap| Pairs {
        over_hand_pct: Some(gap),
        conductivity_ratio: None,
        ..base()
    };
    assert_eq!(lean(hand(-1.0)), Some(CauseKind::Prism));
    assert_eq!(lean(hand(1.0)), None, "the instrument reads high");
}

#[test]
fn lean_as_a_top_up_is_overdue() {
    let since = |hours| Pairs {
        since_added_h: Some(hours),
        ..base()
    };
    assert_eq!(lean(since(100.0)), Some(CauseKind::TopUpOverdue));
    assert_eq!(lean(since(2.0)), None);
}

#[test]
fn rich_by_evaporation_unless_the_level_stands() {
    let falls = Pairs {
        volume: Course::Falling,
        since_added_h: Some(60.0),
        ..base()
    };
    assert_eq!(rich(falls), Some(CauseKind::Evaporation));
    let stands = Pairs {
        volume: Course::Steady,
        ..falls
    };
    assert_eq!(rich(stands), None);
}

#[test]
fn rich_by_mixer_by_tramp_oil_by_prism_and_by_what_came_in() {
    let strong = Pairs {
        mixer_off_pct: Some(1.5),
        ..base()
    };
    assert_eq!(rich(strong), Some(CauseKind::MixerStrong));
    let oil = Pairs {
        over_titration_pct: Some(1.2),
        ..base()
    };
    assert_eq!(rich(oil), Some(CauseKind::TrampOil));
    let prism = |gap| Pairs {
        forbidden_a_day: Some(0.8),
        over_hand_pct: gap,
        ..base()
    };
    assert_eq!(rich(prism(None)), Some(CauseKind::Prism));
    assert_eq!(rich(prism(Some(0.0))), None, "the hand reading agrees");
    let came = Pairs {
        mix_in: Some(30.0),
        ..base()
    };
    assert_eq!(rich(came), Some(CauseKind::MixIn));
}

#[test]
fn rich_by_a_cleaner_only_where_ph_jumped() {
    let cleaner = |ph_jumped| Pairs {
        ph_jumped,
        conductivity_ratio: Some(1.4),
        ..base()
    };
    assert_eq!(rich(cleaner(true)), Some(CauseKind::Cleaner));
    assert_eq!(rich(cleaner(false)), None);
}

#[test]
fn no_more_than_three_are_named() {
    let all = Pairs {
        water_in: Some(1.0),
        volume: Course::Rising,
        water_written: Some(30.0),
        mixer_off_pct: Some(-1.0),
        prism_asks: true,
        conductivity_ratio: Some(1.5),
        since_added_h: Some(100.0),
        ..base()
    };
    let named = causes(&limit(Quantity::Concentration, LimitLevel::Low), &all);
    assert_eq!(named.len(), 3);
    assert_eq!(named[0].cause, CauseKind::WaterIn);
    assert_eq!(named[0].signs[0].sign, Sign::WaterByBalance);
    assert_eq!(named[0].signs[0].value, Some(1.0));
}

#[test]
fn what_moves_fast_has_the_causes_of_its_way() {
    let rate = |signal, direction, pairs| first(Condition::Rate(signal, direction), pairs);
    let water = Pairs {
        water_in: Some(30.0),
        volume: Course::Rising,
        ..base()
    };
    use Direction::{Falling, Rising};
    let lean = rate(Quantity::Concentration, Falling, water);
    assert_eq!(lean, Some(CauseKind::WaterIn));
    let thinner = rate(Quantity::Conductivity, Falling, water);
    assert_eq!(thinner, Some(CauseKind::WaterIn));
    let cleaner = Pairs {
        ph_jumped: true,
        ..base()
    };
    assert_eq!(
        rate(Quantity::Ph, Rising, cleaner),
        Some(CauseKind::Cleaner)
    );
    assert_ne!(
        rate(Quantity::Ph, Falling, cleaner),
        Some(CauseKind::Cleaner)
    );
    let lost = Pairs {
        mix_lost: Some(12.0),
        ..base()
    };
    assert_eq!(rate(Quantity::Volume, Falling, lost), Some(CauseKind::Leak));
    assert_eq!(rate(Quantity::Temperature, Rising, lost), None);
}

#[test]
fn a_shift_has_the_causes_of_its_side() {
    let shifted = |of, pairs| first(Condition::Shifted(of), pairs);
    let grows = |shift| Pairs {
        shift: Some(shift),
        germs_found: true,
        ..base()
    };
    assert_eq!(shifted(Charted::Ph, grows(-0.2)), Some(CauseKind::Bacteria));
    assert_eq!(shifted(Charted::Ph, grows(0.2)), None);
    let factor = |shift, oil_found| Pairs {
        shift: Some(shift),
        oil_found,
        ..base()
    };
    let of_factor = |pairs| shifted(Charted::RefractiveFactor, pairs);
    assert_eq!(of_factor(factor(-12.0, true)), Some(CauseKind::TrampOil));
    assert_eq!(of_factor(factor(-12.0, false)), Some(CauseKind::TrampOil));
    assert_eq!(of_factor(factor(12.0, true)), Some(CauseKind::Prism));
}
