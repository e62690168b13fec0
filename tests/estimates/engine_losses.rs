//! Evaporation and carry-off as the whole engine tells them, over a month.

use sumpward::model::Losses;
use sumpward::simulate::trial::TrialSpec;

use super::chance::Chance;
use super::run::{START, Watched, median_and_worst, spec, true_losses, white};
use super::whole::{Knows, Whole};

/// The house's sump, with losses of 3 to 5 % a day of which a quarter to a
/// third is carried off.
fn sump(factor: f64, concentration: f64, chance: &mut Chance) -> TrialSpec {
    let usual = spec(factor, concentration, white());
    let (a_day, carried) = (chance.between(0.03, 0.05), chance.between(0.25, 1.0 / 3.0));
    TrialSpec {
        evaporation_l_per_h: usual.evaporation_l_per_h * (1.0 - carried) / 0.7 * a_day / 0.04,
        carry_off_l_per_h: usual.carry_off_l_per_h * carried / 0.3 * a_day / 0.04,
        ..usual
    }
}

/// What the engine and the balance alone say of the same days.
struct Said {
    truth: (f64, f64),
    engine: Losses,
    balance: Losses,
}

/// Thirty days with a top-up about every second day, as large as what was
/// lost, of the strength that keeps the concentration; read after ten and
/// after thirty.
fn a_month(factor: f64, concentration: f64, logged: bool, seed: u64) -> [Said; 2] {
    let mut chance = Chance(seed);
    let spec = sump(factor, concentration, &mut chance);
    let truth = true_losses(&spec);
    let strength = concentration * truth.1 / (truth.0 + truth.1);
    let mut whole = Whole::new(spec, Knows::all(&spec), seed);
    let mut alone = Watched::new(spec, seed);
    let mut days = |until: f64| {
        loop {
            let hours = chance.between(36.0, 60.0);
            let passed = (whole.trial.now() - START).secs_f64() / 3600.0;
            if passed + hours > 24.0 * until {
                whole.run_hours(24.0 * until - passed);
                alone.run_hours(24.0 * until - passed);
                break;
            }
            whole.run_hours(hours);
            alone.run_hours(hours);
            let litres = spec.volume_l - whole.trial.mix().volume_l();
            match logged {
                true => whole.add(litres, strength),
                false => whole.trial.add(litres, strength),
            };
            alone.add(litres, strength, logged);
        }
        Said {
            truth,
            engine: whole.losses(),
            balance: alone.losses(),
        }
    };
    [days(10.0), days(30.0)]
}

/// Relative errors of evaporation and carry-off, median and worst of twenty
/// seeds, after ten days and after thirty.
fn twenty(factor: f64, concentration: f64, logged: bool, most: (f64, f64)) {
    let months: Vec<[Said; 2]> = (1..=20)
        .map(|seed| a_month(factor, concentration, logged, seed))
        .collect();
    for (place, days) in [10, 30].into_iter().enumerate() {
        let of = |error: &dyn Fn(&Said) -> f64| {
            let errors: Vec<f64> = months.iter().map(|month| error(&month[place])).collect();
            median_and_worst(&errors)
        };
        let evaporation = of(&|said| said.engine.evaporation_l_per_d.value / said.truth.0 - 1.0);
        let carry_off = of(&|said| said.engine.carry_off_l_per_d.value / said.truth.1 - 1.0);
        let apart = (
            of(&|said| {
                let alone = said.balance.evaporation_l_per_d.value;
                (said.engine.evaporation_l_per_d.value - alone) / said.truth.0
            }),
            of(&|said| {
                let alone = said.balance.carry_off_l_per_d.value;
                (said.engine.carry_off_l_per_d.value - alone) / said.truth.1
            }),
        );
        println!(
            "engine, factor {factor}, {}, {days} days: evaporation median {:.1} %, worst {:.1} %; carry-off median {:.1} %, worst {:.1} %; from the balance alone at most {:.1} and {:.1} %",
            if logged { "logged" } else { "unlogged" },
            100.0 * evaporation.0,
            100.0 * evaporation.1,
            100.0 * carry_off.0,
            100.0 * carry_off.1,
            100.0 * apart.0.1,
            100.0 * apart.1.1
        );
        assert!(evaporation.1 < most.0, "{evaporation:?}");
        assert!(carry_off.1 < most.1, "{carry_off:?}");
        assert!(apart.0.1 < 0.8 * most.0, "{apart:?}");
        assert!(apart.1.1 < 0.8 * most.1, "{apart:?}");
    }
}

#[test]
fn a_logged_month_comes_out_within_5_and_10_per_cent() {
    for (factor, concentration) in [(1.0, 8.0), (2.3, 8.0)] {
        twenty(factor, concentration, true, (0.05, 0.10));
    }
}

#[test]
fn an_unlogged_month_comes_out_within_8_and_15_or_25_per_cent() {
    for (factor, concentration, carry_off) in [(1.0, 8.0, 0.15), (2.3, 8.0, 0.25)] {
        twenty(factor, concentration, false, (0.08, carry_off));
    }
}
