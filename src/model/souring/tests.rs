//! Sumps that go sour, and others that only look like it.

use proptest::prelude::*;

use super::*;
use crate::model::{Speaks, Weight};
use crate::units::{Concentration, Measured, Ph, Potential, Span, Timestamp};

fn hour(count: i64) -> Timestamp {
    Timestamp::from_millis(0) + Span::from_hours(count)
}

fn now(hours: i64, ph: f64, pct: f64) -> SouringNow {
    SouringNow {
        time: hour(hours),
        ph: Some(Ph::from_units(ph)),
        ph_slope_a_week: None,
        concentration: Some(Concentration::from_percent(pct)),
        oxygen_mg_l: None,
        redox: None,
    }
}

const SETUP: fn() -> SouringSetup = SouringSetup::default;

/// A charge of pH 9.2 at 8 %, 150 mV, after its first day.
fn charged() -> SouringWatch {
    let mut watch = SouringWatch::default();
    watch.begin(hour(0));
    for half in 0..50 {
        let now = SouringNow {
            time: hour(0) + Span::from_mins(30 * half),
            redox: Some(Potential::from_millivolts(150.0)),
            ..now(0, 9.2, 8.0)
        };
        watch.sense(&SETUP(), &now);
    }
    watch
}

fn judged(watch: &SouringWatch, now: &SouringNow) -> SouringStatus {
    watch.status(&SETUP(), now).unwrap()
}

fn says(status: &SouringStatus, words: &str) -> bool {
    status.evidence.iter().any(|fact| fact.what.contains(words))
}

/// DGUV Regel 109-003, annex, test plan no. 2: "> 0,5" and "> 1,0".
#[test]
fn a_fall_counts_only_beyond_half_a_unit_and_a_whole_one() {
    let watch = charged();
    let fallen = |ph| {
        let status = judged(&watch, &now(100, ph, 8.0));
        let fact = &status.evidence[0];
        (
            fact.speaks,
            fact.weight,
            status.look.len() > 1 && status.look[1].contains("change"),
        )
    };
    assert_eq!(fallen(8.7), (Speaks::Against, Weight::Moderate, false));
    assert_eq!(fallen(8.69), (Speaks::For, Weight::Moderate, false));
    assert_eq!(fallen(8.2), (Speaks::For, Weight::Moderate, false));
    assert_eq!(fallen(8.19), (Speaks::For, Weight::Strong, true));
}

#[test]
fn a_fall_at_constant_concentration_is_watched_and_confirmed_by_nose_and_slide() {
    let mut watch = charged();
    let then = now(200, 8.6, 8.0);
    watch.sense(&SETUP(), &then);
    let status = judged(&watch, &then);
    assert_eq!(status.level, Souring::Watch, "{status:#?}");
    assert!(says(&status, "stayed the same"));
    assert_eq!(status.evidence[0].since, Some(hour(200)));
    watch.smell(hour(201), Odour::Bad);
    assert_eq!(judged(&watch, &now(201, 8.6, 8.0)).level, Souring::Likely);
    watch.read_bacteria(hour(202), 1e6);
    let status = judged(&watch, &now(202, 8.6, 8.0));
    assert_eq!(status.level, Souring::Certain, "{status:#?}");
    assert!(status.look.iter().any(|step| step.contains("act at once")));
    assert!(status.caution.unwrap().contains("safety data sheet"));
    let later = now(202 + 9 * 24, 8.6, 8.0);
    assert_eq!(
        judged(&watch, &later).level,
        Souring::Watch,
        "what is old is not counted"
    );
}

/// 0.5 a decade: a mix of a twelfth the strength would be 0.54 lower.
#[test]
fn a_fall_with_the_concentration_is_dilution() {
    let watch = charged();
    let status = judged(&watch, &now(100, 8.6, 8.0 / 12.0));
    assert!(says(&status, "dilution"), "{status:#?}");
    assert_eq!(status.level, Souring::NoSign);
    let setup = SouringSetup {
        ph_per_decade: 0.0,
        ..SETUP()
    };
    let status = watch.status(&setup, &now(100, 8.6, 8.0 / 12.0)).unwrap();
    assert_eq!(status.level, Souring::Watch);
}

