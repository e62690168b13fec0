//! Findings out of signals: what holds of a sump at one time.
//!
//! Promises: a rule looks at values only and remembers nothing. Refuses: to
//! judge a value that is not there.

mod condition;
mod limit;

pub use condition::Condition;
pub use limit::{LimitLevel, judge_limit};
