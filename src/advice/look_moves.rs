//! What to look at where a signal moves fast or has shifted, and where the pumps
//! stand. Common practice, no source.

use crate::rules::{Charted, Direction};
use crate::units::Quantity;

use super::{Caution, LookStep};

/// By signal and by the way that it goes.
pub(super) fn rate(signal: Quantity, direction: Direction) -> (Vec<LookStep>, Vec<Caution>) {
    use Direction::{Falling, Rising};
    let steps = match (signal, direction) {
        (Quantity::Concentration, Falling) => vec![
            LookStep::SampleByHand,
            LookStep::FindWater,
            LookStep::LeanCauses,
        ],
        (Quantity::Concentration, Rising) => vec![
            LookStep::SampleByHand,
            LookStep::StopAdding,
            LookStep::RichCauses,
        ],
        (Quantity::Ph, Falling) => vec![LookStep::PhByHand, LookStep::PhBacteriaOrAcid],
        (Quantity::Ph, Rising) => vec![LookStep::PhByHand, LookStep::AlkaliCarriedIn],
        (Quantity::Volume, Falling) => vec![
            LookStep::FindLeak,
            LookStep::PumpsAndLosses,
            LookStep::KeepFromDrains,
        ],
        (Quantity::Volume, Rising) => vec![
            LookStep::StopAdding,
            LookStep::FindWater,
            LookStep::FoamDeceives,
        ],
        (Quantity::Conductivity, Falling) => {
            vec![LookStep::ConductivityByHand, LookStep::FindWater]
        }
        (Quantity::Conductivity, Rising) => vec![LookStep::ConductivityByHand, LookStep::Salts],
        (Quantity::Temperature, Falling) => vec![LookStep::FindWater, LookStep::WarmUp],
        (Quantity::Temperature, Rising) => vec![LookStep::Cooling, LookStep::WarmFluid],
        _ => vec![LookStep::MeasureAgain],
    };
    let more = match signal {
        Quantity::Temperature => vec![Caution::HotFluid],
        Quantity::Volume => vec![Caution::ConfinedSpace],
        Quantity::Ph => vec![Caution::Biocide],
        _ => Vec::new(),
    };
    let usual = [Caution::MovingParts, Caution::DataSheets];
    (steps, more.into_iter().chain(usual).collect())
}

/// By what the chart is kept of.
pub(super) fn shifted(of: Charted) -> (Vec<LookStep>, Vec<Caution>) {
    let first = match of {
        Charted::Concentration => LookStep::SampleByHand,
        Charted::Ph => LookStep::PhByHand,
        Charted::RefractiveFactor => LookStep::RepeatBoth,
    };
    let then = match of {
        Charted::Concentration => LookStep::MixerParts,
        Charted::Ph => LookStep::PhBacteriaOrAcid,
        Charted::RefractiveFactor => LookStep::LetSampleStand,
    };
    let cautions = match of {
        Charted::Ph => vec![Caution::Biocide, Caution::DataSheets],
        _ => vec![Caution::MovingParts, Caution::DataSheets],
    };
    (vec![first, LookStep::WhatChanged, then], cautions)
}

/// Pumps may start by themselves.
pub(super) fn pumps_stopped() -> (Vec<LookStep>, Vec<Caution>) {
    (
        vec![LookStep::WhyPumpsStand, LookStep::StandingFluid],
        vec![
            Caution::MovingParts,
            Caution::LockOut,
            Caution::ElectricalCabinet,
        ],
    )
}
