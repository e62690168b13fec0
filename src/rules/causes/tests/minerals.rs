//! Hardness and chloride too high.

use super::*;

fn chloride(pairs: Pairs) -> Option<CauseKind> {
    first(Condition::Mineral(Mineral::Chloride, Step::Act), pairs)
}

fn hardness(pairs: Pairs) -> Option<CauseKind> {
    first(Condition::Mineral(Mineral::Hardness, Step::Watch), pairs)
}

/// Both at these contents, against what is usual.
fn at(hardness: f64, chloride: f64) -> Pairs {
    let seen = |content, watch| MineralSeen {
        content: Some(content),
        watch,
        ..MineralSeen::default()
    };
    Pairs {
        hardness: seen(hardness, 400.0),
        chloride: seen(chloride, 100.0),
        ..base()
    }
}

#[test]
fn both_that_rise_are_piled_up_by_the_water_and_chloride_alone_is_salt() {
    assert_eq!(chloride(at(600.0, 150.0)), Some(CauseKind::Minerals));
    assert_eq!(hardness(at(600.0, 150.0)), Some(CauseKind::Minerals));
    assert_eq!(chloride(at(150.0, 150.0)), Some(CauseKind::SaltIn));
    assert_eq!(
        hardness(at(600.0, 20.0)),
        None,
        "hard water has little salt"
    );
}

#[test]
fn hard_water_that_ends_too_high_piles_up_in_an_old_charge() {
    let mut piles = at(600.0, 20.0);
    piles.hardness.water = Some(200.0);
    piles.hardness.ends_at = Some(700.0);
    piles.charge_age_d = Some(120.0);
    let named = causes(&Condition::Mineral(Mineral::Hardness, Step::Act), &piles);
    assert_eq!(named.len(), 1);
    assert_eq!(named[0].cause, CauseKind::Minerals);
    let signs: Vec<Sign> = named[0].signs.iter().map(|seen| seen.sign).collect();
    assert_eq!(signs, [Sign::EndsHigh, Sign::WaterBrings, Sign::OldCharge]);
    let ahead = Condition::Ahead(Quantity::Hardness, LimitLevel::High);
    assert_eq!(first(ahead, piles), Some(CauseKind::Minerals));
    piles.hardness.water = Some(5.0);
    piles.hardness.ends_at = Some(20.0);
    assert_eq!(hardness(piles), None, "purified water");
}

#[test]
fn a_reading_that_nothing_explains_is_of_other_water_or_of_salt() {
    let mut read = at(600.0, 150.0);
    (read.hardness.water, read.chloride.water) = (Some(5.0), Some(2.0));
    read.hardness.read_over = Some(300.0);
    read.chloride.read_over = Some(90.0);
    assert_eq!(hardness(read), Some(CauseKind::OtherWater));
    assert_eq!(chloride(read), Some(CauseKind::OtherWater));
    read.hardness.content = Some(150.0);
    assert_eq!(chloride(read), Some(CauseKind::SaltIn));
}

#[test]
fn softened_water_keeps_its_chloride() {
    let mut soft = at(150.0, 150.0);
    (soft.hardness.water, soft.chloride.water) = (Some(5.0), Some(60.0));
    assert_eq!(chloride(soft), Some(CauseKind::SoftenedWater));
    soft.hardness.water = Some(200.0);
    assert_ne!(chloride(soft), Some(CauseKind::SoftenedWater));
}

#[test]
fn water_that_is_lost_leaves_both_behind() {
    let lost = Pairs {
        water_lost: Some(4.0),
        volume: Course::Falling,
        concentration: Course::Rising,
        ..at(600.0, 150.0)
    };
    assert_eq!(hardness(lost), Some(CauseKind::Evaporation));
    let thinner = Pairs {
        water_lost: None,
        volume: Course::Steady,
        concentration: Course::Falling,
        ..lost
    };
    assert_eq!(hardness(thinner), Some(CauseKind::Minerals));
}

#[test]
fn of_a_content_alone_no_cause_is_named() {
    let nothing = Pairs {
        chloride: at(0.0, 150.0).chloride,
        ..base()
    };
    assert_eq!(chloride(nothing), None);
}