#[test]
fn a_rise_with_the_concentration_is_evaporation_and_a_jump_a_cleaner() {
    let mut watch = charged();
    let status = judged(&watch, &now(100, 9.5, 16.0));
    assert!(status.remarks[0].contains("evaporated"), "{status:#?}");
    for quarter in 0..40 {
        let sense = SouringNow {
            time: hour(100) + Span::from_mins(15 * quarter),
            ..now(0, if quarter < 30 { 9.2 } else { 9.6 }, 8.0)
        };
        watch.sense(&SETUP(), &sense);
    }
    assert_eq!(
        watch.last_jump(),
        Some(hour(100) + Span::from_mins(15 * 30))
    );
    let status = judged(&watch, &now(110, 9.5, 8.0));
    assert!(
        status.remarks[0].contains("a cleaner or alkali"),
        "{status:#?}"
    );
    assert!(!says(&status, "about that of the fresh charge"));
}

#[test]
fn concentrate_put_in_is_no_jump() {
    let mut watch = charged();
    watch.sense(&SETUP(), &now(100, 8.9, 6.0));
    watch.sense(&SETUP(), &now(101, 9.3, 8.0));
    assert_eq!(watch.last_jump(), None);
    watch.sense(&SETUP(), &now(102, 9.7, 8.0));
    assert_eq!(watch.last_jump(), Some(hour(102)));
}

#[test]
fn oxygen_and_redox_potential_have_their_steps() {
    let mut watch = charged();
    let air = |watch: &SouringWatch, oxygen: f64, mv: f64| {
        let now = SouringNow {
            ph: None,
            oxygen_mg_l: Some(oxygen),
            redox: Some(Potential::from_millivolts(mv)),
            ..now(100, 0.0, 8.0)
        };
        judged(watch, &now).level
    };
    assert_eq!(air(&watch, 4.0, 100.0), Souring::NoSign);
    assert_eq!(air(&watch, 3.9, 100.0), Souring::Watch);
    assert_eq!(air(&watch, 1.9, 100.0), Souring::Likely);
    assert_eq!(air(&watch, 5.0, 99.0), Souring::Watch);
    assert_eq!(air(&watch, 5.0, 49.0), Souring::Likely);
    watch.circulate(hour(90), false);
    assert_eq!(air(&watch, 3.9, 100.0), Souring::NoSign, "no air comes in");
}

#[test]
fn standing_still_weighs_little_and_adds_up() {
    let mut watch = charged();
    watch.circulate(hour(50), false);
    watch.circulate(hour(60), false);
    let quiet = |watch: &SouringWatch, hours| {
        let now = SouringNow {
            ph: None,
            ..now(hours, 0.0, 8.0)
        };
        watch.status(&SETUP(), &now)
    };
    assert_eq!(quiet(&watch, 74), None);
    let status = quiet(&watch, 98).unwrap();
    assert!(says(&status, "stood still for 2 d"), "{status:#?}");
    assert_eq!(status.level, Souring::NoSign);
    watch.smell(hour(98), Odour::Stale);
    assert_eq!(quiet(&watch, 98).unwrap().level, Souring::Watch);
}

#[test]
fn a_good_slide_speaks_against_a_first_sign() {
    let mut watch = charged();
    watch.see_slime(hour(100));
    assert_eq!(judged(&watch, &now(100, 8.6, 8.0)).level, Souring::Likely);
    watch.read_bacteria(hour(100), 999.0);
    assert_eq!(judged(&watch, &now(100, 8.6, 8.0)).level, Souring::Watch);
    watch.read_bacteria(hour(99), 1e7);
    assert_eq!(
        judged(&watch, &now(100, 8.6, 8.0)).level,
        Souring::Watch,
        "older"
    );
    watch.read_bacteria(hour(101), 1e3);
    let status = judged(&watch, &now(101, 8.6, 8.0));
    assert!(says(&status, "reasonable"), "{status:#?}");
}

