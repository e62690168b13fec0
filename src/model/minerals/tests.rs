//! The minerals of a sump over days, as its watch follows them.

use std::sync::Arc;

use super::*;
use crate::units::{Concentration, Conductivity, Measured, Span, Timestamp, Volume};

const V: Volume = Volume::from_litres(1000.0);
const C: Concentration = Concentration::from_percent(6.0);
const EVAPORATION: Measured = Measured::new(50.0, 5.0);
const CARRY_OFF: Measured = Measured::new(20.0, 2.0);

fn water(name: &str, hardness: f64, chloride: f64) -> Arc<Water> {
    Arc::new(Water {
        name: name.into(),
        hardness: Some(Measured::new(hardness, 0.05 * hardness)),
        chloride: Some(Measured::new(chloride, 0.05 * chloride)),
        nitrate_mg_l: Some(12.0),
        conductivity: Some(Conductivity::from_microsiemens_per_cm(2.5 * hardness)),
    })
}

fn setup(first: Arc<Water>, top_up: Arc<Water>) -> MineralSetup {
    MineralSetup {
        first_fill: Some(first),
        top_up: Some(top_up),
        ..MineralSetup::default()
    }
}

fn at(day: i64) -> Timestamp {
    Timestamp::from_millis(0) + Span::from_hours(24 * day)
}

fn charged(setup: &MineralSetup) -> MineralWatch {
    let mut watch = MineralWatch::default();
    let charge = Charge {
        time: at(0),
        volume: V,
        strength: C,
        water: None,
    };
    watch.begin(setup, &charge);
    watch
}

/// Losses and a top-up with the holding strength on each of `days` days.
fn keep(watch: &mut MineralWatch, setup: &MineralSetup, days: i64, water: Option<&Water>) {
    for day in 1..=days {
        watch.carry_to(at(day), CARRY_OFF, V);
        let movement = Movement {
            time: at(day),
            litres: 70.0,
            strength: Concentration::from_percent(6.0 * 20.0 / 70.0),
            water,
        };
        watch.move_in_or_out(setup, &movement, V);
    }
}

fn now() -> SumpNow {
    SumpNow {
        volume: V,
        concentration: C,
        conductivity: None,
        losses: Some(Losses {
            evaporation_l_d: EVAPORATION,
            carry_off_l_d: CARRY_OFF,
            both_l_d: Measured::new(
                EVAPORATION.value + CARRY_OFF.value,
                EVAPORATION.uncertainty.hypot(CARRY_OFF.uncertainty),
            ),
        }),
    }
}

/// 30 days of the first two cases of hardness_buildup.csv, whose carry-off
/// comes at the end of the day and here over the day: 2 % a day against its
/// exponential, some 1 % of the content after a month.
#[test]
fn the_waters_of_first_fill_and_top_up_are_told_apart() {
    let (tap, pure) = (water("tap", 200.0, 40.0), water("purified", 0.0, 0.0));
    for (top_up, expected) in [(&tap, 415.257_840), (&pure, 102.551_052)] {
        let setup = setup(Arc::clone(&tap), Arc::clone(top_up));
        let mut watch = charged(&setup);
        keep(&mut watch, &setup, 30, None);
        let hardness = watch.content(Mineral::Hardness, V).unwrap();
        assert!(
            (hardness.value / expected - 1.0).abs() < 0.015,
            "{hardness:?}"
        );
        let chloride = watch.content(Mineral::Chloride, V).unwrap();
        assert!((chloride.value - 0.2 * hardness.value).abs() < 1e-9);
        let (low, high) = hardness.interval_90();
        assert!(low < expected && expected < high, "{hardness:?}");
    }
}

#[test]
fn a_movement_may_name_its_own_water() {
    let tap = water("tap", 200.0, 40.0);
    let setup = setup(Arc::clone(&tap), tap);
    let mut watch = charged(&setup);
    keep(&mut watch, &setup, 30, Some(&water("purified", 0.0, 0.0)));
    let hardness = watch.content(Mineral::Hardness, V).unwrap().value;
    assert!((hardness / 102.55 - 1.0).abs() < 0.015, "{hardness}");
}

