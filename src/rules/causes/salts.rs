//! Conductivity above what the concentration makes it.

use super::CauseKind;
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

pub(super) fn suspects(pairs: &Pairs) -> Vec<Suspect> {
    vec![
        Suspect::of(CauseKind::Cleaner).with(STRONG, pairs.ph_jumped, Sign::PhJumped),
        Suspect::of(CauseKind::Minerals)
            .with(STRONG, pairs.minerals_high, Sign::MineralsHigh)
            .with(
                WEAK,
                pairs.concentration == Course::Steady,
                Sign::ConcentrationSteady,
            )
            .unless(MODERATE, pairs.ph_jumped),
        Suspect::of(CauseKind::Evaporation)
            .with(
                MODERATE,
                pairs.concentration == Course::Rising,
                Sign::ConcentrationRises,
            )
            .with(WEAK, pairs.volume == Course::Falling, Sign::LevelFalls),
        Suspect::of(CauseKind::Prism)
            .valued(STRONG, pairs.hand_higher(), "%", Sign::HandReadsHigher)
            .with(MODERATE, pairs.prism_asks, Sign::InstrumentAsks)
            .unless(MODERATE, pairs.hand_agrees()),
    ]
}
