//! Pumps that stop for the night, and what runs back from the lines then.

use sumpward::model::MovementKind;
use sumpward::simulate::trial::TrialSpec;
use sumpward::units::Timestamp;

use super::chance::Chance;
use super::run::{START, median_and_worst, spec, true_losses, wandering};
use super::whole::{Knows, PumpsBy, Whole};

const DRAINS_BACK_L: f64 = 50.0;

/// Before the first stop was seen: whose pumps nobody knows cannot know that
/// they stood at the beginning, and takes the first start for mix let out.
const FIRST_START: Timestamp = Timestamp::from_millis(START.millis() + 12 * 3_600_000);

/// Two weeks in which the pumps stop each night and a top-up is written down
/// each other day; with the times of the top-ups, and what was learned of the
/// drain-back after five stops.
fn two_weeks(pumps: PumpsBy, seed: u64) -> (Whole, Vec<Timestamp>, Option<f64>) {
    let spec = TrialSpec {
        pumps_stop: true,
        drain_back_l: DRAINS_BACK_L,
        ..spec(1.0, 8.0, wandering())
    };
    let knows = Knows {
        pumps,
        ..Knows::all(&spec)
    };
    let (evaporation, carry_off) = true_losses(&spec);
    let strength = spec.concentration_pct * carry_off / (evaporation + carry_off);
    let (mut chance, mut whole) = (Chance(seed), Whole::new(spec, knows, seed));
    let (mut additions, mut learned) = (Vec::new(), None);
    for day in 0..14 {
        whole.run_hours(chance.between(8.0, 14.0));
        whole.run_until_work();
        if day % 2 == 1 {
            let litres = spec.volume_l - whole.trial.mix().volume_l();
            additions.push(whole.trial.now());
            whole.add(litres, strength);
        }
        if day == 5 {
            learned = whole.balance().drain_back_l.map(|litres| litres.value);
        }
        let passed = (whole.trial.now() - START).secs_f64() / 3600.0;
        whole.run_hours(24.0 * f64::from(day + 1) - passed);
    }
    (whole, additions, learned)
}

#[test]
fn a_stop_is_never_told_as_an_addition() {
    for pumps in [PumpsBy::Switch, PumpsBy::Entries, PumpsBy::Nothing] {
        let (mut as_additions, mut as_mix_out, mut as_lines) = (0, 0, 0);
        let (mut made, mut told) = (0, 0);
        for seed in 1..=20 {
            let (whole, additions, _) = two_weeks(pumps, seed);
            made += additions.len();
            for movement in whole.movements() {
                if pumps == PumpsBy::Nothing && movement.time < FIRST_START {
                    continue;
                }
                let near = |time: &&Timestamp| (movement.time - **time).secs_f64().abs() <= 3600.0;
                let is_one = additions.iter().find(near).is_some();
                match movement.kind {
                    MovementKind::Lines => as_lines += 1,
                    MovementKind::MixOut => as_mix_out += 1,
                    MovementKind::Instrument => {}
                    _ if is_one => told += 1,
                    _ => as_additions += 1,
                }
            }
        }
        println!(
            "pumps known by {pumps:?}: of 260 stops in 20 x 2 weeks {as_additions} told as an addition, {as_lines} stops and starts as lines, {as_mix_out} as mix let out; of {made} additions {told} told"
        );
        assert_eq!(as_additions, 0, "{pumps:?}");
        assert_eq!(as_mix_out, 0, "{pumps:?}");
    }
}

#[test]
fn where_the_switch_is_known_the_drain_back_is_learned_within_five_stops() {
    let off = |seed| {
        let (_, _, learned) = two_weeks(PumpsBy::Switch, seed);
        learned.expect("it has been learned") / DRAINS_BACK_L - 1.0
    };
    let errors: Vec<f64> = (1..=20).map(off).collect();
    let (median, worst) = median_and_worst(&errors);
    println!(
        "drain-back after five stops: median {:.1} %, worst {:.1} %",
        100.0 * median,
        100.0 * worst
    );
    assert!(worst < 0.10, "{worst}");
}
