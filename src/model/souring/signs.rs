//! The facts, by what they are drawn from.

use super::setup::{GermBounds, SouringSetup};
use super::watch::{Odour, ROUNDING, SouringNow, SouringWatch};
use crate::model::{Evidence, Weight};
use crate::units::Timestamp;

/// A concentration has moved the pH where that makes more than this. Choice: an
/// electrode tells no less.
const TELLING_SHIFT: f64 = 0.1;

/// Facts that are drawn from one thing, and so do not confirm one another.
pub(super) type Facts = Vec<Evidence>;

/// What pH says.
pub(super) fn acid(watch: &SouringWatch, setup: &SouringSetup, now: &SouringNow) -> Facts {
    let mut facts = Facts::new();
    let Some(drop) = watch
        .ph_now(setup, now)
        .and_then(|ph| watch.ph_drop(setup, ph))
    else {
        return facts;
    };
    let shift = shift_by_concentration(watch, setup, now);
    facts.extend(of_drop(watch, setup, drop, shift));
    let slope = now.ph_slope_a_week.filter(|slope| {
        let sure = slope.interval_90().1 < 0.0;
        sure && -slope.value > setup.ph_fall_a_week
    });
    if let Some(slope) = slope {
        let what = "pH falls from week to week";
        facts.push(Evidence::supports(Weight::Weak, what).valued(slope.value, "pH/week"));
    }
    facts
}

fn of_drop(watch: &SouringWatch, setup: &SouringSetup, drop: f64, shift: Option<f64>) -> Facts {
    let mut facts = Facts::new();
    let beyond = |limit: f64| drop > limit + ROUNDING;
    if !beyond(setup.ph_drop.watch) {
        // A cleaner may hide a fall.
        if watch.jump.is_none() {
            let what = "pH is about that of the fresh charge";
            facts.push(Evidence::contradicts(Weight::Moderate, what).valued(-drop, "pH"));
        }
        return facts;
    }
    let weight = if beyond(setup.ph_drop.act) {
        Weight::Strong
    } else {
        Weight::Moderate
    };
    let what = format!("pH has fallen by {drop:.2} since the charge was fresh");
    facts.push(
        Evidence::supports(weight, what)
            .valued(-drop, "pH")
            .since(watch.low_since),
    );
    match shift {
        Some(shift) if drop + shift <= setup.ph_drop.watch + ROUNDING => {
            let what = "the mix has become leaner, which explains the fall of pH: dilution";
            facts.push(Evidence::contradicts(weight, what).valued(shift, "pH"));
        }
        Some(shift) if shift.abs() < TELLING_SHIFT => {
            let what = "the concentration has stayed the same, so it is no dilution";
            facts.push(Evidence::supports(Weight::Weak, what).valued(shift, "pH"));
        }
        _ => {}
    }
    facts
}

/// What the change of concentration since the first day does to pH.
pub(super) fn shift_by_concentration(
    watch: &SouringWatch,
    setup: &SouringSetup,
    now: &SouringNow,
) -> Option<f64> {
    let (pct, then) = (now.concentration?.percent(), watch.reference_pct()?);
    (pct > 0.0 && then > 0.0).then(|| setup.ph_per_decade * (pct / then).log10())
}

/// What oxygen and redox potential say.
pub(super) fn air(watch: &SouringWatch, setup: &SouringSetup, now: &SouringNow) -> Facts {
    let mut facts = Facts::new();
    if let Some(oxygen) = now.oxygen_mg_l {
        facts.push(of_oxygen(watch, setup, oxygen));
    }
    if let Some((mv, then)) = now
        .redox
        .map(|mv| mv.millivolts())
        .zip(watch.reference_mv())
    {
        let fall = then - mv;
        let what =
            format!("the redox potential has fallen by {fall:.0} mV since the charge was fresh");
        let fact = |weight| Evidence::supports(weight, what.clone()).valued(mv, "mV");
        if fall > setup.redox_fall_mv.act || (mv < 0.0 && fall > setup.redox_fall_mv.watch) {
            facts.push(fact(Weight::Strong));
        } else if fall > setup.redox_fall_mv.watch {
            facts.push(fact(Weight::Moderate));
        }
    }
    facts
}

