use proptest::prelude::*;

use super::*;

fn l(litres: f64) -> Volume {
    Volume::from_litres(litres)
}

fn pct(percent: f64) -> Concentration {
    Concentration::from_percent(percent)
}

fn rows(text: &str) -> Vec<csv::StringRecord> {
    csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes())
        .records()
        .map(Result::unwrap)
        .collect()
}

/// Worked with exact fractions; see the head of the file.
#[test]
fn agrees_with_every_row_of_the_table() {
    let table = rows(include_str!(
        "../../../tests/reference/mass_balance_topup.csv"
    ));
    assert_eq!(table.len(), 15);
    for row in table {
        let number = |i: usize| row[i].parse::<f64>().unwrap();
        let got = balance(l(number(1)), pct(number(2)), l(number(3)), pct(number(4))).unwrap();
        for (got, at) in [(got.drain, 5), (got.concentrate, 6), (got.water, 7)] {
            assert!((got.litres() - number(at)).abs() <= 1e-6, "{row:?}: {got}");
        }
        let strength = got.premix_strength().map_or(0.0, Concentration::percent);
        assert!((strength - number(8)).abs() <= 1e-6, "{row:?}: {strength}");
    }
}

/// The worked cases of swapping mix for premix, and of topping up with water or
/// a given premix.
#[test]
fn agrees_with_worked_cases() {
    let table = rows(include_str!(
        "../../../tests/reference/mass_balance_misc.csv"
    ));
    let worked = |kind: &str| -> f64 {
        let row = table.iter().find(|row| &row[0] == kind).unwrap();
        row[3].parse().unwrap()
    };
    let swap = limited(l(1000.0), pct(4.5), l(1000.0), pct(6.0), pct(20.0)).unwrap();
    let want = worked("full_lean_premix");
    assert!((swap.drain.litres() - want).abs() <= 1e-6, "{swap:?}");
    assert!((swap.premix.litres() - want).abs() <= 1e-6, "{swap:?}");
    assert!((swap.concentrate.litres() - 0.2 * want).abs() <= 1e-6);

    let (_, c) = after(l(900.0), pct(9.0), l(0.0), l(0.0), l(100.0));
    let want = worked("water_only_topup_result");
    assert!((c.percent() - want).abs() <= 1e-6, "{c}");
    let (_, c) = after(l(820.0), pct(4.2), l(0.0), l(9.0), l(171.0));
    let want = worked("fixed_premix_topup_result");
    assert!((c.percent() - want).abs() <= 1e-6, "{c}");
}

#[test]
fn nothing_to_add_has_no_strength() {
    let done = balance(l(1000.0), pct(6.0), l(1000.0), pct(6.0)).unwrap();
    assert_eq!(done.premix_strength(), None);
    let made = limited(l(1000.0), pct(6.0), l(1000.0), pct(6.0), pct(20.0)).unwrap();
    assert_eq!((made.drain, made.premix), (l(0.0), l(0.0)));
}

#[test]
fn a_premix_as_weak_as_the_target_serves_only_where_it_is_enough() {
    let first_fill = limited(l(0.0), pct(0.0), l(1500.0), pct(7.0), pct(7.0)).unwrap();
    assert!((first_fill.concentrate.litres() - 105.0).abs() < 1e-9);
    let rich = limited(l(1000.0), pct(8.0), l(1000.0), pct(6.0), pct(5.0)).unwrap();
    assert_eq!(rich.concentrate, l(0.0));
    let told = limited(l(820.0), pct(4.2), l(1000.0), pct(6.0), pct(6.0)).unwrap_err();
    assert_eq!(
        told.to_string(),
        "a premix of at most 6.00 % cannot bring the sump up to 6.00 %; \
         allow a premix stronger than the target, or lower the target"
    );
}

