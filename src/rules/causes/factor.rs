//! The refractive factor that has moved: titration or laboratory say more or less
//! for the same reading than they did.

use super::CauseKind;
use super::pairs::Pairs;
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// Conductivity that is off its base line by less says nothing. Choice: charts and
/// base lines are good to a tenth.
const TELLING: f64 = 0.12;

/// The refractometer reads more than is there where the factor went down.
pub(super) fn suspects(pairs: &Pairs, down: bool) -> Vec<Suspect> {
    let fallen = pairs.shift.filter(|_| down);
    let risen = pairs.shift.filter(|_| !down);
    let (lags, unit) = pairs.conductivity_lags(TELLING);
    vec![
        Suspect::of(CauseKind::TrampOil)
            .valued(MODERATE, fallen, "%", Sign::TitrationLess)
            .with(STRONG, down && pairs.oil_found, Sign::OilFound)
            .valued(WEAK, lags.filter(|_| down), unit, Sign::ConductivityLags),
        Suspect::of(CauseKind::Prism)
            .valued(WEAK, risen, "%", Sign::TitrationMore)
            .with(MODERATE, pairs.prism_asks, Sign::InstrumentAsks)
            .unless(MODERATE, pairs.hand_agrees()),
    ]
}

/// Oil by itself: what speaks for it, while somebody is to titrate.
pub(super) fn oil(pairs: &Pairs) -> Vec<Suspect> {
    let (lags, unit) = pairs.conductivity_lags(TELLING);
    vec![
        Suspect::of(CauseKind::TrampOil)
            .valued(STRONG, pairs.over_titration_pct, "%", Sign::TitrationLess)
            .with(STRONG, pairs.oil_found, Sign::OilFound)
            .valued(MODERATE, lags, unit, Sign::ConductivityLags),
    ]
}
