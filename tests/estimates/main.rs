//! The model held against a plant whose truth is known: twenty seeds and more,
//! median and worst. `cargo test --release --test estimates -- --nocapture`
//! prints the tables.

mod chance;
mod doses;
mod engine_losses;
mod forecast;
mod leaks;
mod losses;
mod meters;
mod pumps;
mod run;

mod slips;
mod steps;
mod volume;
mod whole;
mod year;