#[test]
fn drained_mix_takes_its_share_and_readings_correct_what_is_left() {
    let tap = water("tap", 200.0, 40.0);
    let setup = setup(Arc::clone(&tap), tap);
    let mut watch = charged(&setup);
    let drained = Movement {
        time: at(0),
        litres: -250.0,
        strength: C,
        water: None,
    };
    watch.move_in_or_out(&setup, &drained, V);
    let left = Volume::from_litres(750.0);
    let hardness = watch.content(Mineral::Hardness, left).unwrap();
    assert!((hardness.value - 188.0).abs() < 1e-9, "{hardness:?}");
    watch.read(Mineral::Hardness, at(1), Measured::new(180.0, 9.4), left);
    let read = watch.content(Mineral::Hardness, left).unwrap();
    assert!((read.value - 184.0).abs() < 1e-9, "{read:?}");
    let status = watch.status(&setup, &now()).unwrap();
    assert_eq!(status.tracers[0].surprise, None);
    assert!(status.tracers[0].remark.contains("chloride is the better"));
}

#[test]
fn the_status_foresees_the_limit_and_advises_the_share() {
    let tap = water("tap", 200.0, 40.0);
    let setup = setup(Arc::clone(&tap), tap);
    let watch = charged(&setup);
    let status = watch.status(&setup, &now()).unwrap();
    let hardness = &status.tracers[0];
    assert!((hardness.steady_mg_l.unwrap() - 688.0).abs() < 1e-9);
    let forecast = hardness.forecast.unwrap();
    let (likely, latest) = (forecast.likely_d.unwrap(), forecast.latest_d.unwrap());
    assert!(
        (20.0..30.0).contains(&likely) && latest > likely,
        "{forecast:?}"
    );
    let advice = status.advice.unwrap();
    // 100 · 20 / (68.8 · 40): chloride allows more than hardness does.
    assert!((advice.tap_share.unwrap() - 400.0 / 688.0).abs() < 1e-9);
    assert!(
        advice
            .top_up
            .contains("at most 58 % of it in the top-up water keeps hardness under 400"),
        "{}",
        advice.top_up
    );
    assert!(advice.first_fill.contains("so that the mix does not foam"));
    assert_eq!(advice.nitrate, None);
}

#[test]
fn soft_and_nitrate_rich_water_is_told() {
    let soft = water("rain", 20.0, 5.0);
    let well = Arc::new(Water {
        nitrate_mg_l: Some(50.5),
        ..(*water("well", 300.0, 80.0)).clone()
    });
    let setup = setup(soft, well);
    let advice = MineralWatch::default().status(&setup, &now()).unwrap();
    let advice = advice.advice.unwrap();
    assert!(advice.first_fill.contains("foams in water so soft"));
    assert!(advice.nitrate.unwrap().contains("\"well\" has 50 mg/L"));
    assert!(
        advice.top_up.contains("With \"well\" alone"),
        "{}",
        advice.top_up
    );
    let allowed = MineralSetup {
        nitrate_mg_l: 50.5,
        ..setup
    };
    let advice = MineralWatch::default().status(&allowed, &now()).unwrap();
    assert_eq!(advice.advice.unwrap().nitrate, None);
}

#[test]
fn where_nothing_is_known_nothing_is_said() {
    let setup = MineralSetup::default();
    assert_eq!(MineralWatch::default().status(&setup, &now()), None);
}

#[test]
fn the_watch_goes_on_from_its_memory() {
    let tap = water("tap", 200.0, 40.0);
    let setup = setup(Arc::clone(&tap), tap);
    let mut watch = charged(&setup);
    keep(&mut watch, &setup, 5, None);
    for minute in 0..2000 {
        let time = at(0) + Span::from_mins(minute);
        watch.sense(time, Conductivity::from_microsiemens_per_cm(2300.0), C);
    }
    let written = serde_json::to_string(&watch).unwrap();
    let again: MineralWatch = serde_json::from_str(&written).unwrap();
    assert_eq!(again, watch);
    assert!(written.len() < 2000, "{} bytes", written.len());
    let forgotten: MineralWatch = serde_json::from_str("{}").unwrap();
    assert_eq!(forgotten, MineralWatch::default());
}
