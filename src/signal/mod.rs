//! From raw readings to a signal that can be trusted: loop currents, despiking,
//! smoothing and the counts of meters.
//!
//! Promises: fixed memory a channel, no allocation a reading, the same result
//! for the same readings. Refuses: to invent a value where there is none.

mod hampel;
mod loop_current;
mod meter;
mod smooth;

pub use hampel::{DESPIKE_CAPACITY, Despike, DespikeSetup, Judged, hampel};
pub use loop_current::{
    LoopJudgement, LoopRange, LoopRangeError, LoopState, LoopWatch, UNDEFINED_HOLD,
};
pub use meter::{Counted, Meter, MeterSetup};
pub use smooth::Smoother;
