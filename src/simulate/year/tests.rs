//! The sump behaves as fluid does.

use super::*;
use crate::units::Span;

fn quiet(place: usize) -> YearSump {
    YearSump::new(&sumps(1)[place], 1, YEAR_START, Vec::new())
}

fn with(place: usize, kind: FaultKind, size: f64) -> YearSump {
    let planned = Planned {
        kind,
        size,
        grows_h: 0.0,
        from: YEAR_START + Span::from_hours(10),
        until: None,
    };
    YearSump::new(&sumps(1)[place], 1, YEAR_START, vec![planned])
}

fn run(sump: &mut YearSump, hours: i64) -> Vec<YearReading> {
    let mut readings = Vec::new();
    for _ in 0..12 * hours {
        sump.step(&mut readings);
    }
    readings
}

#[test]
fn a_working_week_loses_what_the_layout_says() {
    let mut sump = quiet(0);
    let before = sump.truth().volume_l;
    run(&mut sump, 5 * 24);
    let spec = *sump.spec();
    let lost = (before - sump.truth().volume_l) / spec.working_l / 5.0;
    let a_day = spec.evaporation_a_day + spec.carry_off_a_day;
    assert!((0.6..1.4).contains(&(lost / a_day)), "{lost} {a_day}");
    let rise = sump.truth().concentration_pct / spec.product.target_pct;
    assert!(rise > 1.05, "evaporation leaves the concentrate: {rise}");
}

#[test]
fn the_holding_strength_holds() {
    let mut sump = quiet(2);
    for _ in 0..60 {
        run(&mut sump, 24);
        let room = sump.spec().working_l * (1.0 - sump.filled());
        let strength = sump.spec().product.target_pct * sump.spec().carry_off_a_day
            / (sump.spec().carry_off_a_day + sump.spec().evaporation_a_day);
        sump.add(room.max(0.0), strength);
    }
    let c = sump.truth().concentration_pct / sump.spec().product.target_pct;
    assert!((0.85..1.15).contains(&c), "{c}");
}

#[test]
fn a_lean_mixer_a_leak_and_hard_water_show_in_the_truth() {
    let mut lean = with(0, FaultKind::MixerLean, 0.5);
    run(&mut lean, 11);
    assert_eq!(lean.mixer_gives_pct(), 0.5 * lean.spec().mixer_pct);
    assert!(lean.mend(FaultKind::MixerLean));
    assert_eq!(lean.mixer_gives_pct(), lean.spec().mixer_pct);

    let (mut leaks, mut tight) = (with(0, FaultKind::Leak, 0.01), quiet(0));
    run(&mut leaks, 20);
    run(&mut tight, 20);
    let lost = tight.truth().volume_l - leaks.truth().volume_l;
    let expected = 0.01 * leaks.spec().working_l * 10.0;
    assert!((lost / expected - 1.0).abs() < 0.1, "{lost} {expected}");

    let mut hard = with(0, FaultKind::HardWater, 1.0);
    run(&mut hard, 11);
    let before = hard.truth().hardness_mg_l;
    hard.drain(50.0);
    hard.add(50.0, 0.0);
    assert!(hard.truth().hardness_mg_l > before + 10.0);
}

#[test]
fn a_film_lifts_the_reading_and_not_the_truth_until_it_is_wiped() {
    let mut sump = with(2, FaultKind::FouledPrism, 1.5);
    run(&mut sump, 12);
    assert!((sump.truth().off[0] - 1.5).abs() < 0.4);
    assert!(sump.hand_brix() < sump.spec().product.target_pct / sump.spec().product.factor + 0.6);
    assert!(sump.set_right(Channel::Brix));
    assert!(sump.truth().off[0].abs() < 0.3);
}

#[test]
fn silent_and_broken_instruments_are_heard_as_such() {
    let count = |readings: &[YearReading], channel| {
        readings.iter().filter(|r| r.channel == channel).count()
    };
    let mut silent = with(0, FaultKind::Silent(Channel::Ph), 1.0);
    let readings = run(&mut silent, 20);
    assert!(count(&readings, Channel::Ph) < 122);
    assert_eq!(count(&readings, Channel::Brix), 240);
    let mut gone = with(0, FaultKind::BrokerGone, 1.0);
    run(&mut gone, 10);
    assert!(run(&mut gone, 5).is_empty());
    let mut broken = with(0, FaultKind::BrokenLoop(Channel::Level), 1.0);
    run(&mut broken, 10);
    let readings = run(&mut broken, 1);
    let level = readings.iter().find(|r| r.channel == Channel::Level);
    assert_eq!(level.unwrap().value, 0.0);
}

#[test]
fn a_clean_out_ends_what_lives_in_the_fluid() {
    let mut sump = with(0, FaultKind::Souring, 1.0);
    run(&mut sump, 12);
    let sour = sump.truth().ph;
    assert_eq!(sump.smells(), Smells::Bad);
    assert!(sump.dip_slide() >= 1e6);
    sump.clean_out();
    sump.add(sump.spec().working_l, sump.spec().product.target_pct);
    run(&mut sump, 24);
    assert!(sump.truth().ph > sour + 0.7);
    assert!(sump.dip_slide() <= 1e4);
}

#[test]
fn the_same_seed_gives_the_same_readings() {
    let (mut a, mut b) = (quiet(5), quiet(5));
    assert_eq!(run(&mut a, 48), run(&mut b, 48));
}
