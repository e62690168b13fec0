//! pH too low or too high. A falling pH at a steady concentration is no dilution.

use super::CauseKind;
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// A change of concentration has moved pH where it makes more than this. Choice:
/// an electrode tells no less.
const TELLING_SHIFT: f64 = 0.1;
/// Conductivity that is off its base line by less says nothing. Choice.
const TELLING: f64 = 0.2;

pub(super) fn suspects(pairs: &Pairs, low: bool) -> Vec<Suspect> {
    let electrode =
        Suspect::of(CauseKind::Electrode).with(STRONG, pairs.electrode_asks, Sign::InstrumentAsks);
    let mut suspects = if low { acid(pairs) } else { alkaline(pairs) };
    suspects.push(electrode);
    suspects
}

fn acid(pairs: &Pairs) -> Vec<Suspect> {
    let shift = pairs.ph_by_concentration;
    let leaner = shift.is_some_and(|shift| shift < -TELLING_SHIFT);
    let steady = match shift {
        Some(shift) => shift.abs() <= TELLING_SHIFT,
        None => pairs.concentration == Course::Steady,
    };
    let grows = pairs.germs_found || pairs.smells;
    vec![
        Suspect::of(CauseKind::Dilution)
            .with(
                STRONG,
                leaner || pairs.concentration == Course::Falling,
                Sign::ConcentrationFalls,
            )
            .valued(WEAK, pairs.water_in, "L", Sign::WaterByBalance)
            .unless(STRONG, steady && pairs.concentration != Course::Falling),
        Suspect::of(CauseKind::Bacteria)
            .with(MODERATE, steady, Sign::ConcentrationSteady)
            .with(STRONG, pairs.germs_found, Sign::GermsFound)
            .with(MODERATE, pairs.smells, Sign::Smells)
            .valued(MODERATE, pairs.oxygen_low, "mg/L", Sign::OxygenLow)
            .valued(WEAK, pairs.stood_still_h, "h", Sign::StoodStill)
            .valued(WEAK, pairs.warm_c, "°C", Sign::Warm)
            .unless(MODERATE, leaner),
        Suspect::of(CauseKind::Acid)
            .with(WEAK, steady, Sign::ConcentrationSteady)
            .valued(
                MODERATE,
                pairs.conducts_more(TELLING),
                "",
                Sign::ConductivityHigh,
            )
            .unless(MODERATE, grows || leaner),
    ]
}

fn alkaline(pairs: &Pairs) -> Vec<Suspect> {
    let shift = pairs.ph_by_concentration;
    let richer = shift.is_some_and(|shift| shift > TELLING_SHIFT);
    vec![
        Suspect::of(CauseKind::Cleaner)
            .with(STRONG, pairs.ph_jumped, Sign::PhJumped)
            .valued(
                MODERATE,
                pairs.conducts_more(TELLING),
                "",
                Sign::ConductivityHigh,
            )
            .unless(WEAK, richer),
        Suspect::of(CauseKind::Richer)
            .with(
                MODERATE,
                richer || pairs.concentration == Course::Rising,
                Sign::ConcentrationRises,
            )
            .with(WEAK, pairs.volume == Course::Falling, Sign::LevelFalls)
            .unless(MODERATE, pairs.ph_jumped),
    ]
}
