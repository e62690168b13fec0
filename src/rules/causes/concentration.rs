//! Too lean or too rich.

use super::CauseKind;
use super::pairs::{Course, Pairs};
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// A top-up is overdue after so many hours. Choice: sumps are topped up daily or
/// every other day.
const OVERDUE_H: f64 = 48.0;
/// Conductivity that is off its base line by less says nothing. Choice: charts and
/// base lines are good to a tenth.
const TELLING: f64 = 0.12;

pub(super) fn suspects(pairs: &Pairs, low: bool) -> Vec<Suspect> {
    if low { lean(pairs) } else { rich(pairs) }
}

/// Those of these kinds alone.
pub(super) fn only(kinds: &[CauseKind], pairs: &Pairs, low: bool) -> Vec<Suspect> {
    let mut found = suspects(pairs, low);
    found.retain(|suspect| kinds.contains(&suspect.cause()));
    found
}

fn lean(pairs: &Pairs) -> Vec<Suspect> {
    vec![
        Suspect::of(CauseKind::WaterIn)
            .valued(STRONG, pairs.water_in, "L", Sign::WaterByBalance)
            .with(MODERATE, pairs.volume == Course::Rising, Sign::LevelRises)
            .unless(MODERATE, pairs.volume == Course::Falling),
        Suspect::of(CauseKind::PlainWater)
            .valued(MODERATE, pairs.water_written, "L", Sign::WaterWrittenDown)
            .unless(WEAK, pairs.water_in.is_some()),
        Suspect::of(CauseKind::MixerWeak).valued(
            STRONG,
            pairs.mixer_off_pct.filter(|off| *off < 0.0),
            "%",
            Sign::MixerReadsWeak,
        ),
        Suspect::of(CauseKind::Prism)
            .valued(
                STRONG,
                pairs.forbidden_a_day.filter(|drift| *drift < 0.0),
                "%/d",
                Sign::BalanceForbids,
            )
            .valued(STRONG, pairs.hand_higher(), "%", Sign::HandReadsHigher)
            .with(MODERATE, pairs.prism_asks, Sign::InstrumentAsks)
            .valued(
                MODERATE,
                pairs.conducts_more(TELLING),
                "",
                Sign::ConductivityStays,
            )
            .unless(STRONG, pairs.hand_agrees())
            .unless(MODERATE, pairs.conducts_as_usual(TELLING)),
        Suspect::of(CauseKind::TopUpOverdue)
            .valued(
                WEAK,
                pairs.nothing_added_for(OVERDUE_H),
                "h",
                Sign::NothingAdded,
            )
            .valued(WEAK, pairs.mix_lost, "L/h", Sign::MixLost)
            .unless(MODERATE, pairs.water_in.is_some()),
    ]
}

fn rich(pairs: &Pairs) -> Vec<Suspect> {
    let (lags, unit) = pairs.conductivity_lags(TELLING);
    vec![
        Suspect::of(CauseKind::Evaporation)
            .valued(STRONG, pairs.water_lost, "L/h", Sign::WaterLost)
            .with(MODERATE, pairs.volume == Course::Falling, Sign::LevelFalls)
            .valued(
                WEAK,
                pairs.nothing_added_for(OVERDUE_H / 2.0),
                "h",
                Sign::NothingAdded,
            )
            .unless(MODERATE, pairs.volume == Course::Rising)
            .unless(WEAK, pairs.volume == Course::Steady),
        Suspect::of(CauseKind::MixerStrong).valued(
            STRONG,
            pairs.mixer_off_pct.filter(|off| *off > 0.0),
            "%",
            Sign::MixerReadsStrong,
        ),
        Suspect::of(CauseKind::MixIn)
            .valued(STRONG, pairs.mix_in, "L", Sign::MixByBalance)
            .with(WEAK, pairs.volume == Course::Rising, Sign::LevelRises),
        Suspect::of(CauseKind::TrampOil)
            .valued(STRONG, pairs.over_titration_pct, "%", Sign::TitrationLess)
            .with(MODERATE, pairs.oil_found, Sign::OilFound)
            .valued(MODERATE, lags, unit, Sign::ConductivityLags)
            .unless(WEAK, pairs.conducts_as_usual(TELLING)),
        Suspect::of(CauseKind::Prism)
            .valued(
                STRONG,
                pairs.forbidden_a_day.filter(|drift| *drift > 0.0),
                "%/d",
                Sign::BalanceForbids,
            )
            .valued(STRONG, pairs.hand_lower(), "%", Sign::HandReadsLower)
            .with(MODERATE, pairs.prism_asks, Sign::InstrumentAsks)
            .valued(WEAK, lags, unit, Sign::ConductivityLags)
            .unless(STRONG, pairs.hand_agrees()),
        Suspect::of(CauseKind::Cleaner)
            .with(MODERATE, pairs.ph_jumped, Sign::PhJumped)
            .valued(
                MODERATE,
                pairs.conducts_more(TELLING).filter(|_| pairs.ph_jumped),
                "",
                Sign::ConductivityHigh,
            ),
    ]
}
