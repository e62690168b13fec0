//! What to look at first, by condition. Common practice, no source, except
//! where named.

use crate::rules::{Condition, LimitLevel};
use crate::units::Quantity;

use super::{Caution, LookStep};
use super::{look_moves, look_plan, look_store};

/// What to look at, in order, and the cautions that go with it.
pub fn look_at(condition: &Condition) -> (Vec<LookStep>, Vec<Caution>) {
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
        // What to look at stands in the rule itself.
        Condition::Own(_) => (Vec::new(), vec![Caution::DataSheets]),
        Condition::Mineral(..) | Condition::Excess(_) => minerals(),
        Condition::Souring(_) => souring(),
        Condition::TrampOil => tramp_oil(),
        Condition::Factor => factor(),
        Condition::Source(_) => source(),
        // A person gains the time to look and to make ready.
        Condition::Ahead(Quantity::Concentration, level) => concentration(*level),
        Condition::Ahead(Quantity::Volume, level) => level_limit(*level),
        Condition::Ahead(Quantity::Ph, level) => ph(*level),
        Condition::Ahead(..) => minerals(),
        Condition::Overdue(check) => look_plan::overdue(*check),
        Condition::Nitrite(step) => look_plan::nitrite(*step),
        Condition::PhDrop(step) => look_plan::ph_drop(*step),
        Condition::Stock(_) => stock(),
        Condition::Forward(_) => look_store::forward(),
        Condition::Disk => look_store::disk(),
        Condition::StartUp => start_up(),
        Condition::Rate(signal, direction) => look_moves::rate(*signal, *direction),
        Condition::Shifted(of) => look_moves::shifted(*of),
        Condition::PumpsStopped => look_moves::pumps_stopped(),
    }
}

fn concentration(level: LimitLevel) -> (Vec<LookStep>, Vec<Caution>) {
    let first = LookStep::SampleByHand;
    let steps = if level.is_low() {
        vec![first, LookStep::LeanCauses]
    } else {
        vec![first, LookStep::RichCauses, LookStep::TitrateBeforeThinning]
    };
    (steps, vec![Caution::MovingParts, Caution::DataSheets])
}

fn level_limit(level: LimitLevel) -> (Vec<LookStep>, Vec<Caution>) {
    let steps = if level.is_low() {
        vec![LookStep::PumpsAndLosses, LookStep::ReadBeforeTopUp]
    } else {
        vec![
            LookStep::StopAdding,
            LookStep::DrainBack,
            LookStep::FoamDeceives,
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
fn ph(level: LimitLevel) -> (Vec<LookStep>, Vec<Caution>) {
    let first = LookStep::PhByHand;
    let steps = if level.is_low() {
        vec![
            first,
            LookStep::CorrectConcentrationFirst,
            LookStep::FallingPh,
            LookStep::PhDropSteps,
        ]
    } else {
        vec![first, LookStep::RichLiftsPh, LookStep::AlkaliCarriedIn]
    };
    (
        steps,
        vec![Caution::Biocide, Caution::Concentrate, Caution::DataSheets],
    )
}

fn instrument() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::ReadInstead,
            LookStep::SeeChannel,
            LookStep::EnterCare,
        ],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}

fn loss() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::FindLeak,
            LookStep::EnterTakenOut,
            LookStep::KeepFromDrains,
        ],
        vec![
            Caution::MovingParts,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

fn gain() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::FindWater,
            LookStep::EnterAdded,
            LookStep::ReadBeforeAdding,
        ],
        vec![
            Caution::MovingParts,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

fn dose_missed() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::ReadBeforeAdding, LookStep::AllOfTheDose],
        vec![
            Caution::Concentrate,
            Caution::MovingParts,
            Caution::DataSheets,
        ],
    )
}

fn contradicted() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::EntryAsMeant, LookStep::ElseThen],
        vec![Caution::DataSheets],
    )
}

fn mixer() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::MixerParts,
            LookStep::SetAndRead,
            LookStep::ReadItsSumps,
        ],
        vec![Caution::Concentrate, Caution::DataSheets],
    )
}

fn minerals() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::SaltsMeasured,
            LookStep::SaltsBroughtIn,
            LookStep::PurifiedTopUp,
        ],
        vec![Caution::DataSheets],
    )
}

/// HSE and DGUV Regel 109-003 for smell, dip slide and pH.
fn souring() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::SmellAndLook,
            LookStep::SecondPh,
            LookStep::KeepMoving,
            LookStep::AppointedDecide,
        ],
        vec![
            Caution::Biocide,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

/// As for souring, which most of it is after a stand-still, with the strength first;
/// HSE and DGUV Regel 109-003 for pH and smell.
fn start_up() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::ListedByHand,
            LookStep::SmellAndLook,
            LookStep::KeepMoving,
            LookStep::AppointedDecide,
            LookStep::ListedToldLater,
        ],
        vec![
            Caution::Biocide,
            Caution::Concentrate,
            Caution::ConfinedSpace,
            Caution::DataSheets,
        ],
    )
}

/// DGUV Regel 109-003, section 7.1, for what tramp oil does to a refractometer.
fn tramp_oil() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::GoByTitration,
            LookStep::SkimOil,
            LookStep::LetSampleStand,
        ],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}

fn factor() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::RepeatBoth, LookStep::SeeMethods],
        vec![Caution::DataSheets],
    )
}

fn source() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::SourcePower,
            LookStep::SourceReport,
            LookStep::ReadBlindSumps,
        ],
        vec![Caution::ElectricalCabinet, Caution::MovingParts],
    )
}

fn stock() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::CountStock, LookStep::OrderStock],
        vec![Caution::Concentrate, Caution::DataSheets],
    )
}

fn temperature(level: LimitLevel) -> (Vec<LookStep>, Vec<Caution>) {
    let steps = if level.is_low() {
        vec![LookStep::WarmUp]
    } else {
        vec![LookStep::Cooling, LookStep::WarmFluid]
    };
    (steps, vec![Caution::HotFluid, Caution::MovingParts])
}

fn conductivity() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::ConductivityByHand, LookStep::Salts],
        vec![Caution::DataSheets],
    )
}

fn pressure(level: LimitLevel) -> (Vec<LookStep>, Vec<Caution>) {
    let first = if level.is_low() {
        LookStep::PumpSupply
    } else {
        LookStep::FilterLoad
    };
    let second = LookStep::PressureOff;
    (
        vec![first, second],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}

fn flow(level: LimitLevel) -> (Vec<LookStep>, Vec<Caution>) {
    let first = if level.is_low() {
        LookStep::PumpAndNozzles
    } else {
        LookStep::OpenLine
    };
    (vec![first], vec![Caution::MovingParts, Caution::DataSheets])
}

/// Quantities that no defaults stand for.
fn by_hand(quantity: Quantity) -> (Vec<LookStep>, Vec<Caution>) {
    let first = match quantity {
        Quantity::Metered | Quantity::State => LookStep::CompareMeter,
        _ => LookStep::MeasureAgain,
    };
    (vec![first], vec![Caution::MovingParts, Caution::DataSheets])
}

fn silent() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::InstrumentSupply, LookStep::ReadOncePerShift],
        vec![Caution::MovingParts],
    )
}

fn disagrees() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![
            LookStep::CheckEntry,
            LookStep::CleanAndCompare,
            LookStep::EnterCleaning,
        ],
        vec![Caution::MovingParts, Caution::DataSheets],
    )
}
