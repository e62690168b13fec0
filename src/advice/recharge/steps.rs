//! The steps in words. Common practice and memory, except where named.

use serde::Serialize;

use crate::advice::Caution;
use crate::units::Volume;

use super::RechargePlan;
use super::amounts::drain_hours;
use super::setup::{CleanerContent, RechargeCase, RechargeSetup, VolumeSource};
use super::text::time;

/// One step of a plan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Step {
    /// Its place, from 1.
    pub number: usize,
    /// What it is.
    pub title: &'static str,
    /// What to do, in this order.
    pub actions: Vec<String>,
    /// How long it takes, h, without the work by hand; nothing where that is
    /// not known.
    pub hours_h: Option<f64>,
    /// Which of the plan's cautions hold most here.
    pub cautions: Vec<Caution>,
}

/// Something to write down, as the command line takes it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EntryLine {
    /// What it is.
    pub what: &'static str,
    /// The line, with VALUE in place of what was measured.
    pub line: String,
}

/// The hazards that every plan carries. Memory: general safety rules.
pub(in crate::advice) const HAZARDS: [Caution; 12] = [
    Caution::ConfinedSpaceEntry,
    Caution::LockOut,
    Caution::AlkalineCleaner,
    Caution::BiocideInCleaner,
    Caution::Concentrate,
    Caution::ProtectiveEquipment,
    Caution::Jetting,
    Caution::SlipperyFloor,
    Caution::WasteCodes,
    Caution::PremixOnly,
    Caution::MovingParts,
    Caution::DataSheets,
];

/// The amount of a cleaner that may not be told or is not known.
const BY_DATA_SHEET: &str = "amount: supplier's data sheet, by appointed persons";

/// All steps of a plan, from its amounts.
pub(super) fn steps(setup: &RechargeSetup, case: &RechargeCase, plan: &RechargePlan) -> Vec<Step> {
    let steps = [
        prepare(plan),
        skim(),
        clean(setup, plan),
        drain(setup, plan),
        rinse(setup, plan),
        check_rest(plan),
        fill(case, plan),
        measure(plan),
    ];
    let numbered = (1..).zip(steps);
    numbered
        .map(|(number, step)| Step { number, ..step })
        .collect()
}

/// A step whose place is given later.
fn step(title: &'static str, actions: Vec<String>, cautions: &[Caution]) -> Step {
    Step {
        number: 0,
        title,
        actions,
        hours_h: None,
        cautions: cautions.to_vec(),
    }
}

fn prepare(plan: &RechargePlan) -> Step {
    let volume = plan.volume(plan.old_volume_l);
    let known = match plan.volume_source {
        VolumeSource::Settings => format!(
            "Volume: {volume} by the settings. Make sure that it holds tank, pipes and machines: what is written down is often 10 to 30 % off; a metered fill tells the truth."
        ),
        VolumeSource::Given => {
            format!("Volume: {volume} as given, to hold tank, pipes and machines together.")
        }
        VolumeSource::Estimated { uncertainty_l } => format!(
            "Volume: {volume} by readings, give or take {}, to hold tank, pipes and machines together. The new charge is filled to {}.",
            plan.volume(2.0 * uncertainty_l),
            plan.volume(plan.volume_l)
        ),
    };
    let waste = format!(
        "Order waste containers and a collector for {}{}; look into the contract and the papers.",
        plan.volume(plan.totals.waste_l),
        if plan.totals.waste_lacks_cleaner {
            " and the cleaner"
        } else {
            ""
        }
    );
    let material = format!(
        "Have {} of concentrate and {} of water ready, with the safety data sheets.",
        plan.volume(plan.totals.concentrate_l),
        plan.volume(plan.totals.water_l)
    );
    let actions = vec![
        known,
        "Agree the production stop, name who is in charge, get the permits (confined space, lock-out).".into(),
        waste,
        material,
    ];
    let cautions = [
        Caution::ConfinedSpaceEntry,
        Caution::WasteCodes,
        Caution::DataSheets,
    ];
    step("Prepare", actions, &cautions)
}

fn skim() -> Step {
    let actions = vec![
        "Skim the tramp oil off and collect it apart.".into(),
        "Take chips and fines out, also from below conveyors and out of the machines.".into(),
    ];
    let cautions = [
        Caution::ConfinedSpaceEntry,
        Caution::LockOut,
        Caution::ProtectiveEquipment,
        Caution::SlipperyFloor,
        Caution::WasteCodes,
    ];
    step("Skim and clear the chips", actions, &cautions)
}

