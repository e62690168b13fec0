//! From raw readings to a signal that can be trusted: loop currents, despiking
//! and smoothing.
//!
//! Promises: fixed memory a channel, no allocation a reading, the same result
//! for the same readings. Refuses: to invent a value where there is none.

mod hampel;
mod loop_current;
mod smooth;

pub use hampel::{DESPIKE_CAPACITY, Despike, DespikeSetup, Judged, hampel};
pub use loop_current::{LoopRange, LoopRangeError, LoopState};
pub use smooth::Smoother;
