//! The life of an alarm, in the words of ISA-18.2 / IEC 62682.
//!
//! Promises: an alarm exists only after its on-delay, goes only after its
//! off-delay, and never because data went missing; what is hidden is judged on
//! and comes forth as it stands then; a shelf always ends. Refuses: to know what
//! the condition is about; that is the business of the rules.

pub mod compare;
mod hidden;
mod life;
pub mod performance;
mod state;

pub use hidden::Hiding;
pub use life::{AlarmLife, AlarmManner, Priority};
pub use state::{AlarmState, Transition, Verdict};
