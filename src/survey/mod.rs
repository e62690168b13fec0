//! A first look at what stands in a plant: which topics, lines or slaves there
//! are, what they say, and the settings that would take them in.
//!
//! Promises: what it offers as settings reads what was seen, as it was seen;
//! what it only guesses it calls a guess; it is bounded, whatever comes.
//! Refuses: to write anything to an instrument, to guess a unit.

mod guess;
mod recognise;
mod report;
mod snippet;
mod topics;

pub use guess::{quantity, settings_name};
pub use recognise::{Field, Look, Seen, recognise};
pub use report::Report;
pub use snippet::Snippets;
pub use topics::{Topic, Topics};
