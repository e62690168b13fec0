//! The mix too warm or too cold. Memory, no source.
//!
//! Of the season nothing is told: a date says no more than the hemisphere that a
//! plant is on. What stays warm without pumps has the warmth of its surroundings.

use super::CauseKind;
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// Fluid that stands has after so many hours come near to its surroundings.
/// Choice: a shift.
const STOOD_H: f64 = 8.0;
/// Pumps that started no longer ago have not warmed it. Choice.
const JUST_H: f64 = 2.0;
/// What was added within so many hours may be what cooled it. Choice.
const ADDED_H: f64 = 4.0;

pub(super) fn suspects(pairs: &Pairs, low: bool) -> Vec<Suspect> {
    let probe = Suspect::of(CauseKind::TemperatureProbe).with(
        STRONG,
        pairs.temperature_probe_asks,
        Sign::InstrumentAsks,
    );
    let mut suspects = if low { cold(pairs) } else { warm(pairs) };
    suspects.push(probe);
    suspects
}

fn stands_long(pairs: &Pairs) -> bool {
    pairs
        .pumps
        .is_some_and(|(run, hours)| !run && hours > STOOD_H)
}

fn warm(pairs: &Pairs) -> Vec<Suspect> {
    let short = pairs.short_of_fluid_pct;
    let runs = pairs.pumps.is_some_and(|(run, _)| run);
    let stands_long = stands_long(pairs);
    let rises = pairs.temperature == Course::Rising && !stands_long;
    let is_steady = pairs.temperature == Course::Steady;
    vec![
        Suspect::of(CauseKind::Cooler)
            .with(MODERATE, rises, Sign::TemperatureRises)
            .valued(MODERATE, pairs.water_in, "L", Sign::WaterByBalance)
            .unless(WEAK, short.is_some())
            .unless(MODERATE, stands_long),
        Suspect::of(CauseKind::LittleFluid)
            .valued(MODERATE, short, "%", Sign::LevelLow)
            .with(WEAK, short.is_some() && runs, Sign::PumpsRun)
            .with(WEAK, short.is_some() && rises, Sign::TemperatureRises)
            .unless(MODERATE, stands_long),
        Suspect::of(CauseKind::WarmSurroundings)
            .with(STRONG, stands_long, Sign::PumpsStand)
            .with(WEAK, is_steady && !stands_long, Sign::TemperatureSteady),
    ]
}

fn cold(pairs: &Pairs) -> Vec<Suspect> {
    let stands_long = stands_long(pairs);
    let started = pairs
        .pumps
        .is_some_and(|(run, hours)| run && hours < JUST_H);
    let added = pairs.since_added_h.filter(|since| *since < ADDED_H);
    let came_in = added.is_some() || pairs.water_in.is_some();
    let falls = pairs.temperature == Course::Falling && !stands_long;
    vec![
        Suspect::of(CauseKind::ColdSurroundings)
            .with(STRONG, stands_long, Sign::PumpsStand)
            .with(MODERATE, started, Sign::PumpsStarted),
        Suspect::of(CauseKind::ColdWater)
            .valued(MODERATE, added, "h", Sign::JustAdded)
            .valued(MODERATE, pairs.water_in, "L", Sign::WaterByBalance)
            .with(WEAK, came_in && falls, Sign::TemperatureFalls),
        Suspect::of(CauseKind::CoolsTooMuch)
            .with(MODERATE, falls, Sign::TemperatureFalls)
            .unless(MODERATE, came_in),
    ]
}
