//! Why the recommended option is the one.

use serde::Serialize;

use crate::units::{Measured, Span};

use super::dose::DoseSetup;
use super::option::{DoseCase, DoseOption};
use super::way::Way;

/// One reason for the recommended option. Its words stand under `reason.<key>`
/// in the phrases of each language.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(tag = "reason", rename_all = "snake_case")]
pub enum Reason {
    /// Water alone brings it nearer, there is room, and nothing is wasted.
    WaterSuffices,
    /// There is room, and nothing is wasted.
    Room,
    /// The head room takes it.
    HeadRoom {
        /// Up to this volume, L.
        max_l: f64,
    },
    /// Concentrate alone needs the least room.
    LeastRoom,
    /// The least drain that makes room for the water.
    DrainForWater,
    /// The least drain that makes room for the premix.
    DrainForPremix {
        /// Strongest premix allowed, %.
        strongest_pct: f64,
    },
    /// The losses make the room.
    LossesMakeRoom {
        /// In so many days.
        wait_d: Measured,
    },
    /// Topped up with water alone it comes down.
    ComesDown {
        /// In so many days.
        wait_d: Measured,
    },
    /// It is near enough.
    NearEnough,
    /// To wait would save the waste, but takes too long.
    WaitTooLong {
        /// So many days.
        wait_d: Measured,
        /// Longest wait allowed, ms.
        #[serde(rename = "allowed_ms")]
        allowed: Span,
    },
}

/// One or two reasons for the first of the options, which is the recommended
/// one.
pub(super) fn why(setup: &DoseSetup, case: &DoseCase<'_>, options: &[DoseOption]) -> Vec<Reason> {
    let Some(best) = options.first() else {
        return Vec::new();
    };
    let mut reasons = vec![of_way(setup, case, best)];
    if best.waste_l > 0.0 {
        let saves = |one: &&DoseOption| one.reaches_target && one.waste_l == 0.0;
        if let Some(wait_d) = options.iter().find(saves).and_then(|one| one.wait_d) {
            let allowed = setup.longest_wait;
            reasons.push(Reason::WaitTooLong { wait_d, allowed });
        }
    }
    reasons
}

fn of_way(setup: &DoseSetup, case: &DoseCase<'_>, best: &DoseOption) -> Reason {
    match (best.way, best.wait_d) {
        (Way::WaterOnly, _) => Reason::WaterSuffices,
        (Way::Premix, _) => Reason::Room,
        (Way::WaterToMax | Way::PremixToMax, _) => Reason::HeadRoom {
            max_l: case.max_volume.litres(),
        },
        (Way::NeatAtPoint, _) => Reason::LeastRoom,
        (Way::DrainAndWater, _) => Reason::DrainForWater,
        (Way::DrainAndPremix, _) => Reason::DrainForPremix {
            strongest_pct: setup.strongest_premix.percent(),
        },
        (Way::WaitAndPremix, Some(wait_d)) => Reason::LossesMakeRoom { wait_d },
        (Way::WaterAsItFalls, Some(wait_d)) => Reason::ComesDown { wait_d },
        (Way::LetItBe | Way::WaitAndPremix | Way::WaterAsItFalls, _) => Reason::NearEnough,
    }
}
