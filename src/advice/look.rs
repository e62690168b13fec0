//! What to look at first, by condition. Common practice, no source, except
//! where named.

use crate::rules::{Condition, LimitLevel};
use crate::units::Quantity;

use super::Caution;

/// What to look at, in order, and the cautions that go with it.
pub fn look_at(condition: &Condition) -> (Vec<&'static str>, Vec<Caution>) {
    match condition {
        Condition::Limit(Quantity::Concentration | Quantity::Brix, level) => concentration(*level),
        Condition::Limit(Quantity::Volume | Quantity::Level, level) => level_limit(*level),
        Condition::Limit(Quantity::Ph, level) => ph(*level),
        Condition::Limit(Quantity::Temperature, level) => temperature(*level),
        Condition::Limit(Quantity::Conductivity, _) => conductivity(),
        Condition::Limit(Quantity::Pressure, level) => pressure(*level),
        Condition::Limit(Quantity::Flow, level) => flow(*level),
        Condition::Limit(quantity, _) => by_hand(*quantity),
        Condition::Silent(_) => silent(),
        Condition::Disagrees(_) => disagrees(),
        Condition::Instrument(_) => instrument(),
        Condition::Loss => loss(),
        Condition::Gain => gain(),
        Condition::DoseMissed => dose_missed(),
        Condition::Contradicted => contradicted(),
        Condition::Mixer => mixer(),
    }
}

fn concentration(level: LimitLevel) -> (Vec<&'static str>, Vec<Caution>) {
    let first = "Take a sample from the nozzle or the return while the pumps run and read it with the hand refractometer before you dose; enter the reading.";
    let steps = if level.is_low() {
        vec![
            first,
            "Causes to look for: top-up with plain water, mixer set or worn too weak, water leaking in.",
        ]
    } else {
        vec![
            first,
            "Causes to look for: evaporation without top-up, mixer too strong, tramp oil in the sample (it reads high), a coated prism.",
        ]
    };
    (steps, vec![Caution::MovingParts, Caution::DataSheets])
}

fn level_limit(level: LimitLevel) -> (Vec<&'static str>, Vec<Caution>) {
    let steps = if level.is_low() {
        vec![
            "Look whether the pumps draw air and whether fluid is lost: leak, blocked return, chips full of fluid.",
            "Read the concentration by hand before you top up; enter the reading.",
        ]
    } else {
        vec![
            "Stop whatever is being added; look whether a top-up valve stays open or water leaks in.",
            "With the pumps stopped, fluid drains back from pipes and machines and raises the level.",
            "Foam on the surface can deceive the level probe.",
        ]
    };
    (
        steps,
        vec![
            Caution::MovingParts,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

/// DGUV Regel 109-003, annex, test plan no. 2, for the steps of the pH drop.
fn ph(level: LimitLevel) -> (Vec<&'static str>, Vec<Caution>) {
    let first = "Measure the pH by hand with a calibrated meter and enter it; an oily electrode reads wrong.";
    let steps = if level.is_low() {
        vec![
            first,
            "Look at the concentration: if it is low too, correct it first.",
            "At a steady concentration a falling pH points to bacteria or acid: smell, dip slide, tramp oil; ask the supplier.",
            "A drop of more than 0.5 below the first fill: act as the supplier says; of more than 1.0: change the fluid and clean the circuit.",
        ]
    } else {
        vec![
            first,
            "Look at the concentration: too rich lifts the pH.",
            "Look whether cleaner or another alkali was carried in.",
        ]
    };
    (
        steps,
        vec![Caution::Biocide, Caution::Concentrate, Caution::DataSheets],
    )
}

fn instrument() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Read the same by hand and enter it; go by that until the instrument is seen to.",
            "What the instrument shows, and what to look at first, stands with its channel in the sump's state.",
            "When it is cleaned or calibrated, enter that.",
        ],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}

fn loss() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Look for a leak: floor and pit, hoses, seals, drain valves, return lines, a chip conveyor that carries fluid off.",
            "If mix was taken out and not entered, enter it now.",
            "A leak out of the system may reach drains or soil: keep it in, and tell whoever answers for water protection.",
        ],
        vec![
            Caution::MovingParts,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

fn gain() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Look for water that runs in: a top-up valve that stays open, a cooler or a wash-down that leaks, rain.",
            "If something was added and not entered, enter it now.",
            "Read the concentration by hand before anything is added; enter the reading.",
        ],
        vec![
            Caution::MovingParts,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

fn dose_missed() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Read the concentration by hand before anything else is added, and enter the reading.",
            "See whether all of the dose went in, of the strength that was meant, and whether the pumps ran since.",
        ],
        vec![
            Caution::Concentrate,
            Caution::MovingParts,
            Caution::DataSheets,
        ],
    )
}

