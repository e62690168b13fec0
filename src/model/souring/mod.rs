//! Whether a sump is going sour: whether microbes live on it.
//!
//! No number decides it alone. What is measured, smelt and grown on slides is
//! put side by side as facts that speak for it or against it, each with its
//! weight, and the level follows from them by a rule that can be told. A pH that
//! falls with the concentration is dilution, one that rises with it evaporation,
//! a sudden rise a cleaner (memory).
//!
//! Refuses: to name an amount of biocide, ever.

mod judge;
mod setup;
mod signs;
#[cfg(test)]
mod tests;
mod watch;

pub use judge::{Souring, SouringStatus};
pub use setup::{GermBounds, SouringSetup};
pub use watch::{Odour, SouringNow, SouringWatch};
