//! The map of the house.
//!
//! Imports run one way, from left to right:
//!
//! ```text
//! cli → daemon → {ingest, store, forward, notify, web, simulate} → engine → {rules, alarm, advice} → {model, signal} → {chemistry, vessel} → units
//! ```
//!
//! `report` makes the logbook out of readings and journal, and stands beside
//! `engine`; only `cli` uses it. `modbus` and `line` know what instruments say on wires and nothing but
//! `units`; `ingest` and `settings` use them. `phrases`
//! reads the files of words that `notify` and `report` say. `survey` looks at what
//! stands in a plant before there are settings; only `cli` uses it.
//! `doubling_pause` is how all wait who try something again.
//!
//! `settings` is used by everything above `engine` and hands the engine plain,
//! validated values. The pure rooms (`engine` and everything to the right of
//! it) know nothing of sockets, files, logging or the clock: events go in,
//! effects come out, and time is an argument.

pub mod advice;
pub mod alarm;
pub mod chemistry;
pub mod engine;
pub mod line;
pub mod modbus;
pub mod model;
pub mod phrases;
pub mod report;
pub mod rules;
pub mod settings;
pub mod signal;
pub mod simulate;
pub mod survey;
pub mod units;
pub mod vessel;

// The rooms that meet the outside world, and so may ask a clock.
#[allow(clippy::disallowed_methods)]
pub mod cli;
#[allow(clippy::disallowed_methods)]
pub mod daemon;
pub mod doubling_pause;
#[allow(clippy::disallowed_methods)]
pub mod forward;
#[allow(clippy::disallowed_methods)]
pub mod ingest;
#[allow(clippy::disallowed_methods)]
pub mod mqtt;
#[allow(clippy::disallowed_methods)]
pub mod notify;
#[allow(clippy::disallowed_methods)]
pub mod store;
#[allow(clippy::disallowed_methods)]
pub mod web;
