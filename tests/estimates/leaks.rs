//! Leaks and ingress, and their absence.

use sumpward::model::{Departure, DepartureKind, Told};
use sumpward::units::{Span, Timestamp};

use super::run::{Watched, median_and_worst, spec, wandering};

fn departures(watched: &Watched) -> Vec<Departure> {
    let told = watched.told.iter().filter_map(|told| match told {
        Told::Departure(departure) => *departure,
        _ => None,
    });
    told.collect()
}

/// Ten usual days with unlogged top-ups, then a day with what `begin` begins.
fn a_day_after_ten(seed: u64, begin: impl Fn(&mut Watched)) -> Watched {
    let mut watched = Watched::new(spec(1.0, 8.0, wandering()), seed);
    let (evaporation, carry_off) = watched.true_losses();
    let litres = 2.0 * (evaporation + carry_off);
    for _ in 0..5 {
        watched.run_hours(31.0);
        watched.add(litres, 2.4, false);
        watched.run_hours(17.0);
    }
    begin(&mut watched);
    watched.run_hours(24.0);
    watched
}

#[test]
fn where_there_is_none_none_is_told() {
    for seed in 1..=40 {
        let watched = a_day_after_ten(seed, |_| ());
        assert_eq!(departures(&watched), [], "seed {seed}");
    }
}

#[test]
fn a_leak_and_an_ingress_are_told_within_a_day_and_not_taken_for_each_other() {
    let mut hours = Vec::new();
    for seed in 1..=20 {
        let leak = a_day_after_ten(seed, |watched| watched.trial.leak(2.0));
        let began = leak.trial.now() - Span::from_hours(24);
        let told = kinds(&leak, began, &mut hours);
        assert_eq!(told, [DepartureKind::MixLost], "seed {seed}");
        let now = leak.balance.departure().unwrap().litres_per_hour;
        assert!((now.value - 2.0).abs() < 0.6, "seed {seed}: {now:?}");

        let ingress = a_day_after_ten(seed, |watched| watched.trial.let_water_in(2.0));
        let told = kinds(&ingress, began, &mut hours);
        assert_eq!(told, [DepartureKind::WaterIn], "seed {seed}");
    }
    let (median, worst) = median_and_worst(&hours);
    println!(
        "leak and ingress of 2 L/h (0.25 % of the volume an hour): taken to have begun {median:.1} h after they did, worst {worst:.1} h"
    );
}

/// The kinds that were told, once they showed.
fn kinds(watched: &Watched, began: Timestamp, hours: &mut Vec<f64>) -> Vec<DepartureKind> {
    let told = departures(watched);
    hours.extend(
        told.first()
            .map(|one| (one.since - began).secs_f64() / 3600.0),
    );
    let kinds = told.iter().map(|one| one.kind);
    kinds
        .filter(|kind| *kind != DepartureKind::Unknown)
        .collect()
}
