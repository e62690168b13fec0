//! The usual cautions. They stand beside the advice and never replace the
//! safety data sheet, the supplier's data sheet, local codes or licensed
//! practice.

use serde::Serialize;

/// What to beware of. Sources: the rules for metalworking fluids in DGUV Regel
/// 109-003 and common practice; of clean-outs general safety rules (memory),
/// the page of the DGUV on changing coolants (cleaners and biocides by
/// appointed persons), HSE's guidance (legionella where jets are used) and the
/// EU list of waste (memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Caution {
    /// Handling of concentrate.
    Concentrate,
    /// Order of mixing.
    PremixOnly,
    /// Concentrate as delivered at a dosing point.
    DosingPoint,
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
    /// System cleaner.
    AlkalineCleaner,
    /// A cleaner that may hold a biocide.
    BiocideInCleaner,
    /// Work inside tanks and pits.
    ConfinedSpaceEntry,
    /// Fluid on the floor.
    SlipperyFloor,
    /// Pumps and drives of a circuit that is opened.
    LockOut,
    /// Cleaning with a jet.
    Jetting,
    /// What is worn at a clean-out.
    ProtectiveEquipment,
    /// Spent mix, cleaner, rinse and sludge.
    WasteCodes,
    /// Cabinets with live parts.
    ElectricalCabinet,
    /// Nitrite beside secondary amines.
    Nitrosamines,
    /// A cell that is opened, a probe that is drawn.
    ProbeOut,
}

impl Caution {
    /// Every caution.
    pub const ALL: [Caution; 20] = [
        Caution::Concentrate,
        Caution::PremixOnly,
        Caution::DosingPoint,
        Caution::Waste,
        Caution::MovingParts,
        Caution::ConfinedSpace,
        Caution::Biocide,
        Caution::HotFluid,
        Caution::DataSheets,
        Caution::AlkalineCleaner,
        Caution::BiocideInCleaner,
        Caution::ConfinedSpaceEntry,
        Caution::SlipperyFloor,
        Caution::LockOut,
        Caution::Jetting,
        Caution::ProtectiveEquipment,
        Caution::WasteCodes,
        Caution::ElectricalCabinet,
        Caution::Nitrosamines,
        Caution::ProbeOut,
    ];

    /// The caution in words.
    pub const fn words(self) -> &'static str {
        match self {
            Caution::Concentrate => {
                "Concentrate irritates skin and eyes: gloves and goggles, no skin contact."
            }
            Caution::PremixOnly => {
                "Never pour neat concentrate into the sump: stir the concentrate into the water, then add the premix with the pumps running."
            }
            Caution::DosingPoint => {
                "Neat concentrate at the named dosing point only: slowly, into the full flow, pumps running, and only where the supplier allows it."
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
            Caution::AlkalineCleaner => {
                "System cleaner is alkaline and burns skin and eyes: splash goggles, gloves, apron; trained, appointed persons only."
            }
            Caution::BiocideInCleaner => {
                "A biocide in the cleaner can cause allergy and harm by skin and breath: amounts only from the supplier's data sheet, by appointed persons, never by this plan."
            }
            Caution::ConfinedSpaceEntry => {
                "Nobody enters a pit or tank without a permit: air it, test for oxygen and hydrogen sulfide before and during the work, one person outside, rescue ready."
            }
            Caution::SlipperyFloor => {
                "Fluid and sludge make floors and gratings slippery: bind spills at once, close the area off."
            }
            Caution::LockOut => {
                "Before a cover is opened, pumps, conveyors and automatic top-up are switched off, locked and tagged; lines are without pressure."
            }
            Caution::Jetting => {
                "A jet makes an aerosol of fluid and bacteria: rinse without pressure; where a jet must be, breathing protection, nobody else near, and an assessment for legionella."
            }
            Caution::ProtectiveEquipment => {
                "Gloves that the data sheets name, goggles, boots, closed clothing; skin protection plan, no eating or drinking there."
            }
            Caution::WasteCodes => {
                "Spent mix, cleaner, rinse and sludge are regulated waste (EU list: 12 01 09* free of halogens, 12 01 08* with halogens; the disposer confirms the code): collect all of it, never to the sewer."
            }
            Caution::ElectricalCabinet => {
                "Cabinets hold live parts: only qualified electricians open them."
            }
            Caution::Nitrosamines => {
                "Nitrite and secondary amines form nitrosamines, which can cause cancer: nothing with secondary amines or nitrite goes in (TRGS 611); no skin contact, no mist to breathe, extraction on."
            }
            Caution::ProbeOut => {
                "Lock out the pumps before a cell is opened or a probe is drawn, and protect skin and eyes as the safety data sheet says."
            }
        }
    }
}
