//! The usual cautions. They stand beside the advice and never replace the
//! safety data sheet, the supplier's data sheet, local codes or licensed
//! practice.

use serde::Serialize;

/// What to beware of. Sources: the rules for metalworking fluids in DGUV Regel
/// 109-003 and common practice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Caution {
    /// Handling of concentrate.
    Concentrate,
    /// Order of mixing.
    PremixOnly,
    /// Mix that is let out.
    Waste,
    /// Moving parts near the sump.
    MovingParts,
    /// Tanks and pits.
    ConfinedSpace,
    /// Biocides.
    Biocide,
    /// Hot fluid.
    HotFluid,
    /// What holds above this advice.
    DataSheets,
}

impl Caution {
    /// The caution in words.
    pub const fn words(self) -> &'static str {
        match self {
            Caution::Concentrate => {
                "Concentrate irritates skin and eyes: gloves and goggles, no skin contact."
            }
            Caution::PremixOnly => {
                "Never pour neat concentrate into the sump: stir the concentrate into the water, then add the premix with the pumps running."
            }
            Caution::Waste => {
                "Drained mix is regulated waste: collect it for disposal, nothing into the sewer; local codes hold."
            }
            Caution::MovingParts => {
                "Keep clear of rotating pumps, conveyors and jets; lock out before opening a cover."
            }
            Caution::ConfinedSpace => {
                "Do not climb into a tank or pit: confined space, entry by permit only."
            }
            Caution::Biocide => {
                "No biocide on your own: hazardous, amounts only from the supplier's data sheet, by appointed persons."
            }
            Caution::HotFluid => "Fluid and pump may be hot: let them cool before you touch them.",
            Caution::DataSheets => {
                "The product's safety data sheet and the supplier's data sheet hold above this advice."
            }
        }
    }
}
