//! The level too low or too high, and losses and gains.

use super::CauseKind;
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// Pumps that started or stopped no longer ago have moved the level. Choice.
const JUST_H: f64 = 2.0;
/// A top-up is overdue after so many hours. Choice: a day.
const OVERDUE_H: f64 = 24.0;
/// What was added within so many hours may be what fills it. Choice: a shift.
const ADDED_H: f64 = 8.0;

pub(super) fn suspects(pairs: &Pairs, low: bool) -> Vec<Suspect> {
    let probe = Suspect::of(CauseKind::LevelProbe).with(
        STRONG,
        pairs.level_probe_asks && !pairs.foam_seen,
        Sign::InstrumentAsks,
    );
    let mut suspects = if low { falls(pairs) } else { rises(pairs) };
    suspects.push(probe);
    suspects
}

fn falls(pairs: &Pairs) -> Vec<Suspect> {
    let overdue = || pairs.nothing_added_for(OVERDUE_H);
    let started = pairs
        .pumps
        .is_some_and(|(run, hours)| run && hours < JUST_H);
    vec![
        Suspect::of(CauseKind::Leak)
            .valued(STRONG, pairs.mix_lost, "L/h", Sign::MixLost)
            .unless(MODERATE, pairs.concentration == Course::Rising),
        Suspect::of(CauseKind::Evaporation)
            .valued(STRONG, pairs.water_lost, "L/h", Sign::WaterLost)
            .with(
                MODERATE,
                pairs.concentration == Course::Rising,
                Sign::ConcentrationRises,
            )
            .valued(WEAK, overdue(), "h", Sign::NothingAdded)
            .unless(MODERATE, pairs.mix_lost.is_some()),
        Suspect::of(CauseKind::CarryOff)
            .with(
                WEAK,
                pairs.concentration == Course::Steady,
                Sign::ConcentrationSteady,
            )
            .valued(WEAK, overdue(), "h", Sign::NothingAdded)
            .unless(WEAK, pairs.water_lost.is_some())
            .unless(WEAK, pairs.concentration == Course::Rising),
        Suspect::of(CauseKind::LinesFilled).with(MODERATE, started, Sign::PumpsStarted),
    ]
}

fn rises(pairs: &Pairs) -> Vec<Suspect> {
    let stand = pairs.pumps.is_some_and(|(run, _)| !run);
    let just_added = pairs.since_added_h.filter(|since| *since < ADDED_H);
    vec![
        Suspect::of(CauseKind::DrainedBack).with(STRONG, stand, Sign::PumpsStand),
        Suspect::of(CauseKind::WaterIn)
            .valued(STRONG, pairs.water_in, "L", Sign::WaterByBalance)
            .with(
                MODERATE,
                pairs.concentration == Course::Falling,
                Sign::ConcentrationFalls,
            )
            .unless(WEAK, stand),
        Suspect::of(CauseKind::MixIn)
            .valued(STRONG, pairs.mix_in, "L", Sign::MixByBalance)
            .unless(WEAK, stand),
        Suspect::of(CauseKind::Overfilled)
            .valued(MODERATE, just_added, "h", Sign::JustAdded)
            .unless(WEAK, pairs.water_in.is_some()),
        Suspect::of(CauseKind::Foam)
            .with(STRONG, pairs.foam_seen, Sign::FoamSeen)
            .with(
                WEAK,
                pairs.foam_seen && pairs.level_probe_asks,
                Sign::InstrumentAsks,
            ),
    ]
}
