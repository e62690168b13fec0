//! Nitrite in the mix: made in it by microbes, of nitrate of the water, or brought
//! in. Common practice, no source; DGUV Regel 109-003, test plan no. 5, asks to find
//! the source of the nitrite.

use super::CauseKind;
use super::pairs::Pairs;
use super::suspect::{MODERATE, STRONG, Sign, Suspect, WEAK};

/// Nitrate that make-up water had better not exceed, mg/L. Common practice, no
/// source; TRGS 611, section 5.2, lets it have 50.
const AIM_MG_L: f64 = 25.0;

pub(super) fn suspects(pairs: &Pairs) -> Vec<Suspect> {
    let grows = pairs.germs_found || pairs.smells;
    let nitrate = pairs.nitrate_mg_l.filter(|nitrate| *nitrate > AIM_MG_L);
    let little = pairs.nitrate_mg_l.filter(|nitrate| *nitrate <= AIM_MG_L);
    let beyond = nitrate.is_some_and(|nitrate| nitrate > pairs.nitrate_most_mg_l);
    vec![
        Suspect::of(CauseKind::NitrateTurned)
            .with(STRONG, pairs.germs_found, Sign::GermsFound)
            .with(MODERATE, pairs.smells, Sign::Smells)
            .valued(MODERATE, pairs.oxygen_low, "mg/L", Sign::OxygenLow)
            .valued(WEAK, pairs.ph_fell(), "pH", Sign::PhFell)
            .valued(WEAK, pairs.stood_still_h, "h", Sign::StoodStill)
            .valued(WEAK, pairs.warm_c, "°C", Sign::Warm)
            .unless(MODERATE, pairs.germs_few.is_some()),
        Suspect::of(CauseKind::NitrateInWater).valued(
            if beyond { STRONG } else { MODERATE },
            nitrate,
            "mg/L",
            Sign::NitrateInWater,
        ),
        Suspect::of(CauseKind::NitriteIn)
            .with(MODERATE, pairs.ph_jumped, Sign::PhJumped)
            .valued(MODERATE, pairs.mix_in, "L", Sign::MixByBalance)
            .valued(MODERATE, pairs.germs_few, "CFU/mL", Sign::GermsFew)
            .valued(WEAK, little, "mg/L", Sign::LittleNitrate)
            .unless(MODERATE, grows),
    ]
}