fn contradicted() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Look at the entry: the amount, the unit, the kind, the sump. If it was wrong, correct it.",
            "If it was right, look at the level probe and at what else ran in or out then.",
        ],
        vec![Caution::DataSheets],
    )
}

fn mixer() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Look at the water pressure, the suction line, the strainer and the nozzle, and whether the drum is empty.",
            "Set it anew, fill a can, read that and enter it as the mixer's reading.",
            "Read the sumps that were topped up from it.",
        ],
        vec![Caution::Concentrate, Caution::DataSheets],
    )
}

fn temperature(level: LimitLevel) -> (Vec<&'static str>, Vec<Caution>) {
    let steps = if level.is_low() {
        vec![
            "Cold fluid mixes badly and reads badly: let it warm up with the pumps running before you dose.",
        ]
    } else {
        vec![
            "Look at the cooler, the circulation and the filter; a low level warms faster.",
            "Warm fluid evaporates and sours faster: watch level, concentration and pH.",
        ]
    };
    (steps, vec![Caution::HotFluid, Caution::MovingParts])
}

fn conductivity() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Measure the conductivity by hand and enter it.",
            "At a steady concentration a rise means salts: hardness of the make-up water, metals, cleaner; have hardness and chloride of the mix measured.",
        ],
        vec![Caution::DataSheets],
    )
}

fn pressure(level: LimitLevel) -> (Vec<&'static str>, Vec<Caution>) {
    let first = if level.is_low() {
        "Look whether the pump runs, draws air or has lost its supply, and whether a filter element is torn or missing."
    } else {
        "Look at the filter: a rising pressure across it means that it fills up; then at closed valves and blocked lines."
    };
    let second = "Before a housing or a line is opened: pump off and secured, pressure let off.";
    (
        vec![first, second],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}

fn flow(level: LimitLevel) -> (Vec<&'static str>, Vec<Caution>) {
    let first = if level.is_low() {
        "Look whether the pump runs and draws air, and at filters, valves and nozzles."
    } else {
        "Look for an open line, a burst hose or a valve that stays open."
    };
    (vec![first], vec![Caution::MovingParts, Caution::DataSheets])
}

/// Quantities that no defaults stand for.
fn by_hand(quantity: Quantity) -> (Vec<&'static str>, Vec<Caution>) {
    let first = match quantity {
        Quantity::Metered | Quantity::State => {
            "Compare the meter or the switch with what its instrument shows."
        }
        _ => "Measure it again by hand or have it measured, and enter the value.",
    };
    (vec![first], vec![Caution::MovingParts, Caution::DataSheets])
}

fn silent() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Look at the supply and the cable of the instrument, then at the gateway, the broker or the line that brings its readings.",
            "Until it reports again, read it by hand once a shift and enter the value; of a pump, a valve or a door, look how it stands.",
        ],
        vec![Caution::MovingParts],
    )
}

fn disagrees() -> (Vec<&'static str>, Vec<Caution>) {
    (
        vec![
            "Look whether the hand reading was entered as it was meant, number and unit; if not, correct it.",
            "Wipe the probe clean, check it (a refractometer in the make-up water, pH in a buffer, conductivity in a standard), then compare again with the hand instrument.",
            "Enter the cleaning (event probe_cleaned with the channel): until then its values drive no dose.",
        ],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}