#[test]
fn a_sure_fall_from_week_to_week_is_a_weak_sign() {
    let watch = charged();
    let falling = |slope, uncertainty| {
        let now = SouringNow {
            ph_slope_a_week: Some(Measured::new(slope, uncertainty)),
            ..now(100, 9.0, 8.0)
        };
        says(&judged(&watch, &now), "from week to week")
    };
    assert!(falling(-0.25, 0.1));
    assert!(!falling(-0.25, 0.2) && !falling(-0.2, 0.01));
}

#[test]
fn the_reference_may_be_given_and_without_one_ph_says_nothing() {
    let setup = SouringSetup {
        reference_ph: Some(Ph::from_units(9.4)),
        ..SETUP()
    };
    let fresh = SouringWatch::default();
    assert_eq!(fresh.status(&SETUP(), &now(5, 8.0, 8.0)), None);
    let status = fresh.status(&setup, &now(5, 8.0, 8.0)).unwrap();
    assert_eq!(status.reference_ph, Some(9.4));
    assert_eq!(status.level, Souring::Likely);
    let mut watch = charged();
    watch.begin(hour(500));
    assert_eq!(watch.status(&SETUP(), &now(501, 8.0, 8.0)), None);
}

#[test]
fn a_ph_by_hand_stands_for_the_first_day_and_the_sheet_until_then() {
    let setup = SouringSetup {
        fresh_ph: Some(Ph::from_units(9.0)),
        ..SETUP()
    };
    let reference = |watch: &SouringWatch| watch.reference_ph(&setup).map(Ph::units);
    let mut watch = SouringWatch::default();
    watch.begin(hour(0));
    assert_eq!(reference(&watch), Some(9.0));
    for (hours, ph) in [(2, 9.3), (3, 9.1), (40, 8.5)] {
        watch.read_ph(&setup, hour(hours), Ph::from_units(ph));
    }
    assert_eq!(reference(&watch), Some(9.3));
    let without_instrument = |hours| SouringNow {
        ph: None,
        ..now(hours, 0.0, 8.0)
    };
    let status = watch.status(&setup, &without_instrument(41)).unwrap();
    assert_eq!(status.evidence[0].value, Some(8.5 - 9.3));
    assert_eq!(status.evidence[0].since, Some(hour(40)));
    let too_old = watch.status(&setup, &without_instrument(41 + 8 * 24));
    assert_eq!(too_old, None);
    assert_eq!(reference(&charged()), Some(9.2));
}

proptest! {
    #[test]
    fn memory_is_fixed_and_comes_back(
        values in prop::collection::vec((6.0f64..11.0, 0.0f64..20.0), 1..400), step in 1i64..200,
    ) {
        let mut watch = charged();
        for (at, &(ph, pct)) in (1i64..).zip(&values) {
            let sense = SouringNow {
                time: hour(30) + Span::from_mins(step * at),
                ..now(0, ph, pct)
            };
            watch.sense(&SETUP(), &sense);
        }
        let written = serde_json::to_string(&watch).unwrap();
        prop_assert!(written.len() < 5000, "{}", written.len());
        let again: SouringWatch = serde_json::from_str(&written).unwrap();
        prop_assert_eq!(again, watch);
    }

    #[test]
    fn a_lower_ph_is_never_a_better_sign(a in 6.0f64..9.5, b in 6.0f64..9.5) {
        let watch = charged();
        let level = |ph: f64| judged(&watch, &now(100, ph, 8.0)).level;
        prop_assert!(level(a.min(b)) >= level(a.max(b)));
    }
}
