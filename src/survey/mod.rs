//! A first look at what stands in a plant: which topics, lines or slaves there
//! are, what they say, and the settings that would take them in.
//!
//! Promises: what it offers as settings reads what was seen, as it was seen;
//! what it only guesses it calls a guess; it is bounded, whatever comes.
//! Refuses: to write anything to an instrument, to guess a unit.

mod guess;
pub mod lines;
mod nodes;
mod offer;
mod pack;
#[cfg(test)]
mod plant;
mod recognise;
pub mod registers;
mod report;
mod snippet;
mod topics;

pub use guess::{quantity, settings_name};
pub use pack::{Named, Pack};
pub use recognise::{Field, Look, Seen, recognise};
pub use report::{Report, Row, Valued, counted};
pub use snippet::Snippets;
pub use topics::{Topic, Topics};
