//! What to do about an alarm: amounts, order, wait, re-check, cautions.
//!
//! Promises: a dose is worked out by mass balance, rounded to what people can
//! measure out, never overfills, moves the concentration by no more than the
//! largest step, and comes with what is to be expected of it and with every
//! other way there is. Refuses: a premix stronger than allowed, an amount of
//! biocide, an amount where the state of the sump is not known.

mod amounts;
pub mod balance;
mod candidate;
mod caution;
pub mod choice;
mod dose;
mod look;
mod look_instrument;
mod look_moves;
mod look_plan;
mod look_step;
mod look_store;
mod losses;
mod measure;
mod mixer;
mod money;
mod option;
mod outcome;
mod reason;
pub mod recharge;
mod steps;
mod way;
mod withheld;

use crate::rules::Condition;
use crate::units::Timestamp;
pub use amounts::Amounts;
pub use caution::Caution;
pub use dose::{Dose, DoseSetup, MixState, mixing_time, plan};
pub use look::look_at;
pub use look_instrument::{instrument_step_words, look_at_instrument, look_first};
pub use look_plan::look_at_checks;
pub use look_step::LookStep;
pub use losses::LossRates;
pub use measure::{Cans, Measure, VolumeUnit};
pub use mixer::{MixerCheck, MixerVerdict, holding_strength, leads_to};
pub use money::{Cost, Costs};
pub use option::{DoseCase, DoseOption};
pub use outcome::{Cause, Followed, Found, Judgement};
pub use reason::Reason;
use serde::Serialize;
pub use way::Way;
pub use withheld::Withheld;

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
    pub look_at: Vec<LookStep>,
    /// What to beware of.
    pub cautions: Vec<Caution>,
}
