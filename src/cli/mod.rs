//! The command line.

pub mod calc;
