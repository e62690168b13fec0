//! Additions that nobody wrote down.

use sumpward::model::{Movement, MovementKind};
use sumpward::simulate::trial::{TrialErrors, TrialSpec};
use sumpward::units::{Span, Timestamp};

use super::chance::Chance;
use super::run::{Watched, spec, wandering};

/// What was done, truly.
struct Deed {
    time: Timestamp,
    kind: MovementKind,
    litres: f64,
}

/// Twenty-eight days in which what is lost is made up for in deeds of
/// `share` of the volume at random times of the shifts: water, premix or
/// concentrate as the concentration needs it, and now and then mix is let out.
fn a_month(mut spec: TrialSpec, share: f64, seed: u64) -> (Watched, Vec<Deed>) {
    spec.pumps_stop = true;
    spec.drain_back_l = 50.0;
    let mut chance = Chance(seed);
    let mut watched = Watched::new(spec, seed);
    let mut deeds = Vec::new();
    watched.run_hours(30.0);
    while watched.trial.now() < super::run::START + Span::from_hours(28 * 24) {
        watched.run_hours(20.0 * share / 0.04 * (0.7 + 0.6 * chance.even()));
        while !watched.trial.cuts() {
            watched.run_hours(1.5 + chance.even());
        }
        deeds.push(one(&mut watched, share, &mut chance));
    }
    watched.run_hours(26.0);
    (watched, deeds)
}

fn one(watched: &mut Watched, share: f64, chance: &mut Chance) -> Deed {
    let litres = share * watched.spec.volume_l;
    let lean = watched.trial.mix().concentration_pct() < watched.spec.concentration_pct;
    let full = watched.trial.mix().volume_l() > watched.spec.volume_l;
    let time = watched.trial.now();
    let (kind, really) = match (full, lean) {
        (true, _) => {
            watched.trial.drain(litres);
            (MovementKind::MixOut, -litres)
        }
        (false, true) if chance.even() < 0.2 && share < 0.03 => {
            (MovementKind::Concentrate, watched.add(litres, 100.0, false))
        }
        (false, true) => {
            let strength = 1.5 * watched.spec.concentration_pct;
            (MovementKind::Premix, watched.add(litres, strength, false))
        }
        (false, false) => (MovementKind::Water, watched.add(litres, 0.0, false)),
    };
    Deed {
        time,
        kind,
        litres: really,
    }
}

/// How many deeds there were, were found, and were named rightly; and what
/// was told that nobody did.
#[derive(Default)]
struct Count {
    deeds: usize,
    found: usize,
    named: usize,
    invented: usize,
}

fn count(factor: f64, concentration: f64, errors: TrialErrors, share: f64, seeds: u64) -> Count {
    let mut count = Count::default();
    for seed in 1..=seeds {
        let (watched, deeds) = a_month(spec(factor, concentration, errors), share, seed);
        let movements = watched.movements();
        count.deeds += deeds.len();
        for deed in &deeds {
            let found = movements.iter().find(|one| is(one, deed));
            count.found += usize::from(found.is_some());
            count.named += usize::from(found.is_some_and(|one| one.kind == deed.kind));
        }
        let invented = movements
            .iter()
            .filter(|one| !deeds.iter().any(|deed| may_be(one, deed)));
        count.invented += invented.count();
    }
    println!(
        "factor {factor}, steps of {} %: {} deeds, found {:.1} %, of these named rightly {:.1} %, invented {} in {} months",
        100.0 * share,
        count.deeds,
        100.0 * count.found as f64 / count.deeds as f64,
        100.0 * count.named as f64 / count.found as f64,
        count.invented,
        seeds
    );
    count
}

fn is(movement: &Movement, deed: &Deed) -> bool {
    let near = (movement.time - deed.time).millis().abs() <= Span::from_mins(60).millis();
    near && (movement.litres.value - deed.litres).abs() < 0.35 * deed.litres.abs()
}

/// The deed may be what the movement stands for, if it was seen late (the pumps
/// stood) or with the next one.
fn may_be(movement: &Movement, deed: &Deed) -> bool {
    let before = (movement.time - deed.time).millis();
    let near = (-Span::from_mins(60).millis()..=Span::from_hours(10).millis()).contains(&before);
    near && movement.litres.value * deed.litres > 0.0
}

#[test]
fn of_5_per_cent_99_of_100_are_found_and_95_named_rightly() {
    for (factor, concentration) in [(1.0, 8.0), (2.3, 6.0)] {
        let count = count(factor, concentration, wandering(), 0.05, 20);
        assert!(count.found * 100 >= 99 * count.deeds);
        assert!(count.named * 100 >= 95 * count.found);
        assert_eq!(count.invented, 0);
    }
}

#[test]
fn of_1_5_per_cent_nine_of_ten_are_found_and_95_of_100_named_rightly() {
    for (factor, concentration) in [(1.0, 8.0), (2.3, 6.0)] {
        let count = count(factor, concentration, wandering(), 0.015, 20);
        assert!(count.found * 10 >= 9 * count.deeds);
        assert!(count.named * 100 >= 95 * count.found);
        assert_eq!(count.invented, 0);
    }
}
