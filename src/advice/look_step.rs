//! The steps of what to look at first: what a person looks at, or does.

use serde::Serialize;

/// One thing to look at or to do. Its words stand under `look_at.<key>` in the
/// phrases of each language.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LookStep {
    /// Read a sample by hand before dosing.
    SampleByHand,
    /// What makes a mix lean.
    LeanCauses,
    /// What makes a mix rich, or read so.
    RichCauses,
    /// Oil and titration before a mix is thinned.
    TitrateBeforeThinning,
    /// Pumps that draw air, fluid that is lost.
    PumpsAndLosses,
    /// Read the concentration before topping up.
    ReadBeforeTopUp,
    /// Stop what is being added.
    StopAdding,
    /// Fluid that comes back from the lines.
    DrainBack,
    /// Foam under the level probe.
    FoamDeceives,
    /// Measure the pH by hand.
    PhByHand,
    /// A low concentration is corrected first.
    CorrectConcentrationFirst,
    /// What a falling pH points to.
    FallingPh,
    /// The steps of the pH drop.
    PhDropSteps,
    /// A rich mix has a higher pH.
    RichLiftsPh,
    /// Cleaner or alkali carried in.
    AlkaliCarriedIn,
    /// Let cold fluid warm up.
    WarmUp,
    /// Cooler, circulation, filter.
    Cooling,
    /// What warm fluid does.
    WarmFluid,
    /// Measure the conductivity by hand.
    ConductivityByHand,
    /// Where salts come from.
    Salts,
    /// Pump, its supply, a torn filter.
    PumpSupply,
    /// A filter that fills up.
    FilterLoad,
    /// Pressure off before anything is opened.
    PressureOff,
    /// Pump, filters, valves, nozzles.
    PumpAndNozzles,
    /// An open line or a burst hose.
    OpenLine,
    /// Meter or switch against its instrument.
    CompareMeter,
    /// Measure again by hand.
    MeasureAgain,
    /// Supply, cable, gateway, broker.
    InstrumentSupply,
    /// Read by hand once a shift.
    ReadOncePerShift,
    /// Was the hand reading entered as meant?
    CheckEntry,
    /// Clean and check the probe, compare again.
    CleanAndCompare,
    /// Enter the cleaning.
    EnterCleaning,
    /// Read the same by hand meanwhile.
    ReadInstead,
    /// Where the instrument's state stands.
    SeeChannel,
    /// The instrument's display, its loop and cable.
    DisplayAndLoop,
    /// Let a probe settle.
    LetSettle,
    /// Where foam comes from.
    FoamCauses,
    /// Over foam nothing is dosed.
    NothingOverFoam,
    /// Is the probe wetted, and set as it is?
    ProbeWetted,
    /// Bubbles and chips in the cell.
    BubblesInCell,
    /// Waves, foam and jets under a level probe.
    WavesUnderProbe,
    /// Bubbles at a probe, its cable and earth.
    BubblesAtProbe,
    /// Wipe a refractometer's prism.
    WipePrism,
    /// Clean and check an electrode.
    CleanElectrode,
    /// Clean and check a conductivity cell.
    CleanCell,
    /// Swarf and a sticking float at a level probe.
    ClearLevelProbe,
    /// Clean any other probe.
    CleanProbe,
    /// Enter a cleaning or a calibration.
    EnterCare,
    /// Where leaks are.
    FindLeak,
    /// Enter what was taken out.
    EnterTakenOut,
    /// Keep a leak from drains and soil.
    KeepFromDrains,
    /// Where water runs in.
    FindWater,
    /// Enter what was added.
    EnterAdded,
    /// Read the concentration before anything is added.
    ReadBeforeAdding,
    /// Did all of the dose go in?
    AllOfTheDose,
    /// Is the entry as it was meant?
    EntryAsMeant,
    /// What else happened then.
    ElseThen,
    /// The parts of a mixer that fail.
    MixerParts,
    /// Set the mixer anew and read it.
    SetAndRead,
    /// Read the sumps that it feeds.
    ReadItsSumps,
    /// Hardness and chloride measured.
    SaltsMeasured,
    /// What else brings salts.
    SaltsBroughtIn,
    /// Purified water for top-ups.
    PurifiedTopUp,
    /// Smell and slime.
    SmellAndLook,
    /// A second pH and a dip slide.
    SecondPh,
    /// Air, oil off, the right strength.
    KeepMoving,
    /// Who decides on treatment.
    AppointedDecide,
    /// What to go by under tramp oil.
    GoByTitration,
    /// Where tramp oil comes from.
    SkimOil,
    /// How much oil rises.
    LetSampleStand,
    /// Both methods again.
    RepeatBoth,
    /// What speaks for each cause of the gap.
    SeeMethods,
    /// Power and network of what is gone.
    SourcePower,
    /// Where it stands what was tried, and why it fails.
    SourceReport,
    /// Nobody watches its sumps: read them by hand.
    ReadBlindSumps,
    /// Look and smell.
    CheckLook,
    /// Read the concentration by hand.
    CheckConcentration,
    /// Read pH by hand.
    CheckPh,
    /// Read nitrite.
    CheckNitrite,
    /// Take a dip slide.
    CheckDipSlide,
    /// Read the conductivity by hand.
    CheckConductivity,
    /// Have the hardness measured.
    CheckHardness,
    /// Have chloride measured.
    CheckChloride,
    /// Have the make-up water measured.
    CheckMakeUpWater,
    /// Read the outlet of the mixer.
    CheckMixer,
    /// Read the share of tramp oil.
    CheckTrampOil,
    /// Plan a clean-out.
    CheckCleanOut,
    /// Enter what was found.
    EnterCheck,
    /// Nitrite once more.
    NitriteAgain,
    /// Weekly again.
    NitriteWeekly,
    /// Where nitrite comes from.
    NitriteSource,
    /// Change the fluid, or a part.
    NitriteChange,
    /// Nitrosamines are measured.
    NitrosaminesMeasured,
    /// As the maker advises.
    PhAsMakerSays,
    /// Lean, or bacteria or acid.
    PhBacteriaOrAcid,
    /// Change the fluid.
    PhChangeFluid,
    /// Keep it circulating.
    PhKeepCirculating,
    /// Is there as much as reckoned?
    CountStock,
    /// Order the same product in time.
    OrderStock,
    /// Make room on the store's disk.
    DiskMakeRoom,
    /// Copy what is not to be lost.
    DiskCopy,
    /// More room for the store, or less that is kept.
    DiskSettings,
    /// Whether a server of series runs and can be reached.
    ForwardReach,
    /// Whether it lets us in.
    ForwardLetIn,
    /// Why it refuses lines.
    ForwardLines,
    /// What becomes of what waits for it.
    ForwardKept,
    /// What changed when it began.
    WhatChanged,
    /// Why the pumps stand, and that they may start.
    WhyPumpsStand,
    /// What fluid that stands does.
    StandingFluid,
    /// Read what is on the plant's list by hand before machines cut.
    ListedByHand,
    /// What of the plant's list is told by itself later.
    ListedToldLater,
}

