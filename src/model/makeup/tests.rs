use proptest::prelude::*;

use super::*;
use crate::model::reference::{cases, same};
use crate::units::LossRate;

fn l(litres: f64) -> Volume {
    Volume::from_litres(litres)
}

fn pct(percent: f64) -> Concentration {
    Concentration::from_percent(percent)
}

fn rates(evaporation: f64, carry_off: f64) -> LossRates {
    let l_d = LossRate::from_litres_per_day;
    LossRates::new(l_d(evaporation), l_d(carry_off)).unwrap()
}

#[test]
fn the_square_agrees_with_the_table() {
    for case in cases("pearson_square", 2) {
        let (strong, weak) = (case.number("strong="), case.number("weak="));
        let target = case.number("target=");
        let share = share_of(pct(strong), pct(weak), pct(target)).unwrap();
        assert!(same(share, case.value), "{share}");
        let rest = share_of(pct(weak), pct(strong), pct(target)).unwrap();
        assert!(same(rest, 1.0 - case.value), "{rest}");
    }
}

#[test]
fn corrections_of_a_full_sump_agree_with_the_table() {
    let now = |case: &crate::model::reference::Case| {
        (
            Mix::new(l(case.number("V=")), pct(case.number(" c="))),
            pct(case.number("ct=")),
        )
    };
    for (kind, strength) in [("full_lean_overfill", 100.0), ("full_rich_overfill", 0.0)] {
        for case in cases(kind, 1) {
            let (now, target) = now(&case);
            let added = addition(now, pct(strength), target).unwrap().litres();
            assert!(same(added, case.value), "{kind}: {added}");
        }
    }
    for kind in ["full_lean_premix", "full_rich_weak_premix"] {
        for case in cases(kind, 1) {
            let (now, target) = now(&case);
            let strength = pct(case.number("premix="));
            let drained = exchange(now, strength, target).unwrap().litres();
            assert!(same(drained, case.value), "{kind}: {drained}");
        }
    }
}

#[test]
fn top_ups_agree_with_the_table() {
    for (kind, water_only) in [
        ("water_only_topup_result", true),
        ("fixed_premix_topup_result", false),
    ] {
        for case in cases(kind, 1) {
            let now = Mix::new(l(case.number("V=")), pct(case.number("c=")));
            let strength = if water_only {
                0.0
            } else {
                case.number("premix ")
            };
            let added = l(case.number("to ") - now.volume.litres());
            let got = topped_up(now, Mix::new(added, pct(strength))).unwrap();
            assert!(same(got.concentration.percent(), case.value), "{got:?}");
        }
    }
}

#[test]
fn strengths_of_make_up_agree_with_the_table() {
    for case in cases("makeup_strength", 2) {
        let rates = rates(case.number("E="), case.number("D="));
        let held = holding_strength(pct(case.number("c=")), &rates).unwrap();
        assert!(same(held.percent(), case.value), "{held}");
    }
    for case in cases("steady_concentration", 1) {
        let rates = rates(case.number("E="), case.number("D="));
        let settles = steady_concentration(pct(case.number("premix ")), &rates).unwrap();
        assert!(same(settles.percent(), case.value), "{settles}");
    }
}

#[test]
fn refuses_what_cannot_be_had() {
    let sump = Mix::new(l(1000.0), pct(4.5));
    let told = exchange(sump, pct(5.0), pct(6.0)).unwrap_err().to_string();
    assert_eq!(
        told,
        "6.00 % cannot be had from 5.00 % and 4.50 %; \
         what is mixed has to lie on both sides of the target"
    );
    assert_eq!(exchange(sump, pct(6.0), pct(6.0)).unwrap(), l(1000.0));
    let told = addition(sump, pct(6.0), pct(6.0)).unwrap_err();
    assert!(matches!(told, MakeupError::NeverReached { .. }), "{told}");
    let told = share_of(pct(6.0), pct(6.0), pct(6.0)).unwrap_err();
    assert!(matches!(told, MakeupError::OutOfReach { .. }), "{told}");
    let told = share_of(pct(101.0), pct(6.0), pct(6.0)).unwrap_err();
    assert!(
        told.to_string().starts_with("the strength of one part is"),
        "{told}"
    );
    let told = addition(Mix::water(l(0.0)), pct(6.0), pct(5.0)).unwrap_err();
    assert!(matches!(told, MakeupError::Empty { .. }), "{told}");
}

#[test]
fn a_top_up_of_nothing_or_to_nothing_is_one() {
    let sump = Mix::new(l(1000.0), pct(4.5));
    assert_eq!(topped_up(sump, Mix::water(l(0.0))).unwrap(), sump);
    assert_eq!(topped_up(Mix::water(l(0.0)), sump).unwrap(), sump);
    let told = topped_up(sump, Mix::water(l(-1.0))).unwrap_err();
    assert!(
        told.to_string().starts_with("the volume added is -1.0 L"),
        "{told}"
    );
    let told = topped_up(sump, Mix::new(l(1.0), pct(100.1))).unwrap_err();
    assert!(
        told.to_string().starts_with("the strength added is"),
        "{told}"
    );
}

#[test]
fn what_never_settles_is_told() {
    let told = steady_concentration(pct(3.0), &rates(40.0, 0.0)).unwrap_err();
    assert_eq!(told, MakeupError::NeverSettles);
    let told = steady_concentration(pct(3.0), &rates(40.0, 1.0)).unwrap_err();
    assert!(told.to_string().contains("settle at 123.00 %"), "{told}");
    let water = steady_concentration(pct(0.0), &rates(40.0, 1.0)).unwrap();
    assert_eq!(water, pct(0.0));
}

proptest! {
    #[test]
    fn corrections_reach_their_target(
        v in 1f64..50_000.0, c in 0f64..40.0, p in 0f64..100.0, on_the_way in 0.001f64..0.99,
    ) {
        prop_assume!((p - c).abs() > 0.01);
        let (now, p, target) = (Mix::new(l(v), pct(c)), pct(p), pct(c + on_the_way * (p - c)));
        let added = addition(now, p, target).unwrap();
        let after = Mix::of(&[now, Mix::new(added, p)]);
        prop_assert!((after.concentration.percent() - target.percent()).abs() < 1e-8);

        let drained = exchange(now, p, target).unwrap();
        let kept = Mix::new(l(v - drained.litres()), now.concentration);
        let after = Mix::of(&[kept, Mix::new(drained, p)]);
        prop_assert!((after.concentration.percent() - target.percent()).abs() < 1e-8);
        prop_assert!((after.volume.litres() - v).abs() < 1e-9 * v);
    }

    #[test]
    fn the_holding_strength_settles_where_it_holds(
        c in 0f64..20.0, evaporation in 0f64..500.0, carry_off in 0.1f64..500.0,
    ) {
        let rates = rates(evaporation, carry_off);
        let held = holding_strength(pct(c), &rates).unwrap();
        prop_assert!(held.percent() <= c);
        // What a day of losses and make-up changes in the concentrate: nothing.
        let change = held.fraction() * rates.total_l_d() - pct(c).fraction() * carry_off;
        prop_assert!(change.abs() < 1e-9);
        let settles = steady_concentration(held, &rates).unwrap();
        prop_assert!((settles.percent() - c).abs() < 1e-9);
    }
}
