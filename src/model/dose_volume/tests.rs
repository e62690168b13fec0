use proptest::prelude::*;

use super::*;
use crate::model::Mix;
use crate::model::reference::{cases, same};
use crate::units::Concentration;

const EXACTLY: f64 = 0.0;

fn counted(percent: f64) -> Strength {
    Strength::Counted(Measured::new(percent, EXACTLY))
}

/// A dose whose readings are uncertain by `u` points.
fn dose(added_l: f64, strength: Strength, before: f64, after: f64, u: f64) -> DoseStep {
    DoseStep {
        added_l: Measured::new(added_l, EXACTLY),
        strength,
        before_pct: Measured::new(before, u),
        after_pct: Measured::new(after, u),
        offset_pct: 0.0,
    }
}

fn setup(factor_uncertainty: f64) -> DoseVolumeSetup {
    DoseVolumeSetup {
        factor_uncertainty,
        ..DoseVolumeSetup::default()
    }
}

#[test]
fn volumes_agree_with_the_table() {
    for case in cases("sump_volume_by_dose", 1) {
        // "10 L concentrate, 5.0 -> 6.2 %"
        let step = dose(
            case.number(""),
            counted(100.0),
            case.number(", "),
            case.number("-> "),
            0.0,
        );
        let volume = step.volume(&setup(0.0)).unwrap();
        assert!(same(volume.value, case.value), "{volume:?}");
        assert_eq!(volume.uncertainty, 0.0);
    }
    for case in cases("sump_volume_by_water", 1) {
        let step = dose(
            case.number(""),
            counted(0.0),
            case.number(", "),
            case.number("-> "),
            0.0,
        );
        let volume = step.volume(&setup(0.0)).unwrap();
        assert!(same(volume.value, case.value), "{volume:?}");
    }
}

/// Each input moved by a little of its uncertainty, and what that does to the
/// volume, added up.
#[test]
fn the_uncertainty_is_that_of_small_changes() {
    let step = DoseStep {
        added_l: Measured::new(60.0, 0.6),
        strength: Strength::Counted(Measured::new(15.0, 0.3)),
        before_pct: Measured::new(5.0, 0.06),
        after_pct: Measured::new(6.2, 0.08),
        offset_pct: 0.1,
    };
    let plain = |v: f64, p: f64, c1: f64, c2: f64| v * (p - c2) / (c2 - c1);
    let h = 1e-5;
    let at = plain(60.0, 15.0, 5.0, 6.2);
    let changes = [
        0.6 * (plain(60.0 + h, 15.0, 5.0, 6.2) - at) / h,
        0.3 * (plain(60.0, 15.0 + h, 5.0, 6.2) - at) / h,
        0.1 * (plain(60.0, 15.0, 5.0 + h, 6.2 + h) - at) / h,
        0.06 * (plain(60.0, 15.0, 5.0 + h, 6.2) - at) / h,
        0.08 * (plain(60.0, 15.0, 5.0, 6.2 + h) - at) / h,
        // The factor moves both readings by the same share.
        0.03 * (plain(60.0, 15.0, 5.0 * (1.0 + h), 6.2 * (1.0 + h)) - at) / h,
    ];
    let want = changes
        .iter()
        .map(|change| change * change)
        .sum::<f64>()
        .sqrt();
    let got = step.volume(&setup(0.03)).unwrap();
    assert!((got.value - 440.0).abs() < 1e-9);
    assert!(
        (got.uncertainty - want).abs() < 1e-3 * want,
        "{got:?} {want}"
    );
}

#[test]
fn the_factor_cancels_for_water_and_for_what_is_read_alike() {
    let water = dose(40.0, counted(0.0), 8.0, 7.0, 0.05);
    let alike = dose(
        60.0,
        Strength::ReadAlike(Measured::new(15.0, 0.1)),
        5.0,
        6.2,
        0.05,
    );
    for step in [water, alike] {
        let without = step.volume(&setup(0.0)).unwrap();
        assert_eq!(step.volume(&setup(0.2)).unwrap(), without);
        assert!(without.uncertainty > 0.0);
    }
    // Neat concentrate: the share of the factor, times p/(p − c₂).
    let neat = dose(10.0, counted(100.0), 5.0, 6.2, 0.0);
    let volume = neat.volume(&setup(0.03)).unwrap();
    let share = volume.uncertainty / volume.value;
    assert!((share - 0.03 * 100.0 / 93.8).abs() < 1e-12, "{share}");
}

