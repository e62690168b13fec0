//! Evaporation and carry-off after ten days.

use sumpward::simulate::trial::TrialErrors;

use super::run::{Watched, median_and_worst, spec, wandering, white};

/// Ten days with a top-up each other day at seven in the morning, as large as
/// what was lost, of the strength that keeps the concentration.
fn ten_days(
    factor: f64,
    concentration: f64,
    errors: TrialErrors,
    logged: bool,
    seed: u64,
) -> Watched {
    let mut watched = Watched::new(spec(factor, concentration, errors), seed);
    let (evaporation, carry_off) = watched.true_losses();
    let strength = concentration * carry_off / (evaporation + carry_off);
    let litres = 2.0 * (evaporation + carry_off);
    for _ in 0..5 {
        watched.run_hours(31.0);
        watched.add(litres, strength, logged);
        watched.run_hours(17.0);
    }
    watched
}

struct Worst {
    evaporation: (f64, f64),
    carry_off: (f64, f64),
}

fn twenty(factor: f64, concentration: f64, logged: bool) -> Worst {
    let (mut evaporations, mut carry_offs) = (Vec::new(), Vec::new());
    for seed in 1..=20 {
        let watched = ten_days(factor, concentration, white(), logged, seed);
        let (evaporation, carry_off) = watched.true_losses();
        let losses = watched.losses();
        evaporations.push(losses.evaporation_l_per_d.value / evaporation - 1.0);
        carry_offs.push(losses.carry_off_l_per_d.value / carry_off - 1.0);
    }
    let (evaporation, carry_off) = (
        median_and_worst(&evaporations),
        median_and_worst(&carry_offs),
    );
    println!(
        "factor {factor}, {concentration} %, {}: evaporation median {:.1} %, worst {:.1} %; carry-off median {:.1} %, worst {:.1} %",
        if logged { "logged" } else { "unlogged" },
        100.0 * evaporation.0,
        100.0 * evaporation.1,
        100.0 * carry_off.0,
        100.0 * carry_off.1
    );
    Worst {
        evaporation,
        carry_off,
    }
}

#[test]
fn with_logged_additions_they_come_out_within_5_and_10_per_cent() {
    for (factor, concentration) in [(1.0, 8.0), (1.4, 7.0), (2.3, 6.0)] {
        let worst = twenty(factor, concentration, true);
        assert!(worst.evaporation.1 < 0.05, "{:?}", worst.evaporation);
        assert!(worst.carry_off.1 < 0.10, "{:?}", worst.carry_off);
    }
}

#[test]
fn with_unlogged_additions_they_come_out_too() {
    // The weaker the mix and the larger the factor, the less a degree Brix tells:
    // at 6 % and a factor of 2.3 evaporation is off by 2.3 % (root of the mean
    // square) and by 7.1 % at worst in 300 runs.
    for (factor, concentration, evaporation, carry_off) in [
        (1.0, 8.0, 0.08, 0.15),
        (2.3, 8.0, 0.08, 0.25),
        (2.3, 6.0, 0.08, 0.25),
    ] {
        let worst = twenty(factor, concentration, false);
        assert!(worst.evaporation.1 < evaporation, "{:?}", worst.evaporation);
        assert!(worst.carry_off.1 < carry_off, "{:?}", worst.carry_off);
    }
}

#[test]
fn the_intervals_hold_the_truth_in_nine_of_ten_runs() {
    for (factor, concentration, logged) in [
        (1.0, 8.0, true),
        (1.0, 8.0, false),
        (2.3, 6.0, true),
        (2.3, 6.0, false),
    ] {
        let (mut evaporations, mut carry_offs) = (0, 0);
        let runs = 200;
        for seed in 1..=runs {
            let watched = ten_days(factor, concentration, wandering(), logged, seed);
            let (evaporation, carry_off) = watched.true_losses();
            let losses = watched.losses();
            let holds = |interval: (f64, f64), truth: f64| {
                u64::from(interval.0 <= truth && truth <= interval.1)
            };
            evaporations += holds(losses.evaporation_l_per_d.interval_90(), evaporation);
            carry_offs += holds(losses.carry_off_l_per_d.interval_90(), carry_off);
        }
        let share = |count: u64| 100.0 * count as f64 / runs as f64;
        println!(
            "factor {factor}, {concentration} %, {}: 90 % intervals hold evaporation in {:.1} %, carry-off in {:.1} % of {runs}",
            if logged { "logged" } else { "unlogged" },
            share(evaporations),
            share(carry_offs)
        );
        assert!((84.0..=96.0).contains(&share(evaporations)));
        assert!((84.0..=96.0).contains(&share(carry_offs)));
    }
}

#[test]
fn a_weekend_without_the_daemon_changes_no_loss_and_invents_no_addition() {
    for seed in 1..=20 {
        let mut watched = Watched::new(spec(1.0, 8.0, wandering()), seed);
        let (evaporation, carry_off) = watched.true_losses();
        for _ in 0..2 {
            watched.run_hours(5.0 * 24.0);
            watched.add(2.0 * (evaporation + carry_off), 2.4, true);
            watched.run_hours(24.0);
            watched.away_hours(60.0);
            watched.run_hours(12.0);
        }
        let movements = watched.movements();
        assert_eq!(movements.len(), 2, "seed {seed}: {movements:?}");
        let losses = watched.losses();
        let off = losses.both_l_per_d.value / (evaporation + carry_off) - 1.0;
        assert!(off.abs() < 0.05, "seed {seed}: {off}");
    }
}
