//! Lines that an instrument sends over a serial port: at which rate, how they
//! look, and settings that read them.
//!
//! Only listens. Pure: bytes and times go in.

mod check;
mod heard;
mod offer;
mod rate;
mod shape;
mod tokens;

pub use heard::Heard;
pub use offer::{Port, report};
pub use rate::{PortFormat, RateSearch, Verdict, usual_formats};
