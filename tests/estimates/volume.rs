//! The true volume out of what doses do, where the settings are right about the
//! tank and where they are not.

use sumpward::engine::VolumeByDoses;
use sumpward::model::VolumeJudgement;

use super::chance::Chance;
use super::run::{median_and_worst, spec, wandering};
use super::whole::{Knows, Whole};

/// Ten doses of half a point to one and a half, one in 36 hours; twelve hours
/// after each so much is let out, and six hours later replaced by water, as
/// brings the concentration back. What the doses say, and the true volume over
/// that of the settings.
fn ten_doses(strength: f64, knows: impl Fn(&mut Knows), seed: u64) -> (VolumeByDoses, f64) {
    let start = spec(1.0, 5.0, wandering());
    let mut known = Knows {
        target_pct: 9.0,
        highest_pct: 20.0,
        ..Knows::all(&start)
    };
    knows(&mut known);
    let truth = 1.0 / known.size;
    let mut chance = Chance(seed);
    let mut whole = Whole::new(start, known, seed);
    whole.run_hours(30.0);
    for _ in 0..10 {
        whole.run_until_work();
        let mix = whole.trial.mix();
        let c = mix.concentration_pct();
        let points = chance.between(0.5, 1.5);
        let litres = (mix.volume_l() * points / (strength - c - points)).ceil();
        whole.add(litres, strength);
        whole.run_hours(12.0);
        let mix = whole.trial.mix();
        let spent = mix.volume_l() * points / mix.concentration_pct();
        whole.drain(spent.round());
        whole.run_hours(6.0);
        whole.add((start.volume_l - whole.trial.mix().volume_l()).round(), 0.0);
        whole.run_hours(18.0);
    }
    let by_doses = whole.balance().volume_by_doses;
    (by_doses.expect("doses told a volume"), truth)
}

fn twenty(what: &str, strength: f64, size: f64, judgement: VolumeJudgement) {
    let all: Vec<(VolumeByDoses, f64)> = (1..=20)
        .map(|seed| ten_doses(strength, |knows| knows.size = size, seed))
        .collect();
    let errors: Vec<f64> = all
        .iter()
        .map(|(said, truth)| said.ratio.value / truth - 1.0)
        .collect();
    let held = all.iter().filter(|(said, truth)| {
        let (low, high) = said.ratio.interval_90();
        low <= *truth && *truth <= high
    });
    let rightly = all.iter().filter(|(said, _)| said.judgement == judgement);
    let held = held.count();
    let fewest = all.iter().map(|(said, _)| said.doses).min();
    let (median, worst) = median_and_worst(&errors);
    println!(
        "volume by doses of {what}, tank in the settings {:+.0} %: median {:.1} %, worst {:.1} %; 90 % interval holds it in {} of 20, told rightly in {} of 20, by {} doses at least",
        100.0 * (size - 1.0),
        100.0 * median,
        100.0 * worst,
        held,
        rightly.clone().count(),
        fewest.unwrap_or(0)
    );
    assert!(median < 0.02, "{median}");
    assert!(worst < 0.04, "{worst}");
    assert!(held >= 15, "{held}");
    assert_eq!(rightly.count(), 20);
    assert!(fewest >= Some(10), "{fewest:?}");
}

#[test]
fn ten_doses_tell_a_tank_that_is_measured_rightly_and_wrongly() {
    for (what, strength) in [("concentrate", 100.0), ("premix", 20.0)] {
        twenty(what, strength, 1.0, VolumeJudgement::Agrees);
        twenty(what, strength, 0.8, VolumeJudgement::HoldsMore);
        twenty(what, strength, 1.15, VolumeJudgement::HoldsLess);
    }
}

#[test]
fn the_interval_grows_with_the_uncertainty_of_the_chart() {
    let spread = |chart: f64| {
        let of = |seed| ten_doses(100.0, |knows| knows.chart_uncertainty = chart, seed).0;
        (1..=5).map(|seed| of(seed).ratio.uncertainty).sum::<f64>() / 5.0
    };
    let (without, with) = (spread(0.0), spread(0.03));
    println!(
        "volume by ten doses of concentrate: uncertain by {:.1} %, with a chart known to 3 % by {:.1} %",
        100.0 * without,
        100.0 * with
    );
    assert!(with > 0.03 * 0.5, "{with}");
    assert!(with > 1.2 * without, "{with} against {without}");
}
