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

/// What the check consists of, and what the others consist of that are overdue
/// beside it: one way to the sump.
pub fn look_at_checks(first: Check, overdue: &[Check]) -> (Vec<LookStep>, Vec<Caution>) {
    let (mut steps, mut cautions) = (Vec::new(), Vec::new());
    let others = overdue.iter().filter(|check| **check != first);
    for check in std::iter::once(&first).chain(others) {
        let (how, beware) = self::overdue(*check);
        steps.extend(how);
        cautions.extend(beware);
    }
    // Writing it down comes last, and each caution once, the gravest first.
    steps.retain(|step| *step != LookStep::EnterCheck);
    steps.push(LookStep::EnterCheck);
    let mut seen = Vec::new();
    cautions.retain(|caution| {
        let is_new = !seen.contains(caution);
        seen.push(*caution);
        is_new
    });
    (steps, cautions)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn checks_that_are_overdue_together_are_one_list() {
        let overdue = [Check::Nitrite, Check::DipSlide, Check::Mixer];
        let (steps, cautions) = look_at_checks(Check::DipSlide, &overdue);
        assert_eq!(
            steps,
            [
                LookStep::CheckDipSlide,
                LookStep::CheckNitrite,
                LookStep::CheckMixer,
                LookStep::EnterCheck,
            ]
        );
        assert_eq!(
            cautions,
            [
                Caution::MovingParts,
                Caution::DataSheets,
                Caution::Concentrate
            ]
        );
        assert_eq!(look_at_checks(Check::Ph, &[]), super::overdue(Check::Ph));
    }
}
