//! What to do about an alarm: amounts, order, wait, re-check, cautions.
//!
//! Promises: a dose is worked out by mass balance, rounded to what people can
//! measure out, never overfills, and comes with what is to be expected of it.
//! Refuses: a premix stronger than allowed, an amount of biocide, an amount
//! where the state of the sump is not known.

pub mod balance;
mod caution;
pub mod choice;
mod dose;
mod look;
pub mod recharge;

pub use caution::Caution;
pub use dose::{Dose, DoseSetup, MixState, Withheld, mixing_time, plan};
pub use look::look_at;

use serde::Serialize;

use crate::rules::Condition;
use crate::units::Timestamp;

/// What to do about one alarm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Advice {
    /// Told apart from any other advice by this.
    pub id: String,
    /// When it was worked out.
    pub time: Timestamp,
    /// What it is about.
    pub condition: Condition,
    /// Amounts, where a dose helps and can be worked out.
    pub dose: Option<Dose>,
    /// Why there is no dose although one might help.
    pub withheld: Option<Withheld>,
    /// What to look at, in this order.
    pub look_at: Vec<&'static str>,
    /// What to beware of.
    pub cautions: Vec<Caution>,
}
