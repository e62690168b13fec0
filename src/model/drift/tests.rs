use proptest::prelude::*;

use super::*;
use crate::model::reference::{Case, cases, same};
use crate::units::LossRate;

fn l(litres: f64) -> Volume {
    Volume::from_litres(litres)
}

fn pct(percent: f64) -> Concentration {
    Concentration::from_percent(percent)
}

fn drift(v: f64, c: f64, evaporation: f64, carry_off: f64) -> Drift {
    let l_d = LossRate::from_litres_per_day;
    let rates = LossRates::new(l_d(evaporation), l_d(carry_off)).unwrap();
    Drift::new(Mix::new(l(v), pct(c)), rates).unwrap()
}

fn of(case: &Case, c: f64) -> Drift {
    drift(case.number("V0="), c, case.number("E="), case.number("D="))
}

fn days(days: f64) -> Span {
    Span::from_millis((days * 86_400e3).round() as i64)
}

#[test]
fn the_course_agrees_with_the_table() {
    for case in cases("drift_no_topup", 4) {
        let drift = of(&case, case.number("c0="));
        let then = drift.after(days(case.number(" t="))).unwrap();
        assert!(same(then.concentration.percent(), case.value), "{then:?}");
    }
}

#[test]
fn times_agree_with_the_table() {
    for case in cases("drift_time_to_level", 1) {
        let lowest = l(case.number("level "));
        let found = of(&case, 6.0).days_to_volume(lowest).unwrap().unwrap();
        assert!(same(found, case.value), "{found}");
    }
    for case in cases("drift_time_to_conc", 1) {
        let highest = pct(case.number("limit "));
        let drift = of(&case, case.number("c0="));
        let found = drift.days_to_concentration(highest).unwrap().unwrap();
        assert!(same(found, case.value), "{found}");
    }
}

#[test]
fn evaporation_agrees_with_the_table() {
    for case in cases("evaporation", 1) {
        let mix = Mix::new(l(case.number("V=")), pct(case.number("c=")));
        let left = evaporated(mix, l(case.number("evaporate "))).unwrap();
        assert!(same(left.concentration.percent(), case.value), "{left:?}");
        assert!((left.concentrate_part().litres() - 60.0).abs() < 1e-9);
    }
}

#[test]
fn what_never_comes_is_none_and_what_is_there_is_now() {
    let wet = drift(1000.0, 6.0, 0.0, 55.0);
    assert_eq!(wet.days_to_concentration(pct(8.0)).unwrap(), None);
    assert_eq!(wet.days_to_concentration(pct(5.0)).unwrap(), Some(0.0));
    assert_eq!(wet.days_to_volume(l(1200.0)).unwrap(), Some(0.0));
    let water = drift(1000.0, 0.0, 40.0, 15.0);
    assert_eq!(water.days_to_concentration(pct(8.0)).unwrap(), None);
    // 60 L of concentrate stay in for good.
    let dry = drift(1000.0, 6.0, 50.0, 0.0);
    assert_eq!(dry.days_to_volume(l(50.0)).unwrap(), None);
    assert!(dry.days_to_volume(l(70.0)).unwrap().is_some());
}

#[test]
fn refuses_what_no_sump_does() {
    let dry = drift(1000.0, 6.0, 50.0, 0.0);
    let told = dry.after(days(19.0)).unwrap_err().to_string();
    assert!(told.contains("after 18.80 d"), "{told}");
    let told = drift(1000.0, 0.0, 50.0, 0.0).after(days(20.0)).unwrap_err();
    assert_eq!(told, DriftError::Gone { days: 20.0 });
    let told = dry.after(Span::from_millis(-1)).unwrap_err();
    assert!(matches!(told, DriftError::Past { .. }));
    let told = dry.days_to_volume(l(-1.0)).unwrap_err();
    assert!(matches!(told, DriftError::Volume { .. }));
    let told = dry.days_to_concentration(pct(100.0)).unwrap_err();
    assert!(matches!(told, DriftError::Concentration { .. }));
    let told = evaporated(Mix::new(l(1000.0), pct(6.0)), l(940.0)).unwrap_err();
    assert_eq!(
        told.to_string(),
        "the mix holds 940.0 L of water; less than that can evaporate, not 940.0 L"
    );
    let told = evaporated(Mix::new(l(0.0), pct(6.0)), l(1.0)).unwrap_err();
    assert!(matches!(told, DriftError::Empty { .. }));
}

proptest! {
    #[test]
    fn the_course_keeps_its_balance(
        v in 100f64..50_000.0, c in 0.5f64..15.0, evaporation in 0f64..5.0, carry_off in 0.01f64..5.0, share in 0.01f64..0.5,
    ) {
        // Losses in per cent of the volume a day.
        let (e, d) = (evaporation * v / 100.0, carry_off * v / 100.0);
        let drift = drift(v, c, e, d);
        let span = days(share * v / (e + d));
        let half = Span::from_millis(span.millis() / 2);
        let middle = drift.after(half).unwrap();
        let end = drift.after(span).unwrap();

        // The course goes on from any of its points.
        let again = Drift::new(middle, drift.rates).unwrap();
        let rest = Span::from_millis(span.millis() - half.millis());
        let second = again.after(rest).unwrap();
        prop_assert!((second.concentration.percent() - end.concentration.percent()).abs() < 1e-9);

        // Concentrate leaves with the carry-off alone, by Simpson's rule over
        // the course.
        let m = |mix: Mix| mix.concentration.fraction();
        let start = Mix::new(l(v), pct(c));
        let mean = (m(start) + 4.0 * m(middle) + m(end)) / 6.0;
        let out = d * span.secs_f64() / SECONDS_A_DAY * mean;
        let lost = start.concentrate_part().litres() - end.concentrate_part().litres();
        prop_assert!((lost - out).abs() <= 2e-3 * out, "{lost} {out}");
    }

    #[test]
    fn times_lead_back_to_their_limit(
        c in 0.5f64..15.0, loss in 1f64..90.0, carried in 0f64..0.7, rise in 1.01f64..3.0,
    ) {
        let drift = drift(1000.0, c, (1.0 - carried) * loss, carried * loss);
        let found = drift.days_to_concentration(pct(c * rise)).unwrap().unwrap();
        let then = drift.after(days(found)).unwrap();
        prop_assert!((then.concentration.percent() - c * rise).abs() < 1e-4);
    }
}
