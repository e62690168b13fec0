//! A plant of forty sumps through a year, with shifts, weekends and
//! stand-stills, instruments that err slowly and people's hand instruments, and
//! with faults of every kind at random times: what alarms are held against.
//!
//! Promises: the same seed and the same deeds give the same readings; faults
//! come at times that nobody's deeds change; [`YearSump::truth`] and
//! [`YearSump::happened`] tell what no instrument can. Refuses: a clock, and any
//! physics borrowed from the rooms that are held against it.
//!
//! Sumps know nothing of one another, so that each can be run by itself; what
//! happens to all of them at once (the broker) comes at the same times to each.

mod calendar;
mod contents;
mod fault;
mod instruments;
mod layout;
mod sump;
#[cfg(test)]
mod tests;

pub use calendar::{
    STAND_STILLS, Shifts, YEAR_START, crew_is_there, day, next_attendance, stands_still,
};
pub use contents::{Contents, HARD, SOFT, Tap};
pub use fault::{FaultKind, Happened, Planned, timetable};
pub use instruments::Channel;
pub use layout::{PRODUCTS, Product, SUMPS, SumpSpec, sumps};
pub use sump::{STEP, Smells, Truth, YearReading, YearSump};
