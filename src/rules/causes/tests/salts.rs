//! Conductivity too high or too low.

use super::*;

fn excess(pairs: Pairs) -> Option<CauseKind> {
    first(Condition::Excess(Step::Act), pairs)
}

fn conductivity(level: LimitLevel, pairs: Pairs) -> Option<CauseKind> {
    first(limit(Quantity::Conductivity, level), pairs)
}

fn chloride(content: f64) -> MineralSeen {
    MineralSeen {
        content: Some(content),
        watch: 100.0,
        ..MineralSeen::default()
    }
}

fn hardness(content: f64) -> MineralSeen {
    MineralSeen {
        content: Some(content),
        watch: 400.0,
        ..MineralSeen::default()
    }
}

#[test]
fn salts_are_a_cleaners_by_the_jump_of_ph_and_minerals_by_their_content() {
    let minerals = Pairs {
        hardness: MineralSeen {
            content: Some(500.0),
            watch: 400.0,
            ..MineralSeen::default()
        },
        ..base()
    };
    let of = |pairs| first(Condition::Excess(Step::Watch), pairs);
    assert_eq!(of(minerals), Some(CauseKind::Minerals));
    let cleaner = Pairs {
        ph_jumped: true,
        ..minerals
    };
    assert_eq!(of(cleaner), Some(CauseKind::Cleaner));
    let prism = Pairs {
        prism_asks: true,
        ..base()
    };
    assert_eq!(of(prism), Some(CauseKind::Prism));
}

#[test]
fn with_a_high_ph_it_is_alkaline_and_with_a_low_one_acid_unless_it_smells() {
    let ph = |unexplained| Pairs {
        ph_unexplained: Some(unexplained),
        conductivity_ratio: Some(1.8),
        ..base()
    };
    assert_eq!(excess(ph(-0.4)), Some(CauseKind::Cleaner));
    assert_eq!(excess(ph(0.6)), Some(CauseKind::Acid));
    assert_eq!(excess(ph(0.4)), Some(CauseKind::Minerals));
    let smells = Pairs {
        smells: true,
        ..ph(0.6)
    };
    assert_ne!(excess(smells), Some(CauseKind::Acid));
}

#[test]
fn chloride_without_hardness_is_salt_that_came_in_or_softened_water() {
    let alone = Pairs {
        chloride: chloride(250.0),
        hardness: hardness(150.0),
        conductivity_ratio: Some(1.8),
        ..base()
    };
    assert_eq!(excess(alone), Some(CauseKind::SaltIn));
    let both = Pairs {
        hardness: hardness(600.0),
        ..alone
    };
    assert_eq!(excess(both), Some(CauseKind::Minerals));
    let water = |of: MineralSeen, water| MineralSeen {
        water: Some(water),
        ..of
    };
    let softened = Pairs {
        chloride: water(alone.chloride, 60.0),
        hardness: water(alone.hardness, 5.0),
        ..alone
    };
    assert_eq!(excess(softened), Some(CauseKind::SoftenedWater));
    let hard = Pairs {
        hardness: water(alone.hardness, 150.0),
        ..softened
    };
    assert_eq!(excess(hard), Some(CauseKind::SaltIn));
}

#[test]
fn it_goes_with_the_concentrate_where_it_is_what_that_makes_it() {
    let came = |ratio| Pairs {
        mix_in: Some(40.0),
        concentration: Course::Unknown,
        conductivity_ratio: Some(ratio),
        ..base()
    };
    let high = |pairs| conductivity(LimitLevel::High, pairs);
    assert_eq!(high(came(1.0)), Some(CauseKind::MixIn));
    assert_eq!(high(came(1.6)), None);
    let prism = Pairs {
        prism_asks: true,
        ..came(1.6)
    };
    assert_eq!(high(prism), None, "conductivity needs no prism");
    assert_eq!(excess(prism), Some(CauseKind::Prism));
}

#[test]
fn low_by_water_or_by_purified_water_or_by_the_cell() {
    let low = |pairs| conductivity(LimitLevel::LowLow, pairs);
    let water = Pairs {
        water_in: Some(60.0),
        ..base()
    };
    assert_eq!(low(water), Some(CauseKind::WaterIn));
    let pure = |content| Pairs {
        conductivity_ratio: Some(0.8),
        hardness: MineralSeen {
            water: Some(content),
            ..hardness(60.0)
        },
        ..base()
    };
    assert_eq!(low(pure(2.0)), Some(CauseKind::PureWater));
    assert_eq!(low(pure(200.0)), Some(CauseKind::ConductivityCell));
    let asks = Pairs {
        conductivity_cell_asks: true,
        ..pure(2.0)
    };
    assert_eq!(low(asks), Some(CauseKind::ConductivityCell));
    assert_eq!(low(base()), None);
}
