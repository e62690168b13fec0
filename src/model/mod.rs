//! What is really going on in a sump: its ledger of additions, its losses, its
//! true volume, its minerals, and what comes next.
//!
//! Promises: mass is kept (what goes in, goes out or stays adds up); every
//! figure comes with its standard uncertainty, and where the readings cannot
//! tell, that is said in place of a figure; memory is fixed. Refuses: to guess
//! a loss from a level that something unseen holds up.

mod balance;
mod classify;
mod departure;
mod gaussian;
mod losses;
mod movement;
mod noise;
mod setup;
mod shift;
mod shift_pattern;
mod state;
#[cfg(test)]
mod testing;

pub use balance::{Balance, Point, Told};
pub use departure::{Departure, DepartureKind};
pub use losses::{Losses, NotIdentifiable};
pub use movement::{Logged, Movement, MovementKind, Origin};
pub use setup::{BalanceSetup, ErrorSetup};
pub use shift::{Shift, ShiftError};
pub use shift_pattern::{ShiftPattern, ShiftPatternError};
pub use state::Step;
