//! What to look at first at an instrument that is not well. Common practice, no
//! source.

use crate::signal::InstrumentReason as Reason;
use crate::units::Quantity;

use super::{Caution, LookStep};

/// What to look at, in order, at an instrument of this quantity, and the cautions
/// that go with it.
pub fn look_at_instrument(quantity: Quantity, reason: Reason) -> (Vec<LookStep>, Vec<Caution>) {
    let first = look_first(quantity, reason);
    match reason {
        Reason::Silent => (
            vec![first, LookStep::ReadOncePerShift],
            vec![Caution::MovingParts, Caution::DataSheets],
        ),
        Reason::JustTouched => (vec![first], vec![Caution::MovingParts, Caution::DataSheets]),
        Reason::Foam => (
            vec![first, LookStep::NothingOverFoam, LookStep::ReadInstead],
            vec![Caution::MovingParts, Caution::DataSheets],
        ),
        Reason::Fault => (
            vec![first, LookStep::ReadInstead, LookStep::EnterCare],
            vec![Caution::ElectricalCabinet, Caution::DataSheets],
        ),
        // What holds an old value may be the loop or the gateway as well.
        Reason::Frozen => (
            vec![
                first,
                LookStep::DisplayAndLoop,
                LookStep::ReadInstead,
                LookStep::EnterCare,
            ],
            vec![Caution::ProbeOut, Caution::MovingParts, Caution::DataSheets],
        ),
        Reason::OutOfRange
        | Reason::Noisy
        | Reason::Fouled
        | Reason::Drifting
        | Reason::Spiking => (
            vec![first, LookStep::ReadInstead, LookStep::EnterCare],
            vec![Caution::ProbeOut, Caution::MovingParts, Caution::DataSheets],
        ),
    }
}

/// What to look at first.
pub fn look_first(quantity: Quantity, reason: Reason) -> LookStep {
    match (reason, quantity) {
        (Reason::Silent, _) => LookStep::InstrumentSupply,
        (Reason::Fault, _) => LookStep::DisplayAndLoop,
        (Reason::JustTouched, _) => LookStep::LetSettle,
        (Reason::Foam, _) => LookStep::FoamCauses,
        (Reason::OutOfRange, _) => LookStep::ProbeWetted,
        (Reason::Noisy | Reason::Spiking, quantity) => match quantity {
            Quantity::Brix => LookStep::BubblesInCell,
            Quantity::Level | Quantity::Volume => LookStep::WavesUnderProbe,
            _ => LookStep::BubblesAtProbe,
        },
        (Reason::Drifting | Reason::Fouled | Reason::Frozen, quantity) => match quantity {
            Quantity::Brix => LookStep::WipePrism,
            Quantity::Ph | Quantity::Redox => LookStep::CleanElectrode,
            Quantity::Conductivity => LookStep::CleanCell,
            Quantity::Level | Quantity::Volume => LookStep::ClearLevelProbe,
            _ => LookStep::CleanProbe,
        },
    }
}

/// The step in English, for the state of a channel; the same words as in messages.
/// None of steps that are no instrument's.
pub const fn instrument_step_words(step: LookStep) -> Option<&'static str> {
    Some(match step {
        LookStep::InstrumentSupply => {
            "Look at the supply and the cable of the instrument, then at the gateway, the broker or the line that brings its readings."
        }
        LookStep::DisplayAndLoop => {
            "Read the instrument's own display, then look at its loop and its cable."
        }
        LookStep::LetSettle => "Let it settle, then read by hand and enter the reading.",
        LookStep::FoamCauses => {
            "Look at the surface; foam comes of soft water, too strong a mix, a leaking suction or jets from too high."
        }
        LookStep::ProbeWetted => {
            "See that the probe is wetted, then check its calibration and its unit in the settings."
        }
        LookStep::BubblesInCell => {
            "Look for air bubbles and chips in the cell, and check its flow."
        }
        LookStep::WavesUnderProbe => {
            "Look for waves, foam and jets under the probe, then at its cable."
        }
        LookStep::BubblesAtProbe => {
            "Look for bubbles at the probe, then at its cable and its earth."
        }
        LookStep::WipePrism => {
            "Wipe the prism, check the flow through the cell, then compare by hand."
        }
        LookStep::CleanElectrode => {
            "Clean the electrode of oil, check it in buffers, then compare by hand."
        }
        LookStep::CleanCell => {
            "Clean the cell of oil and fines, check it in a standard, then compare by hand."
        }
        LookStep::ClearLevelProbe => {
            "Look for swarf in the probe's port and for a float that sticks, then compare by dip stick."
        }
        LookStep::CleanProbe => "Clean the probe, then compare by hand.",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const REASONS: [Reason; 10] = [
        Reason::Silent,
        Reason::Fault,
        Reason::Frozen,
        Reason::JustTouched,
        Reason::OutOfRange,
        Reason::Foam,
        Reason::Noisy,
        Reason::Fouled,
        Reason::Drifting,
        Reason::Spiking,
    ];

    #[test]
    fn whatever_is_wrong_with_whatever_instrument_has_its_first_step_in_words() {
        for quantity in Quantity::ALL {
            for reason in REASONS {
                let (steps, cautions) = look_at_instrument(quantity, reason);
                let words = instrument_step_words(steps[0]);
                assert!(words.is_some(), "{quantity} {reason:?}: {:?}", steps[0]);
                assert!(cautions.contains(&Caution::DataSheets));
            }
        }
    }

    #[test]
    fn who_opens_a_cell_is_told_to_lock_out_the_pumps_first() {
        let (steps, cautions) = look_at_instrument(Quantity::Brix, Reason::Fouled);
        assert_eq!(steps[0], LookStep::WipePrism);
        assert_eq!(cautions[0], Caution::ProbeOut);
    }

    #[test]
    fn over_foam_nothing_is_dosed() {
        let (steps, _) = look_at_instrument(Quantity::Level, Reason::Foam);
        assert!(steps.contains(&LookStep::NothingOverFoam));
    }
}
