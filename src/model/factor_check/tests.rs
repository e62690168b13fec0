//! Pairs of two methods with the causes that stand behind them.

use proptest::prelude::*;

use super::*;
use crate::model::Speaks;
use crate::units::{Concentration, Span, Timestamp};

const TARGET: Concentration = Concentration::from_percent(8.0);

fn week(count: i64) -> Timestamp {
    Timestamp::from_millis(0) + Span::from_hours(7 * 24 * count)
}

/// A pair under a chart of factor 1.0, in the given week.
fn pair(at: i64, refractometer: f64, other: f64) -> FactorPair {
    FactorPair {
        time: week(at),
        net_brix: refractometer,
        refractometer_pct: refractometer,
        other_pct: other,
        method: OtherMethod::Titration,
    }
}

fn watch(pairs: impl IntoIterator<Item = FactorPair>) -> FactorWatch {
    let mut watch = FactorWatch::default();
    watch.begin(week(0));
    pairs.into_iter().for_each(|pair| watch.step(pair));
    watch
}

fn status(watch: &FactorWatch, around: &FactorContext) -> FactorStatus {
    watch
        .status(&FactorSetup::default(), TARGET, around, week(99))
        .unwrap()
}

#[test]
fn a_gap_is_flagged_beyond_a_point_or_a_fifth_of_the_target() {
    let nothing = FactorContext::default();
    let flagged = |other, target| {
        let watch = watch([pair(1, 8.0, other)]);
        let target = Concentration::from_percent(target);
        let status = watch.status(&FactorSetup::default(), target, &nothing, week(2));
        status.unwrap().gap.too_much
    };
    assert!(!flagged(7.0, 8.0), "exactly a point");
    assert!(flagged(6.99, 8.0) && flagged(9.01, 8.0));
    assert!(!flagged(7.4, 3.0) && flagged(7.39, 3.0), "a fifth of 3 %");
    assert_eq!(
        FactorWatch::default().status(&FactorSetup::default(), TARGET, &nothing, week(1)),
        None
    );
}

#[test]
fn a_factor_that_was_wrong_from_the_start_is_proposed_anew_from_now_on() {
    let wobble = [0.05, -0.04, 0.0, 0.06, -0.05];
    let pairs = (1..6).map(|at| {
        let read = 8.0 + 0.3 * (at % 3) as f64;
        pair(at, read, 1.25 * read + wobble[at as usize - 1])
    });
    let watch = watch(pairs);
    let status = status(&watch, &FactorContext::default());
    assert_eq!(status.cause, Some(GapCause::Factor), "{status:#?}");
    let proposal = status.proposal.unwrap();
    assert_eq!(proposal.holds_from, week(99));
    let (low, high) = proposal.factor.interval_90();
    assert!(low < 1.25 && 1.25 < high, "{:?}", proposal.factor);
    assert!(low > 1.1, "{:?}", proposal.factor);
    let oil = status
        .suspects
        .iter()
        .find(|one| one.cause == GapCause::TrampOil);
    assert!(oil.unwrap().evidence[0].speaks == Speaks::Against);
}

#[test]
fn a_refractometer_that_comes_to_read_high_is_blamed_on_tramp_oil() {
    let drift = (0..9).map(|at| pair(at, 8.0 + 0.25 * at as f64, 8.0));
    let around = FactorContext {
        tramp_oil: Some((3.5, week(8))),
        oil_film: Some(week(7)),
        disturbed: None,
    };
    let status = status(&watch(drift), &around);
    assert_eq!(status.cause, Some(GapCause::TrampOil), "{status:#?}");
    assert_eq!(status.proposal, None);
    assert!(status.suspects[0].look.contains("lower phase"));
}

#[test]
fn titration_after_an_addition_is_doubted_where_a_laboratory_disagrees_with_it() {
    let mut pairs: Vec<_> = (1..5).map(|at| pair(at, 8.0, 8.05)).collect();
    pairs.push(FactorPair {
        method: OtherMethod::Laboratory,
        ..pair(6, 8.0, 8.1)
    });
    pairs.extend((7..9).map(|at| pair(at, 8.0, 10.0)));
    let around = FactorContext {
        disturbed: Some(week(5)),
        ..FactorContext::default()
    };
    let status = status(&watch(pairs), &around);
    assert_eq!(status.cause, Some(GapCause::Titration), "{status:#?}");
    assert_eq!(status.proposal, None);
}

#[test]
fn one_pair_flags_a_gap_and_blames_nobody() {
    let status = status(&watch([pair(1, 8.0, 10.0)]), &FactorContext::default());
    assert!(status.gap.too_much);
    assert_eq!((status.cause, status.proposal), (None, None));
    assert_eq!(status.suspects.len(), 3);
}

#[test]
fn a_new_charge_begins_without_pairs_and_keeps_out_the_old() {
    let mut watch = watch((1..6).map(|at| pair(at, 8.0, 10.0)));
    watch.begin(week(10));
    watch.step(pair(4, 8.0, 10.0));
    assert_eq!(
        watch.status(
            &FactorSetup::default(),
            TARGET,
            &FactorContext::default(),
            week(11)
        ),
        None
    );
}

proptest! {
    #[test]
    fn memory_is_fixed_and_any_pairs_are_borne(
        pairs in prop::collection::vec((0i64..60, -1.0f64..40.0, -1.0f64..40.0), 0..60),
    ) {
        let watch = watch(pairs.iter().map(|&(at, read, other)| pair(at, read, other)));
        let written = serde_json::to_string(&watch).unwrap();
        prop_assert!(written.len() < 16 * 200, "{}", written.len());
        let again: FactorWatch = serde_json::from_str(&written).unwrap();
        prop_assert_eq!(&again, &watch);
        if let Some(status) = watch.status(
            &FactorSetup::default(), TARGET, &FactorContext::default(), week(99),
        ) {
            prop_assert!(status.pairs <= 16);
            prop_assert!(status.factor.value > 0.0 && status.factor.uncertainty > 0.0);
            prop_assert!(status.factor.value.is_finite() && status.ratio.uncertainty.is_finite());
        }
    }

    #[test]
    fn the_factor_of_the_pairs_is_within_its_interval(
        factor in 0.8f64..3.0, reads in prop::collection::vec(2.0f64..10.0, 3..16),
    ) {
        let pairs = (1i64..).zip(&reads).map(|(at, read)| pair(at, *read, factor * read));
        let found = status(&watch(pairs), &FactorContext::default()).factor;
        prop_assert!((found.value / factor - 1.0).abs() < 1e-9);
    }
}
