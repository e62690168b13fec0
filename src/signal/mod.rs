//! x
mod loop_current;
pub use loop_current::{LoopRange, LoopRangeError, LoopState};