fn clean(setup: &RechargeSetup, plan: &RechargePlan) -> Step {
    let cleaning = &plan.cleaning;
    let mut actions = Vec::new();
    if cleaning.draw_off_l > 0.0 {
        actions.push(format!(
            "Draw off {} first, so that the cleaner fits in.",
            plan.volume(cleaning.draw_off_l)
        ));
    }
    let name = cleaning.cleaner.as_deref().unwrap_or("a system cleaner");
    let amount = match cleaning.cleaner_l {
        Some(amount) => plan.measured(amount),
        None => {
            actions.push("Draw off fluid first where the cleaner does not fit in.".into());
            BY_DATA_SHEET.to_owned()
        }
    };
    actions.push(format!(
        "Put {name} into the old fluid, slowly, with the pumps running; {amount}."
    ));
    let content = setup.cleaner.as_ref().map(|cleaner| cleaner.content);
    if content == Some(CleanerContent::Biocide) {
        actions.push("It holds a biocide: no amount is ever given here.".into());
    }
    actions.push(format!(
        "Circulate for {} through all lines, nozzles and machines, so that dirt and slime come loose; up to 48 h where there is much slime and the supplier agrees. Machining goes on only if the supplier allows it.",
        time(cleaning.circulate_h)
    ));
    let cautions = [
        Caution::AlkalineCleaner,
        Caution::BiocideInCleaner,
        Caution::ProtectiveEquipment,
        Caution::MovingParts,
        Caution::DataSheets,
    ];
    Step {
        hours_h: Some(cleaning.circulate_h),
        ..step("Cleaner into the old fluid", actions, &cautions)
    }
}

fn drain(setup: &RechargeSetup, plan: &RechargePlan) -> Step {
    let drained = plan.cleaning.drain_l;
    let hours = drain_hours(setup, plan.cleaning.draw_off_l + drained);
    let actions = vec![
        format!(
            "Drain completely while it is still warm and stirred: {}{}.",
            plan.volume(drained),
            if plan.totals.waste_lacks_cleaner {
                " and the cleaner"
            } else {
                ""
            }
        ),
        "Open all covers; take out sludge by hand or by vacuum; clean or change filters and mats.".into(),
        "Empty dead legs: hoses, pumps, heat exchangers, machine beds, hollow spindles, lines out of use.".into(),
    ];
    let cautions = [
        Caution::ConfinedSpaceEntry,
        Caution::LockOut,
        Caution::AlkalineCleaner,
        Caution::BiocideInCleaner,
        Caution::ProtectiveEquipment,
        Caution::Jetting,
        Caution::SlipperyFloor,
        Caution::WasteCodes,
    ];
    Step {
        hours_h: hours,
        ..step("Drain, open, clean", actions, &cautions)
    }
}

fn rinse(setup: &RechargeSetup, plan: &RechargePlan) -> Step {
    let rinse = &plan.rinse;
    let what = if rinse.concentrate_l > 0.0 {
        format!(
            "{} of thin fresh mix at {} % ({} of concentrate stirred into {} of water; it keeps bare metal from rusting)",
            plan.volume(rinse.volume_l),
            rinse.strength_pct,
            plan.plain(rinse.concentrate_l),
            plan.plain(rinse.water_l)
        )
    } else {
        format!("{} of fresh water", plan.measured(rinse.volume_l))
    };
    let times = f64::from(rinse.times);
    let hours =
        times * rinse.circulate_h + drain_hours(setup, times * rinse.volume_l).unwrap_or_default();
    let actions = vec![
        format!("Close up and rinse with {what}; more where the pumps draw air."),
        format!(
            "Circulate for {} through all lines and nozzles, then drain to waste.",
            time(rinse.circulate_h)
        ),
        format!(
            "Repeat until it runs clear and without foam: cleaner that stays lifts pH and foams. {} counted here; each more is {} of waste.",
            counted(rinse.times),
            plan.volume(rinse.volume_l)
        ),
    ];
    let cautions = [
        Caution::AlkalineCleaner,
        Caution::Concentrate,
        Caution::ProtectiveEquipment,
        Caution::PremixOnly,
        Caution::Jetting,
        Caution::SlipperyFloor,
        Caution::MovingParts,
        Caution::WasteCodes,
    ];
    Step {
        hours_h: Some(hours),
        ..step("Rinse", actions, &cautions)
    }
}

