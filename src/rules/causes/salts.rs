//! Conductivity above or below what the concentration makes it, or what is wanted.
//! Beyond its base line it is salts, metals or cleaner (memory, no source).

use super::CauseKind;
use super::concentration;
use super::minerals::{old, salt_in, softened};
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// Conductivity that is off its base line by less says nothing. Choice: charts and
/// base lines are good to a tenth.
const TELLING: f64 = 0.12;
/// pH falls by less as a charge grows old. Choice: the first step of DGUV Regel
/// 109-003, test plan no. 2.
const ACID_PH: f64 = 0.5;

/// Beyond the base line: the concentration may be what is wrong.
pub(super) fn beyond_base_line(pairs: &Pairs) -> Vec<Suspect> {
    let mut suspects = salts(pairs);
    suspects.push(
        Suspect::of(CauseKind::Prism)
            .valued(STRONG, pairs.hand_higher(), "%", Sign::HandReadsHigher)
            .with(MODERATE, pairs.prism_asks, Sign::InstrumentAsks)
            .unless(MODERATE, pairs.hand_agrees()),
    );
    suspects
}

/// Conductivity itself. It goes with the concentrate where it is what that makes it.
pub(super) fn suspects(pairs: &Pairs, low: bool) -> Vec<Suspect> {
    if low {
        return thinned(pairs);
    }
    let mut suspects = salts(pairs);
    if pairs.conducts_as_usual(TELLING) {
        let richer = [CauseKind::MixerStrong, CauseKind::MixIn];
        suspects.extend(concentration::only(&richer, pairs, false));
    }
    suspects
}

fn salts(pairs: &Pairs) -> Vec<Suspect> {
    let ends_high = pairs.chloride.ends_high().or(pairs.hardness.ends_high());
    let (alone, ph_over) = (pairs.chloride_alone(), pairs.ph_over());
    let grows = pairs.germs_found || pairs.smells;
    vec![
        Suspect::of(CauseKind::Cleaner)
            .with(STRONG, pairs.ph_jumped, Sign::PhJumped)
            .valued(MODERATE, ph_over, "pH", Sign::PhOver),
        Suspect::of(CauseKind::Minerals)
            .with(STRONG, pairs.minerals_high(), Sign::MineralsHigh)
            .valued(MODERATE, ends_high, "mg/L", Sign::EndsHigh)
            .valued(WEAK, old(pairs), "d", Sign::OldCharge)
            .with(
                WEAK,
                pairs.concentration == Course::Steady,
                Sign::ConcentrationSteady,
            )
            .unless(MODERATE, pairs.ph_jumped)
            .unless(WEAK, ph_over.is_some())
            .unless(STRONG, alone),
        softened(pairs),
        salt_in(pairs),
        Suspect::of(CauseKind::Acid)
            .valued(
                MODERATE,
                pairs.ph_fell().filter(|fell| *fell > ACID_PH),
                "pH",
                Sign::PhFell,
            )
            .unless(MODERATE, grows),
        Suspect::of(CauseKind::Evaporation)
            .with(
                MODERATE,
                pairs.concentration == Course::Rising,
                Sign::ConcentrationRises,
            )
            .with(WEAK, pairs.volume == Course::Falling, Sign::LevelFalls),
        cell(pairs),
    ]
}

fn thinned(pairs: &Pairs) -> Vec<Suspect> {
    let less = pairs.conducts_less(TELLING);
    let is_pure = pairs.hardness.water_is_pure();
    let thinner = [
        CauseKind::WaterIn,
        CauseKind::PlainWater,
        CauseKind::MixerWeak,
    ];
    let mut suspects = concentration::only(&thinner, pairs, true);
    suspects.push(
        Suspect::of(CauseKind::PureWater)
            .valued(
                MODERATE,
                less.filter(|_| is_pure),
                "",
                Sign::ConductivityLow,
            )
            .with(WEAK, less.is_some() && is_pure, Sign::WaterShouldBePure),
    );
    suspects.push(cell(pairs).valued(WEAK, less, "", Sign::ConductivityLow));
    suspects
}

fn cell(pairs: &Pairs) -> Suspect {
    Suspect::of(CauseKind::ConductivityCell).with(
        STRONG,
        pairs.conductivity_cell_asks,
        Sign::InstrumentAsks,
    )
}
