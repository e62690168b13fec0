//! A plant in software, and a loopback broker to reach it by: for the demo, the
//! tests and what-if questions.
//!
//! Promises: the plant does its own physics, so that what the daemon makes of
//! its readings can be held against the truth; of the pure rooms it imports
//! `units` only. The same seed, timetable and actions give the same readings.
//! Refuses: to look at a clock, but for the broker's timers.

pub mod broker;
pub mod crew;
pub mod plant;
mod random;
pub mod trial;
pub mod year;
