//! Too warm or too cold.

use super::*;

fn warm(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Temperature, LimitLevel::High), pairs)
}

fn cold(pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Temperature, LimitLevel::Low), pairs)
}

#[test]
fn what_rises_is_the_coolers_unless_there_is_little_fluid() {
    let rises = Pairs {
        temperature: Course::Rising,
        ..base()
    };
    assert_eq!(warm(rises), Some(CauseKind::Cooler));
    let little = Pairs {
        short_of_fluid_pct: Some(22.0),
        ..rises
    };
    assert_eq!(warm(little), Some(CauseKind::LittleFluid));
    let rate = Condition::Rate(Quantity::Temperature, Direction::Rising);
    assert_eq!(first(rate, rises), Some(CauseKind::Cooler));
    assert_eq!(warm(base()), None);
}

#[test]
fn what_stays_warm_or_cold_while_it_stands_has_it_of_its_surroundings() {
    let stands = |hours| Pairs {
        pumps: Some((false, hours)),
        temperature: Course::Rising,
        ..base()
    };
    assert_eq!(warm(stands(12.0)), Some(CauseKind::WarmSurroundings));
    assert_eq!(warm(stands(1.0)), Some(CauseKind::Cooler));
    assert_eq!(cold(stands(12.0)), Some(CauseKind::ColdSurroundings));
    assert_eq!(cold(stands(1.0)), None);
    let steady = Pairs {
        temperature: Course::Steady,
        ..base()
    };
    assert_eq!(warm(steady), Some(CauseKind::WarmSurroundings));
    let started = Pairs {
        pumps: Some((true, 0.5)),
        ..base()
    };
    assert_eq!(cold(started), Some(CauseKind::ColdSurroundings));
}

#[test]
fn what_falls_is_cooled_too_much_unless_cold_water_came_in() {
    let falls = Pairs {
        temperature: Course::Falling,
        ..base()
    };
    assert_eq!(cold(falls), Some(CauseKind::CoolsTooMuch));
    let added = Pairs {
        since_added_h: Some(1.0),
        ..falls
    };
    assert_eq!(cold(added), Some(CauseKind::ColdWater));
}

#[test]
fn a_probe_that_asks_comes_first() {
    let asks = Pairs {
        temperature_probe_asks: true,
        temperature: Course::Rising,
        ..base()
    };
    assert_eq!(warm(asks), Some(CauseKind::TemperatureProbe));
    assert_eq!(cold(asks), Some(CauseKind::TemperatureProbe));
}
