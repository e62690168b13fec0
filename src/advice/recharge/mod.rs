//! The clean-out of a sump and its new charge, step by step, in litres and
//! hours.
//!
//! The order of the steps follows the page of the DGUV on changing coolants
//! (cleaner into the old fluid, whole circuit, thorough) and the usual plan of
//! the trade (memory). Volumes are taken to add up, and the arithmetic is
//! worked out here:
//!
//! ```text
//! V₀, c     the old charge          s       cleaner, as a share of it
//! V         the new charge          R, c_R  one rinse
//! r         what no drain gets out
//!
//! waste     V₀·(1 + s) − r + n·R
//! carry     r/V · (r/(r + R))ⁿ      old fluid in the new charge
//! strength  c ← (c·r + c_R·R)/(r + R)  of what stays, by each rinse
//! fill      x = cₜ·V − c·r  of concentrate,  w = V − r − x  of water
//! ```
//!
//! Promises: the litres add up; what people measure out is rounded to what they
//! can, never to nothing and never by more than a tenth; every plan carries its hazards; what has no
//! time or price is named. Refuses: an amount of a cleaner that holds a biocide,
//! or of one whose data sheet is not in the settings; to schedule anything.

mod amounts;
mod setup;
mod steps;
#[cfg(test)]
pub(super) mod tests;
mod text;

pub use amounts::{Cleaning, Fill, Rest, Rinse, Totals};
pub use setup::{
    Cleaner, CleanerContent, RechargeCase, RechargeError, RechargeSetup, VolumeSource,
};
pub(super) use steps::HAZARDS;
pub use steps::{EntryLine, Step};
pub(super) use text::litres;

use serde::Serialize;

use super::{Caution, Measure};

/// What to do, in this order.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RechargePlan {
    /// Name of the sump.
    pub sump: String,
    /// Its name as people say it.
    pub title: String,
    /// The product that it is filled with.
    pub fluid: String,
    /// The whole volume of the new charge, L.
    pub volume_l: f64,
    /// The whole volume of the old one, L.
    pub old_volume_l: f64,
    /// How that is known.
    pub volume_source: VolumeSource,
    /// The cleaner in the old fluid.
    pub cleaning: Cleaning,
    /// One rinse, and how many.
    pub rinse: Rinse,
    /// What no drain gets out.
    pub rest: Rest,
    /// The new charge.
    pub fill: Fill,
    /// The steps.
    pub steps: Vec<Step>,
    /// What to write down, as `sumpward` takes it.
    pub entries: Vec<EntryLine>,
    /// What it takes altogether.
    pub totals: Totals,
    /// What its amounts are measured out with, where they are rounded to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub measure: Option<Measure>,
    /// What to beware of, on every plan.
    pub cautions: Vec<Caution>,
}

/// The plan for the recharge of a sump.
///
/// # Errors
/// When volume, concentrations or rest cannot be those of a sump, when the
/// first fill would be stronger than any premix allowed, or when so much rich
/// fluid stays that water alone leaves the new charge too rich.
pub fn plan(setup: &RechargeSetup, case: &RechargeCase) -> Result<RechargePlan, RechargeError> {
    let Amounts {
        cleaning,
        rinse,
        rest,
        fill,
        totals,
    } = amounts(setup, case)?;
    let mut plan = RechargePlan {
        sump: case.sump.to_string(),
        title: case.title.clone(),
        fluid: case.fluid.clone(),
        volume_l: case.volume.litres(),
        old_volume_l: case.old_volume.litres(),
        volume_source: case.volume_source,
        cleaning,
        rinse,
        rest,
        fill,
        steps: Vec::new(),
        entries: steps::entries(&case.sump, case.volume),
        totals,
        measure: case.measure,
        cautions: HAZARDS.to_vec(),
    };
    plan.steps = steps::steps(setup, case, &plan);
    Ok(plan)
}

/// What the recharge of a sump takes altogether.
///
/// # Errors
/// As [`plan`].
pub fn totals(setup: &RechargeSetup, case: &RechargeCase) -> Result<Totals, RechargeError> {
    amounts(setup, case).map(|amounts| amounts.totals)
}

/// A plan without its words.
struct Amounts {
    cleaning: Cleaning,
    rinse: Rinse,
    rest: Rest,
    fill: Fill,
    totals: Totals,
}

fn amounts(setup: &RechargeSetup, case: &RechargeCase) -> Result<Amounts, RechargeError> {
    setup::check(setup, case)?;
    let cleaning = amounts::cleaning(setup, case);
    let rinse = amounts::rinse(setup, case);
    let rest = amounts::rest(setup, case, &cleaning, &rinse);
    let fill = amounts::fill(setup, case, &rest)?;
    let totals = amounts::totals(setup, case, &cleaning, &rinse, &fill);
    Ok(Amounts {
        cleaning,
        rinse,
        rest,
        fill,
        totals,
    })
}