#[test]
fn many_doses_leave_the_part_of_the_factor() {
    let (setup, expected) = (setup(0.03), Volume::from_litres(1000.0));
    let step = dose(10.0, counted(100.0), 5.0, 6.2, 0.1);
    let mut pool = DosePool::default();
    let mut widths = Vec::new();
    for doses in 1..=400u32 {
        pool.add(&step, expected, &setup).unwrap();
        assert_eq!(pool.doses(), doses);
        let ratio = pool.ratio(&setup).unwrap();
        assert!((ratio.value - 0.781_666_667).abs() < 1e-9, "{ratio:?}");
        widths.push(ratio.uncertainty / ratio.value);
    }
    let single = step.volume(&setup).unwrap();
    assert!((widths[0] - single.uncertainty / single.value).abs() < 1e-12);
    let (common, own) = (
        0.03f64 * 100.0 / 93.8,
        0.1 * (1.0 + 95.0 * 95.0 / 93.8 / 93.8f64).sqrt() / 1.2,
    );
    let want = common.hypot(own / 20.0);
    assert!((widths[399] - want).abs() < 1e-9, "{} {want}", widths[399]);
}

#[test]
fn doses_that_disagree_widen_the_interval() {
    let (setup, expected) = (setup(0.0), Volume::from_litres(1000.0));
    let pool_of = |afters: [f64; 4]| {
        let mut pool = DosePool::default();
        for after in afters {
            let step = dose(10.0, counted(100.0), 5.0, after, 0.05);
            pool.add(&step, expected, &setup).unwrap();
        }
        pool.ratio(&setup).unwrap()
    };
    let alike = pool_of([5.95, 5.93, 5.96, 5.94]);
    let apart = pool_of([5.65, 6.25, 5.60, 6.30]);
    assert!(
        apart.uncertainty > 3.0 * alike.uncertainty,
        "{alike:?} {apart:?}"
    );
}

#[test]
fn the_settings_volume_is_judged() {
    let setup = setup(0.03);
    let judged = |expected: f64, doses: usize| {
        let mut pool = DosePool::default();
        let step = dose(10.0, counted(100.0), 5.0, 6.2, 0.1);
        for _ in 0..doses {
            pool.add(&step, Volume::from_litres(expected), &setup)
                .unwrap();
        }
        pool.judge(&setup)
    };
    assert_eq!(judged(1000.0, 0), None);
    assert_eq!(judged(800.0, 1), Some(VolumeJudgement::Agrees));
    assert_eq!(judged(900.0, 1), Some(VolumeJudgement::Agrees));
    assert_eq!(judged(900.0, 9), Some(VolumeJudgement::HoldsLess));
    assert_eq!(judged(640.0, 9), Some(VolumeJudgement::HoldsMore));
    // Known to be off, and by too little to matter.
    assert_eq!(judged(810.0, 400), Some(VolumeJudgement::Agrees));
}

#[test]
fn refuses_what_tells_nothing() {
    let refuse = |step: DoseStep| step.volume(&DoseVolumeSetup::default()).unwrap_err();
    let told = refuse(dose(10.0, counted(100.0), 5.0, 5.2, 0.1)).to_string();
    assert_eq!(
        told,
        "a step of 0.20 points, uncertain by 0.14, tells no volume; \
         add enough for a step of 0.57 points, or read better"
    );
    let told = refuse(dose(10.0, counted(100.0), 5.0, 4.0, 0.1));
    assert!(told.to_string().contains("from 5 to 4 %"), "{told}");
    let told = refuse(dose(10.0, counted(6.0), 5.0, 6.2, 0.1));
    assert!(matches!(told, DoseVolumeError::WrongWay { .. }), "{told}");
    let told = refuse(dose(10.0, counted(0.0), 5.0, 5.0, 0.0));
    assert!(matches!(told, DoseVolumeError::WrongWay { .. }), "{told}");
    let told = refuse(dose(0.0, counted(100.0), 5.0, 6.2, 0.1));
    assert!(
        matches!(told, DoseVolumeError::NothingAdded { .. }),
        "{told}"
    );
    let told = refuse(dose(10.0, counted(101.0), 5.0, 6.2, 0.1));
    assert_eq!(
        told.to_string(),
        "a strength of 101 % is none; give 0 to 100 %"
    );
    let told = refuse(dose(10.0, counted(100.0), 5.0, 6.2, f64::NAN));
    assert!(
        matches!(told, DoseVolumeError::Uncertainty { .. }),
        "{told}"
    );
    let step = dose(10.0, counted(100.0), 5.0, 6.2, 0.1);
    let told = DosePool::default().add(&step, Volume::default(), &DoseVolumeSetup::default());
    assert!(matches!(told, Err(DoseVolumeError::Expected { .. })));
}