/// Little oxygen weighs less in a sump that stands still, where none comes in.
fn of_oxygen(watch: &SouringWatch, setup: &SouringSetup, oxygen: f64) -> Evidence {
    let still = matches!(watch.circulates(), Some((_, false)));
    let bounds = setup.oxygen_mg_l;
    let (weight, what) = if oxygen >= bounds.watch {
        let what = "there is enough oxygen in it";
        return Evidence::contradicts(Weight::Weak, what).valued(oxygen, "mg/L");
    } else if oxygen < bounds.act {
        let weight = if still {
            Weight::Moderate
        } else {
            Weight::Strong
        };
        (weight, "there is next to no oxygen in it")
    } else {
        let weight = if still {
            Weight::Weak
        } else {
            Weight::Moderate
        };
        (weight, "there is little oxygen in it")
    };
    Evidence::supports(weight, what).valued(oxygen, "mg/L")
}

/// What grew on slides.
pub(super) fn germs(watch: &SouringWatch, setup: &SouringSetup, now: Timestamp) -> Facts {
    let counts = [
        ("bacteria", watch.bacteria, setup.bacteria),
        ("yeasts and moulds", watch.fungi, setup.fungi),
    ];
    let facts = counts.into_iter().filter_map(|(whose, counted, bounds)| {
        let (time, count) = counted.filter(|(time, _)| now - *time <= setup.counts_for)?;
        Some(of_count(whose, count, bounds).since(Some(time)))
    });
    facts.collect()
}

fn of_count(whose: &str, count: f64, bounds: GermBounds) -> Evidence {
    let fact = if count >= bounds.poor {
        Evidence::supports(Weight::Strong, format!("the dip slide is poor: {whose}"))
    } else if count >= bounds.reasonable {
        Evidence::supports(
            Weight::Weak,
            format!("the dip slide is reasonable: {whose}"),
        )
    } else {
        Evidence::contradicts(Weight::Moderate, format!("the dip slide is good: {whose}"))
    };
    fact.valued(count, "CFU/mL")
}

/// What people smelt and saw.
pub(super) fn senses(watch: &SouringWatch, setup: &SouringSetup, now: Timestamp) -> Facts {
    let counts = |time: Timestamp| now - time <= setup.counts_for;
    let mut facts = Facts::new();
    if let Some((time, odour)) = watch.odour.filter(|(time, _)| counts(*time)) {
        let fact = match odour {
            Odour::Rotten => Evidence::supports(Weight::Strong, "it smells of rotten eggs"),
            Odour::Bad => Evidence::supports(Weight::Moderate, "it smells bad"),
            Odour::Stale => Evidence::supports(Weight::Weak, "it smells stale"),
            Odour::Fresh => Evidence::contradicts(Weight::Weak, "it smells fresh"),
        };
        facts.push(fact.since(Some(time)));
    }
    if let Some(time) = watch.slime.filter(|time| counts(*time)) {
        let what = "slime or flakes were seen";
        facts.push(Evidence::supports(Weight::Moderate, what).since(Some(time)));
    }
    facts
}

/// What makes it likely before it is seen.
pub(super) fn stillness(watch: &SouringWatch, setup: &SouringSetup, now: Timestamp) -> Facts {
    let Some((since, false)) = watch.circulates() else {
        return Facts::new();
    };
    let stood = now - since;
    if stood <= setup.still {
        return Facts::new();
    }
    let what = format!("it has stood still for {stood}");
    let hours = stood.secs_f64() / 3600.0;
    let fact = Evidence::supports(Weight::Weak, what).valued(hours, "h");
    vec![fact.since(Some(since))]
}

/// What pH says of other things than souring, in words.
pub(super) fn remarks(watch: &SouringWatch, setup: &SouringSetup, now: &SouringNow) -> Vec<String> {
    let mut remarks = Vec::new();
    if let Some((time, rise)) = watch.jump
        && now.time - time <= setup.counts_for
    {
        remarks.push(format!(
            "pH rose suddenly by {rise:.2} at {time}: a cleaner or alkali has come in; until the \
             next charge pH may hide what grows."
        ));
    }
    let ph = watch.ph_now(setup, now);
    let rise = ph.and_then(|ph| watch.ph_drop(setup, ph)).map(|drop| -drop);
    let shift = shift_by_concentration(watch, setup, now);
    if let (Some(rise), Some(shift)) = (rise, shift)
        && rise > TELLING_SHIFT
        && shift > TELLING_SHIFT
    {
        remarks
            .push("pH has risen together with the concentration: water has evaporated.".to_owned());
    }
    remarks
}
