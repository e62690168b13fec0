//! Modbus slaves and the registers they have: what to ask, what came, and
//! settings that read it.
//!
//! Only requests to read come out. Pure: answers go in.

mod floats;
mod offer;
mod slave;

pub use floats::{REASONABLE, reasonable};
pub use offer::{Line, report};
pub use slave::{SlaveSurvey, TableFound, Wanted};
