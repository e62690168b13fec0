//! Why the recommended option is the one, in words.

use crate::units::Measured;

use super::dose::DoseSetup;
use super::option::{DoseCase, DoseOption};
use super::way::Way;

/// One or two sentences on the first of the options, which is the recommended
/// one.
pub(super) fn why(setup: &DoseSetup, case: &DoseCase<'_>, options: &[DoseOption]) -> String {
    let Some(best) = options.first() else {
        return String::new();
    };
    let mut text = of_way(setup, case, best);
    if best.waste_l > 0.0 {
        let saves = |one: &&DoseOption| one.reaches_target && one.waste_l == 0.0;
        if let Some(wait) = options.iter().find(saves).and_then(|one| one.wait_d) {
            let days = waiting(wait);
            let longest = setup.longest_wait;
            text.push_str(&format!(
                " Waiting for the losses would save that waste but take about {days}, longer than the {longest} allowed."
            ));
        }
    }
    text
}

fn of_way(setup: &DoseSetup, case: &DoseCase<'_>, best: &DoseOption) -> String {
    let strongest = setup.strongest_premix.percent();
    match best.way {
        Way::WaterOnly => {
            "Water alone brings it nearer to its target, there is room for it, and nothing goes to waste.".into()
        }
        Way::Premix => "There is room for it, and nothing goes to waste.".into(),
        Way::WaterToMax | Way::PremixToMax => format!(
            "The head room up to {} takes it, and nothing goes to waste; the level then stands above its usual mark until the losses bring it down.",
            setup.measure.whole(case.max_volume.litres())
        ),
        Way::NeatAtPoint => {
            "Concentrate alone needs the least room, this sump has a dosing point for it, and nothing goes to waste.".into()
        }
        Way::DrainAndWater => {
            "It is too rich for the room there is; this is the least drain that makes room for the water.".into()
        }
        Way::DrainAndPremix => format!(
            "There is too little room for a premix of at most {strongest:.0} %; this is the least drain that makes it."
        ),
        Way::WaitAndPremix => format!(
            "The losses make room in about {}, and nothing goes to waste; measure again then, before you add.",
            best.wait_d.map(waiting).unwrap_or_default()
        ),
        Way::WaterAsItFalls => format!(
            "Topped up with water alone it comes down in about {}, and nothing goes to waste.",
            best.wait_d.map(waiting).unwrap_or_default()
        ),
        Way::LetItBe => "It is near enough to its target.".into(),
    }
}

/// A time of waiting, as its interval of nine cases in ten.
pub fn waiting(wait: Measured) -> String {
    let (low, high) = wait.interval_90();
    let one = |days: f64| {
        if days < 10.0 {
            format!("{:.1}", days.max(0.0))
        } else {
            format!("{days:.0}")
        }
    };
    format!("{} to {} days", one(low), one(high))
}