impl LookStep {
    /// Every step.
    pub const ALL: [LookStep; 111] = [
        LookStep::SampleByHand,
        LookStep::LeanCauses,
        LookStep::RichCauses,
        LookStep::TitrateBeforeThinning,
        LookStep::PumpsAndLosses,
        LookStep::ReadBeforeTopUp,
        LookStep::StopAdding,
        LookStep::DrainBack,
        LookStep::FoamDeceives,
        LookStep::PhByHand,
        LookStep::CorrectConcentrationFirst,
        LookStep::FallingPh,
        LookStep::PhDropSteps,
        LookStep::RichLiftsPh,
        LookStep::AlkaliCarriedIn,
        LookStep::WarmUp,
        LookStep::Cooling,
        LookStep::WarmFluid,
        LookStep::ConductivityByHand,
        LookStep::Salts,
        LookStep::PumpSupply,
        LookStep::FilterLoad,
        LookStep::PressureOff,
        LookStep::PumpAndNozzles,
        LookStep::OpenLine,
        LookStep::CompareMeter,
        LookStep::MeasureAgain,
        LookStep::InstrumentSupply,
        LookStep::ReadOncePerShift,
        LookStep::CheckEntry,
        LookStep::CleanAndCompare,
        LookStep::EnterCleaning,
        LookStep::ReadInstead,
        LookStep::SeeChannel,
        LookStep::DisplayAndLoop,
        LookStep::LetSettle,
        LookStep::FoamCauses,
        LookStep::NothingOverFoam,
        LookStep::ProbeWetted,
        LookStep::BubblesInCell,
        LookStep::WavesUnderProbe,
        LookStep::BubblesAtProbe,
        LookStep::WipePrism,
        LookStep::CleanElectrode,
        LookStep::CleanCell,
        LookStep::ClearLevelProbe,
        LookStep::CleanProbe,
        LookStep::EnterCare,
        LookStep::FindLeak,
        LookStep::EnterTakenOut,
        LookStep::KeepFromDrains,
        LookStep::FindWater,
        LookStep::EnterAdded,
        LookStep::ReadBeforeAdding,
        LookStep::AllOfTheDose,
        LookStep::EntryAsMeant,
        LookStep::ElseThen,
        LookStep::MixerParts,
        LookStep::SetAndRead,
        LookStep::ReadItsSumps,
        LookStep::SaltsMeasured,
        LookStep::SaltsBroughtIn,
        LookStep::PurifiedTopUp,
        LookStep::SmellAndLook,
        LookStep::SecondPh,
        LookStep::KeepMoving,
        LookStep::AppointedDecide,
        LookStep::GoByTitration,
        LookStep::SkimOil,
        LookStep::LetSampleStand,
        LookStep::RepeatBoth,
        LookStep::SeeMethods,
        LookStep::SourcePower,
        LookStep::SourceReport,
        LookStep::ReadBlindSumps,
        LookStep::CheckLook,
        LookStep::CheckConcentration,
        LookStep::CheckPh,
        LookStep::CheckNitrite,
        LookStep::CheckDipSlide,
        LookStep::CheckConductivity,
        LookStep::CheckHardness,
        LookStep::CheckChloride,
        LookStep::CheckMakeUpWater,
        LookStep::CheckMixer,
        LookStep::CheckTrampOil,
        LookStep::CheckCleanOut,
        LookStep::EnterCheck,
        LookStep::NitriteAgain,
        LookStep::NitriteWeekly,
        LookStep::NitriteSource,
        LookStep::NitriteChange,
        LookStep::NitrosaminesMeasured,
        LookStep::PhAsMakerSays,
        LookStep::PhBacteriaOrAcid,
        LookStep::PhChangeFluid,
        LookStep::PhKeepCirculating,
        LookStep::CountStock,
        LookStep::OrderStock,
        LookStep::DiskMakeRoom,
        LookStep::DiskCopy,
        LookStep::DiskSettings,
        LookStep::ForwardReach,
        LookStep::ForwardLetIn,
        LookStep::ForwardLines,
        LookStep::ForwardKept,
        LookStep::WhatChanged,
        LookStep::WhyPumpsStand,
        LookStep::StandingFluid,
        LookStep::ListedByHand,
        LookStep::ListedToldLater,
    ];
}
