//! What to do by the published test plans: DGUV Regel 109-003, section 7.1 and
//! the test plans of its annex, and TRGS 611. Common practice, no source,
//! except where named.

use crate::rules::{Check, PlanStep};

use super::{Caution, LookStep};

/// What the check consists of.
pub(super) fn overdue(check: Check) -> (Vec<LookStep>, Vec<Caution>) {
    let how = match check {
        Check::Look => LookStep::CheckLook,
        Check::Concentration => LookStep::CheckConcentration,
        Check::Ph => LookStep::CheckPh,
        Check::Nitrite => LookStep::CheckNitrite,
        Check::DipSlide => LookStep::CheckDipSlide,
        Check::Conductivity => LookStep::CheckConductivity,
        Check::Hardness => LookStep::CheckHardness,
        Check::Chloride => LookStep::CheckChloride,
        Check::MakeUpWater => LookStep::CheckMakeUpWater,
        Check::Mixer => LookStep::CheckMixer,
        Check::TrampOil => LookStep::CheckTrampOil,
        Check::CleanOut => LookStep::CheckCleanOut,
    };
    let cautions = match check {
        Check::Mixer => vec![Caution::Concentrate, Caution::DataSheets],
        Check::CleanOut => vec![
            Caution::Biocide,
            Caution::ConfinedSpace,
            Caution::MovingParts,
            Caution::DataSheets,
        ],
        _ => vec![Caution::MovingParts, Caution::DataSheets],
    };
    (vec![how, LookStep::EnterCheck], cautions)
}

/// TRGS 611, section 5.3, and DGUV Regel 109-003, test plans no. 5 and 6.
pub(super) fn nitrite(step: PlanStep) -> (Vec<LookStep>, Vec<Caution>) {
    let steps = match step {
        PlanStep::Watch => vec![
            LookStep::NitriteAgain,
            LookStep::NitriteWeekly,
            LookStep::NitriteSource,
        ],
        PlanStep::Act => vec![
            LookStep::NitriteAgain,
            LookStep::NitriteChange,
            LookStep::NitrosaminesMeasured,
            LookStep::NitriteSource,
        ],
    };
    (
        steps,
        vec![
            Caution::Nitrosamines,
            Caution::Biocide,
            Caution::Waste,
            Caution::DataSheets,
        ],
    )
}

/// DGUV Regel 109-003, test plan no. 2.
pub(super) fn ph_drop(step: PlanStep) -> (Vec<LookStep>, Vec<Caution>) {
    let steps = match step {
        PlanStep::Watch => vec![
            LookStep::PhByHand,
            LookStep::PhAsMakerSays,
            LookStep::PhBacteriaOrAcid,
        ],
        PlanStep::Act => vec![
            LookStep::PhByHand,
            LookStep::PhChangeFluid,
            LookStep::PhKeepCirculating,
        ],
    };
    (
        steps,
        vec![
            Caution::Biocide,
            Caution::ConfinedSpace,
            Caution::Waste,
            Caution::DataSheets,
        ],
    )
}
