//! Nitrite.

use super::*;
use crate::rules::PlanStep;

fn nitrite(pairs: Pairs) -> Vec<CauseKind> {
    let named = causes(&Condition::Nitrite(PlanStep::Act), &pairs);
    named.into_iter().map(|one| one.cause).collect()
}

fn water(nitrate_mg_l: f64) -> Pairs {
    Pairs {
        nitrate_mg_l: Some(nitrate_mg_l),
        nitrate_most_mg_l: 50.0,
        ..base()
    }
}

#[test]
fn with_germs_it_is_made_by_them_of_the_nitrate_of_the_water() {
    let grows = Pairs {
        germs_found: true,
        ..water(40.0)
    };
    let both = [CauseKind::NitrateTurned, CauseKind::NitrateInWater];
    assert_eq!(nitrite(grows), both);
    let little = Pairs {
        germs_found: true,
        ..water(10.0)
    };
    assert_eq!(nitrite(little), [CauseKind::NitrateTurned]);
    let sour = Pairs {
        ph_unexplained: Some(0.6),
        ..base()
    };
    assert_eq!(nitrite(sour), [CauseKind::NitrateTurned]);
}

#[test]
fn without_germs_it_came_in() {
    let clean = Pairs {
        germs_few: Some(100.0),
        warm_c: Some(32.0),
        ..water(10.0)
    };
    assert_eq!(nitrite(clean), [CauseKind::NitriteIn]);
    let nitrate = Pairs {
        nitrate_mg_l: Some(80.0),
        ..clean
    };
    let water_first = [CauseKind::NitrateInWater, CauseKind::NitriteIn];
    assert_eq!(nitrite(nitrate), water_first);
    let jumped = Pairs {
        ph_jumped: true,
        ..base()
    };
    assert_eq!(nitrite(jumped), [CauseKind::NitriteIn]);
}

#[test]
fn of_a_sump_without_a_sign_nothing_is_said() {
    assert_eq!(nitrite(base()), []);
}
