use proptest::prelude::*;

use super::*;

fn premix(litres: f64, strength: f64) -> Amounts {
    Amounts {
        drain_l: 0.0,
        concentrate_l: litres * strength / 100.0,
        water_l: litres * (1.0 - strength / 100.0),
        premix_l: litres,
        premix_strength_pct: strength,
    }
}

/// 820 L at 4.2 %, to which 180 L of premix of 14.2 % went: 6.0 % expected.
fn followed() -> Followed {
    Followed {
        before: MixState {
            concentration: Measured::new(4.2, 0.25),
            repeatability: 0.1,
            volume: Measured::new(820.0, 5.0),
            volume_assumed: false,
        },
        poured: premix(180.0, 14.2),
        chart_uncertainty: 0.05,
        step_l: 1.0,
        dead_band: 0.3,
    }
}

fn found(concentration: f64, volume: f64) -> Found {
    Found {
        concentration,
        repeatability: 0.1,
        volume: Some(Measured::new(volume, 5.0)),
    }
}

#[test]
fn what_lies_within_three_standard_deviations_is_as_expected() {
    let judged = followed().judge(&found(6.0, 1000.0));
    assert!(judged.as_expected && judged.causes.is_empty());
    assert!(judged.deviation_pct.abs() < 1e-9);
    // Two readings, the chart through 25.56 L in 1000 L, the volume, the can.
    let parts = [0.1, 0.082, 5.0 * 0.02556, 1.8e-3 * 5.0, 0.0289];
    let want = parts.into_iter().fold(0.0, f64::hypot);
    assert!(
        (judged.deviation_sigma_pct - want).abs() < 1e-4,
        "{judged:?}"
    );
    assert!(
        followed()
            .judge(&found(6.0 + 2.9 * want, 1000.0))
            .as_expected
    );
    assert!(
        !followed()
            .judge(&found(6.0 + 3.1 * want, 1000.0))
            .as_expected
    );
}

#[test]
fn a_miss_within_the_dead_band_calls_for_nothing() {
    let mut sure = followed();
    sure.before.repeatability = 0.0;
    sure.chart_uncertainty = 0.0;
    sure.before.volume.uncertainty = 0.0;
    let found = Found {
        repeatability: 0.01,
        ..found(6.25, 1000.0)
    };
    assert!(sure.judge(&found).as_expected);
    sure.dead_band = 0.2;
    assert!(!sure.judge(&found).as_expected);
}

#[test]
fn a_level_that_rose_by_less_speaks_for_the_amount() {
    let judged = followed().judge(&found(5.2, 910.0));
    let Some(Cause::Amount {
        changed_l,
        expected_l,
    }) = judged.causes.first()
    else {
        panic!("{judged:?}");
    };
    assert_eq!((*changed_l, *expected_l), (90.0, 180.0));
}

#[test]
fn a_concentration_that_stood_still_speaks_for_nothing_mixed_in() {
    let judged = followed().judge(&found(4.25, 1000.0));
    assert_eq!(judged.causes.first(), Some(&Cause::NotMixed));
}

#[test]
fn tramp_oil_is_named_only_where_it_reads_high() {
    let high = followed().judge(&found(7.2, 1000.0));
    let low = followed().judge(&found(5.2, 1000.0));
    assert!(high.causes.contains(&Cause::TrampOil));
    assert!(!low.causes.contains(&Cause::TrampOil));
}

#[test]
fn a_factor_cannot_be_behind_a_dose_of_water() {
    let mut water = followed();
    water.poured = premix(180.0, 0.0);
    let is_factor = |cause: &Cause| matches!(cause, Cause::Factor { .. });
    let judged = water.judge(&found(2.5, 1000.0));
    assert!(!judged.as_expected && !judged.causes.iter().any(is_factor));
}

fn worked(kind: &str) -> f64 {
    let table = include_str!("../../../tests/reference/mass_balance_misc.csv");
    let mut rows = csv::ReaderBuilder::new();
    let mut rows = rows.comment(Some(b'#')).from_reader(table.as_bytes());
    let row = rows
        .records()
        .map(Result::unwrap)
        .find(|row| &row[0] == kind);
    row.unwrap()[3].parse().unwrap()
}

/// What a known addition says of the volume.
#[test]
fn the_volume_that_explains_a_step_is_that_of_the_table() {
    let cases = [
        ("sump_volume_by_dose", premix(10.0, 100.0), (5.0, 6.2)),
        ("sump_volume_by_water", premix(40.0, 0.0), (8.0, 7.6)),
    ];
    for (kind, poured, (from, to)) in cases {
        let mut of = followed();
        of.poured = poured;
        of.before.concentration.value = from;
        let Some(Cause::Volume { explains_l }) = of.volume(&found(to, 0.0)) else {
            panic!("{kind}");
        };
        assert!((explains_l - worked(kind)).abs() < 1e-6, "{explains_l}");
    }
}

proptest! {
    /// Whatever was really wrong is among the causes, with its true size.
    #[test]
    fn the_true_cause_is_found(
        volume in 500f64..1300.0, strength in 2f64..40.0, drain in 0f64..100.0,
    ) {
        let mut of = followed();
        of.poured.drain_l = drain;
        of.before.volume_assumed = true;
        let after = |volume: f64, strength: f64| {
            let mut truly = of;
            truly.before.volume.value = volume;
            truly.poured = Amounts { drain_l: drain, ..premix(180.0, strength) };
            truly.expected().concentration.value
        };
        let of_volume = of.volume(&found(after(volume, 14.2), 0.0));
        let Some(Cause::Volume { explains_l }) = of_volume else {
            return Err(TestCaseError::fail(format!("{of_volume:?}")));
        };
        prop_assert!((explains_l - volume).abs() < 1e-6 * volume);
        let of_strength = of.strength(&found(after(820.0, strength), 0.0));
        let Some(Cause::Strength { explains_pct }) = of_strength else {
            return Err(TestCaseError::fail(format!("{of_strength:?}")));
        };
        prop_assert!((explains_pct - strength).abs() < 1e-6);
    }

    /// A chart that reads everything too strong by the same share.
    #[test]
    fn a_wrong_factor_is_found(error in -0.25f64..0.25) {
        let mut of = followed();
        let truth = of.before.concentration.value;
        of.before.concentration.value = truth * (1.0 + error);
        let mut truly = of;
        truly.before.concentration.value = truth;
        let read = truly.expected().concentration.value * (1.0 + error);
        let deviation = read - of.expected().concentration.value;
        let Some(Cause::Factor { explains_times }) = of.factor(deviation) else {
            return Err(TestCaseError::fail("no factor"));
        };
        prop_assert!((explains_times * (1.0 + error) - 1.0).abs() < 1e-9);
    }
}
