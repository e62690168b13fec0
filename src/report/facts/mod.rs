//! What is true of a sump over a period: readings and journal in, facts out. No
//! drawing and no words.

pub mod book;
pub mod checks;
pub mod errors;
pub mod litres;
pub mod log_sheet;
pub mod losses;
pub mod signal;
mod steps;
pub mod sump;
