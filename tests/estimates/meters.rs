//! Sumps that fill themselves up, with meters and without.

use sumpward::engine::MeterOf;
use sumpward::model::NotIdentifiable;
use sumpward::simulate::trial::TrialSpec;

use super::run::{median_and_worst, spec, true_losses, wandering};
use super::whole::{Knows, Whole};

/// How the sump is filled up: a float valve lets in what is missing each five
/// minutes.
#[derive(Clone, Copy, PartialEq)]
enum Filled {
    /// Water through a meter; concentrate by hand, written down.
    ByWater,
    /// Water and concentrate, each through a meter of its own.
    ByBoth,
    /// Premix that no meter counts.
    Unmetered,
}

/// Ten days of it.
fn ten_days(filled: Filled, fills_itself: bool, seed: u64) -> Whole {
    let spec = spec(1.0, 8.0, wandering());
    let meters = match filled {
        Filled::ByWater => vec![MeterOf::Water],
        Filled::ByBoth => vec![MeterOf::Water, MeterOf::Concentrate],
        Filled::Unmetered => Vec::new(),
    };
    let knows = Knows {
        meters,
        fills_itself,
        ..Knows::all(&spec)
    };
    let mut whole = Whole::new(spec, knows, seed);
    let steps = (10.0 * 86_400.0 / spec.interval.secs_f64()) as usize;
    for step in 0..steps {
        fill(&mut whole, &spec, filled);
        let lean = whole.trial.mix().concentration_pct() < spec.concentration_pct - 0.3;
        if filled == Filled::ByWater && lean && whole.trial.cuts() && step % 12 == 0 {
            whole.add(5.0, 100.0);
        }
        whole.step();
    }
    whole
}

/// Lets in what is missing, if it is enough to open the valve.
fn fill(whole: &mut Whole, spec: &TrialSpec, filled: Filled) {
    let missing = spec.volume_l - whole.trial.mix().volume_l();
    if missing < 0.5 {
        return;
    }
    let (evaporation, carry_off) = true_losses(spec);
    let holding = spec.concentration_pct * carry_off / (evaporation + carry_off);
    match filled {
        Filled::ByWater => whole.run_in(0, missing, 0.0),
        Filled::ByBoth => {
            let concentrate = missing * holding / 100.0;
            whole.run_in(0, missing - concentrate, 0.0);
            whole.run_in(1, concentrate, 100.0);
        }
        Filled::Unmetered => {
            whole.trial.add(missing, holding);
        }
    }
}

fn metered(filled: Filled, what: &str) {
    let (mut both, mut evaporations, mut carry_offs) = (Vec::new(), Vec::new(), Vec::new());
    for seed in 1..=20 {
        let whole = ten_days(filled, false, seed);
        let (evaporation, carry_off) = true_losses(&whole.spec);
        let losses = whole.losses();
        both.push(losses.both_l_per_d.value / (evaporation + carry_off) - 1.0);
        evaporations.push(losses.evaporation_l_per_d.value / evaporation - 1.0);
        carry_offs.push(losses.carry_off_l_per_d.value / carry_off - 1.0);
    }
    let figures = [both, evaporations, carry_offs].map(|errors| {
        let (median, worst) = median_and_worst(&errors);
        (100.0 * median, 100.0 * worst)
    });
    let [both, evaporation, carry_off] = figures;
    println!(
        "filled by {what}: E + D median {:.1} %, worst {:.1} %; evaporation {:.1} %, {:.1} %; carry-off {:.1} %, {:.1} %",
        both.0, both.1, evaporation.0, evaporation.1, carry_off.0, carry_off.1
    );
    assert!(both.1 < 5.0, "{both:?}");
}

#[test]
fn what_meters_count_tells_the_losses_at_a_level_that_is_held() {
    metered(Filled::ByWater, "a metered valve and by hand");
    metered(Filled::ByBoth, "two metered valves");
}

#[test]
fn without_a_meter_no_number_is_told() {
    for (fills_itself, reason) in [
        (true, NotIdentifiable::FillsItself),
        (false, NotIdentifiable::LevelDoesNotFall),
    ] {
        for seed in 1..=20 {
            let balance = ten_days(Filled::Unmetered, fills_itself, seed).balance();
            assert_eq!(balance.losses, None, "seed {seed}");
            assert_eq!(balance.not_identifiable, Some(reason), "seed {seed}");
            assert_eq!(balance.forecast, None, "seed {seed}");
        }
    }
}