fn check_rest(plan: &RechargePlan) -> Step {
    let rest = &plan.rest;
    let limit = rest.carry_over_limit_pct;
    let mut actions = vec![format!(
        "Find out what did not drain: less than {limit} % of old fluid may be carried over, {} of it. Each litre seeds the new charge.",
        plan.volume(limit / 100.0 * plan.volume_l)
    )];
    actions.push(if rest.volume_l > 0.0 {
        format!(
            "Counted here: {} stay, after the rinses at {:.2} %, with {:.2} % of old fluid in the new charge.",
            plan.volume(rest.volume_l),
            rest.strength_pct,
            rest.carry_over_pct
        )
    } else {
        "Counted here: nothing stays. If something does, have the plan worked out again with it, or fill that much less.".into()
    });
    if rest.rinses_needed > plan.rinse.times {
        actions.push(format!(
            "That is too much: drain further, or rinse {} times.",
            rest.rinses_needed
        ));
    }
    let cautions = [
        Caution::ConfinedSpaceEntry,
        Caution::LockOut,
        Caution::ProtectiveEquipment,
    ];
    step("Check what stays", actions, &cautions)
}

fn fill(case: &RechargeCase, plan: &RechargePlan) -> Step {
    let fill = &plan.fill;
    let surplus = fill.strength_pct - case.target.percent();
    let mut actions = vec![
        format!(
            "Strength of the first fill: {:.1} %, {:.1} points above the target, since clean metal and chips take concentrate up.",
            fill.strength_pct, surplus
        ),
        format!(
            "First {} of water, read off a meter, of moderate hardness so that it does not foam.",
            plan.measured(fill.water_first_l)
        ),
        format!(
            "Then {} of premix at {:.1} %: {} of concentrate stirred into {} of water. With a mixer: all of it, set to {:.1} %.",
            plan.measured(fill.premix_l),
            fill.premix_strength_pct,
            plan.measured(fill.concentrate_l),
            plan.measured(fill.premix_l - fill.concentrate_l),
            100.0 * fill.concentrate_l / (fill.concentrate_l + fill.water_l)
        ),
        format!(
            "Altogether {} of concentrate and {} of water. Note the litres of the meter: with what stayed they are the true volume.",
            plan.measured(fill.concentrate_l),
            plan.measured(fill.water_l)
        ),
    ];
    if let Some(note) = &case.mixing_note {
        actions.push(format!("The data sheet says: {note}"));
    }
    let cautions = [
        Caution::PremixOnly,
        Caution::Concentrate,
        Caution::ProtectiveEquipment,
        Caution::MovingParts,
        Caution::DataSheets,
    ];
    step("First fill", actions, &cautions)
}

fn measure(plan: &RechargePlan) -> Step {
    let hours = plan.fill.circulate_h;
    let actions = vec![
        format!("Circulate for {} before you measure.", time(hours)),
        "Measure concentration, pH, conductivity, nitrite and hardness: they are the reference values of this charge, and what comes later is held against them.".into(),
        "Enter them as below, the recharge first; then correct the concentration if the advice says so.".into(),
    ];
    let cautions = [Caution::MovingParts, Caution::ProtectiveEquipment];
    Step {
        hours_h: Some(hours),
        ..step("Circulate and measure", actions, &cautions)
    }
}

/// What is written down at the end: the event that begins the charge, and its
/// reference values.
pub(super) fn entries(sump: &str, volume: Volume) -> Vec<EntryLine> {
    let event = |what, event: &str| EntryLine {
        what,
        line: format!("sumpward entry {sump} event {event}"),
    };
    let reading = |what, quantity: &str| EntryLine {
        what,
        line: format!("sumpward entry {sump} hand-reading {quantity}"),
    };
    let filled = format!("recharged {:.0}", volume.litres());
    vec![
        event("the clean-out", "cleaned"),
        event("the new charge, with the litres truly filled", &filled),
        reading("refractometer", "brix VALUE --method refractometer"),
        reading("pH", "ph VALUE --method meter"),
        reading(
            "conductivity at 25 °C, µS/cm",
            "conductivity VALUE --method meter",
        ),
        reading("nitrite, mg/L", "nitrite VALUE --method test-strip"),
        reading(
            "hardness of the mix, mg/L CaCO3 (or °dH)",
            "hardness VALUE --method test-strip",
        ),
    ]
}

fn counted(times: u16) -> String {
    match times {
        1 => "One rinse is".to_owned(),
        times => format!("{times} rinses are"),
    }
}