#[test]
fn a_pool_is_remembered() {
    let mut pool = DosePool::default();
    let step = dose(10.0, counted(100.0), 5.0, 6.2, 0.1);
    pool.add(&step, Volume::from_litres(900.0), &setup(0.03))
        .unwrap();
    let text = serde_json::to_string(&pool).unwrap();
    assert_eq!(serde_json::from_str::<DosePool>(&text).unwrap(), pool);
}

/// The balance forwards, then backwards.
#[test]
fn pooled_doses_of_noisy_readings_find_the_volume() {
    let setup = setup(0.0);
    let l = Volume::from_litres;
    // Made-up deviations of the readings, some 0.1 points, nought in the mean.
    let errors = [
        0.12, -0.07, 0.03, -0.16, 0.09, 0.01, -0.11, 0.15, -0.04, -0.02,
    ];
    let mut pool = DosePool::default();
    for (at, error) in errors.iter().enumerate() {
        let before = Mix::new(l(780.0), Concentration::from_percent(5.0));
        let after = Mix::of(&[before, Mix::concentrate(l(9.0))])
            .concentration
            .percent();
        let other = errors[(at + 3) % errors.len()];
        let step = dose(9.0, counted(100.0), 5.0 + other, after + error, 0.1);
        pool.add(&step, l(780.0), &setup).unwrap();
    }
    let ratio = pool.ratio(&setup).unwrap();
    assert!((ratio.value - 1.0).abs() < 0.01, "{ratio:?}");
    assert!(
        ratio.uncertainty > 0.02 && ratio.uncertainty < 0.06,
        "{ratio:?}"
    );
}

proptest! {
    #[test]
    fn a_known_dose_tells_the_volume(
        v in 50f64..50_000.0, c in 0.5f64..12.0, share in 0.005f64..0.2, p in 0f64..=100.0,
    ) {
        prop_assume!((p - c).abs() > 1.0);
        let l = Volume::from_litres;
        let before = Mix::new(l(v), Concentration::from_percent(c));
        let added = Mix::new(l(share * v), Concentration::from_percent(p));
        let after = Mix::of(&[before, added]).concentration.percent();
        let step = dose(share * v, counted(p), c, after, 0.0);
        let found = step.volume(&setup(0.0)).unwrap();
        prop_assert!((found.value - v).abs() < 1e-6 * v, "{found:?}");
    }
}

/// Water tells no more than the offset of the readings lets it, however often;
/// concentrate hardly minds.
#[test]
fn an_offset_of_all_readings_stays_however_many_doses_there_are() {
    let uncertain = |strength: f64, before: f64, after: f64, added: f64| {
        let step = DoseStep {
            offset_pct: 0.12,
            ..dose(added, counted(strength), before, after, 0.01)
        };
        let mut pool = DosePool::default();
        for _ in 0..1000 {
            pool.add(&step, Volume::from_litres(1000.0), &setup(0.0))
                .unwrap();
        }
        pool.ratio(&setup(0.0)).unwrap().uncertainty
    };
    let by_water = uncertain(0.0, 6.6, 6.0, 100.0);
    assert!((by_water - 0.02).abs() < 0.001, "{by_water}");
    let by_concentrate = uncertain(100.0, 6.0, 6.931, 10.0);
    assert!(by_concentrate < 0.002, "{by_concentrate}");
}