#[test]
fn refuses_what_no_sump_can_have() {
    let with = |v, c, vt, ct| balance(l(v), pct(c), l(vt), pct(ct)).unwrap_err();
    assert!(matches!(
        with(-1.0, 4.0, 9.0, 6.0),
        BalanceError::Volume { .. }
    ));
    assert!(matches!(
        with(1.0, 100.0, 9.0, 6.0),
        BalanceError::Concentration { .. }
    ));
    assert!(matches!(
        with(1.0, -0.1, 9.0, 6.0),
        BalanceError::Concentration { .. }
    ));
    assert!(matches!(
        with(1.0, 4.0, 0.0, 6.0),
        BalanceError::TargetVolume { .. }
    ));
    assert!(matches!(
        with(1.0, 4.0, 9.0, 0.0),
        BalanceError::TargetConcentration { .. }
    ));
    assert!(matches!(
        with(1.0, 4.0, 9.0, 100.0),
        BalanceError::TargetConcentration { .. }
    ));
    let premix = |p| limited(l(1.0), pct(4.0), l(9.0), pct(6.0), pct(p)).unwrap_err();
    assert!(matches!(premix(0.0), BalanceError::StrongestPremix { .. }));
    assert!(matches!(
        premix(101.0),
        BalanceError::StrongestPremix { .. }
    ));
}

/// A sump as it is and as it is wanted; often full, empty or on target.
fn any_case() -> impl Strategy<Value = (Volume, Concentration, Volume, Concentration)> {
    let litres = || prop_oneof![Just(1000.0), Just(820.0), 1.0f64..50_000.0];
    let now = prop_oneof![Just(0.0), litres()];
    let percent = || prop_oneof![Just(6.0), 0.01f64..30.0, 30.0f64..99.0];
    let strength = prop_oneof![Just(0.0), percent()];
    (now, strength, litres(), percent()).prop_map(|(v, c, vt, ct)| (l(v), pct(c), l(vt), pct(ct)))
}

/// Bound on rounding in a balance of such volumes, L.
fn noise(a: Volume, b: Volume) -> f64 {
    1e-9 * (1.0 + a.litres().max(b.litres()))
}

proptest! {
    #[test]
    fn the_dose_reaches_the_target((v, c, vt, ct) in any_case()) {
        let dose = balance(v, c, vt, ct).unwrap();
        let noise = noise(v, vt);
        prop_assert!(dose.drain.litres() >= 0.0 && dose.drain <= v);
        prop_assert!(dose.concentrate.litres() >= 0.0 && dose.water.litres() >= 0.0);

        let kept = v.litres() - dose.drain.litres();
        let mass = c.fraction() * kept + dose.concentrate.litres();
        prop_assert!((mass - ct.fraction() * vt.litres()).abs() <= noise);

        let (v2, c2) = after(v, c, dose.drain, dose.concentrate, dose.water);
        prop_assert!((v2.litres() - vt.litres()).abs() <= noise);
        prop_assert!((c2.percent() - ct.percent()).abs() <= 1e-7);
        let again = balance(v2, c2, vt, ct).unwrap();
        let rest = again.drain.litres() + again.premix_volume().litres();
        prop_assert!(rest <= 1e3 * noise, "{again:?}");
    }

    #[test]
    fn no_smaller_drain_reaches_the_target((v, c, vt, ct) in any_case(), less in 0.0f64..0.999) {
        let dose = balance(v, c, vt, ct).unwrap();
        let kept = v.litres() - less * dose.drain.litres();
        let concentrate = ct.fraction() * vt.litres() - c.fraction() * kept;
        let water = (1.0 - ct.fraction()) * vt.litres() - (1.0 - c.fraction()) * kept;
        prop_assert!(dose.drain.litres() <= 1e-3 || concentrate.min(water) < 0.0);
    }

    #[test]
    fn a_limited_premix_reaches_the_target_too((v, c, vt, ct) in any_case(), p in 0.1f64..=100.0) {
        let (bare, p) = (balance(v, c, vt, ct).unwrap(), pct(p));
        let Ok(made) = limited(v, c, vt, ct, p) else {
            prop_assert!(p <= ct && bare.premix_strength().unwrap() > p);
            return Ok(());
        };
        let noise = noise(v, vt);
        prop_assert!(made.strength.percent() <= p.percent() * (1.0 + 1e-9));
        prop_assert!(made.drain >= bare.drain && made.drain <= v);
        let parts = made.concentrate.litres() + made.water.litres();
        prop_assert!((parts - made.premix.litres()).abs() <= noise);
        let (v2, c2) = after(v, c, made.drain, made.concentrate, made.water);
        prop_assert!((v2.litres() - vt.litres()).abs() <= noise);
        prop_assert!((c2.percent() - ct.percent()).abs() <= 1e-6);
    }
}
