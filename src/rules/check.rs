//! The checks of the plan: what people look at, measure and do from time to
//! time.

use serde::{Deserialize, Serialize};

use crate::units::Span;

/// One check of the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Check {
    /// Looking and smelling.
    Look,
    /// The concentration by hand: refractometer, titration or laboratory.
    Concentration,
    /// pH by hand.
    Ph,
    /// Nitrite.
    Nitrite,
    /// A dip slide.
    DipSlide,
    /// Conductivity by hand.
    Conductivity,
    /// Hardness of the mix.
    Hardness,
    /// Chloride of the mix.
    Chloride,
    /// The make-up water.
    MakeUpWater,
    /// The outlet of the mixer.
    Mixer,
    /// The share of tramp oil.
    TrampOil,
    /// Emptying, cleaning, disinfecting.
    CleanOut,
}

impl Check {
    /// Every check, in the order in which they are listed to people.
    pub const ALL: [Check; 12] = [
        Check::Look,
        Check::Concentration,
        Check::Ph,
        Check::Nitrite,
        Check::DipSlide,
        Check::Conductivity,
        Check::Hardness,
        Check::Chloride,
        Check::MakeUpWater,
        Check::Mixer,
        Check::TrampOil,
        Check::CleanOut,
    ];

    /// The name used in settings, conditions and the state.
    pub const fn name(self) -> &'static str {
        match self {
            Check::Look => "look",
            Check::Concentration => "concentration",
            Check::Ph => "ph",
            Check::Nitrite => "nitrite",
            Check::DipSlide => "dip_slide",
            Check::Conductivity => "conductivity",
            Check::Hardness => "hardness",
            Check::Chloride => "chloride",
            Check::MakeUpWater => "make_up_water",
            Check::Mixer => "mixer",
            Check::TrampOil => "tramp_oil",
            Check::CleanOut => "clean_out",
        }
    }
}

/// From when on a check of the plan counts, as long as nobody has made it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Begins {
    /// From the start on.
    AtStart,
    /// From a time within its first interval that is each sump's own, so that
    /// not all sumps of a plant fall due at once.
    Spread,
    /// From the first time that somebody makes it: what a plant never did is
    /// not asked of it.
    OnceMade,
}

/// A check as the plan of a sump has it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlannedCheck {
    /// The check.
    pub check: Check,
    /// How often.
    pub every: Span,
    /// How often while its rule for stretching holds, where it has one.
    pub stretched: Option<Span>,
    /// From when on it counts.
    pub begins: Begins,
}

/// The two steps of the published test plans.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlanStep {
    /// It is to be watched more closely.
    Watch,
    /// Something is to be done.
    Act,
}

impl PlanStep {
    /// The name used in conditions.
    pub const fn name(self) -> &'static str {
        match self {
            PlanStep::Watch => "watch",
            PlanStep::Act => "act",
        }
    }
}
