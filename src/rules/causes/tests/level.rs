//! Levels, losses and gains.

use super::*;

fn empty(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Volume, LimitLevel::Low), pairs)
}

fn full(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Volume, LimitLevel::High), pairs)
}

#[test]
fn low_by_a_leak_unless_the_concentration_rises() {
    let leak = |concentration| Pairs {
        mix_lost: Some(3.0),
        concentration,
        ..base()
    };
    assert_eq!(empty(leak(Course::Steady)), Some(CauseKind::Leak));
    let water = Pairs {
        water_lost: Some(3.0),
        concentration: Course::Rising,
        ..base()
    };
    assert_eq!(empty(water), Some(CauseKind::Evaporation));
    let named = causes(&Condition::Loss, &water);
    assert!(named.iter().all(|one| one.cause != CauseKind::Leak));
}

#[test]
fn low_as_nothing_was_added_or_the_pumps_filled_the_lines() {
    let carried = Pairs {
        since_added_h: Some(70.0),
        ..base()
    };
    assert_eq!(empty(carried), Some(CauseKind::CarryOff));
    let started = |hours| Pairs {
        pumps: Some((true, hours)),
        concentration: Course::Unknown,
        ..base()
    };
    assert_eq!(empty(started(0.5)), Some(CauseKind::LinesFilled));
    assert_eq!(empty(started(50.0)), None);
}

#[test]
fn high_by_lines_that_ran_back_only_while_the_pumps_stand() {
    let pumps = |run| Pairs {
        pumps: Some((run, 1.0)),
        ..base()
    };
    assert_eq!(full(pumps(false)), Some(CauseKind::DrainedBack));
    assert_eq!(full(pumps(true)), None);
}

#[test]
fn high_by_water_by_mix_by_a_top_up_and_by_foam() {
    let water = Pairs {
        concentration: Course::Falling,
        ..base()
    };
    assert_eq!(full(water), Some(CauseKind::WaterIn));
    let mix = Pairs {
        mix_in: Some(20.0),
        ..base()
    };
    assert_eq!(first(Condition::Gain, mix), Some(CauseKind::MixIn));
    let added = Pairs {
        since_added_h: Some(1.0),
        ..base()
    };
    assert_eq!(full(added), Some(CauseKind::Overfilled));
    let foam = Pairs {
        foam_seen: true,
        level_probe_asks: true,
        ..added
    };
    assert_eq!(full(foam), Some(CauseKind::Foam));
    let probe = Pairs {
        foam_seen: false,
        ..foam
    };
    assert_eq!(full(probe), Some(CauseKind::LevelProbe));
}
