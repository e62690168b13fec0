//! The life of an alarm, in the words of ISA-18.2 / IEC 62682.
//!
//! Promises: an alarm exists only after its on-delay, goes only after its
//! off-delay, and never because data went missing. Refuses: to know what the
//! condition is about; that is the business of the rules.

mod life;

pub use life::{AlarmDelays, AlarmLife, AlarmState, Priority, Transition, Verdict};
