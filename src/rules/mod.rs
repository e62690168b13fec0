//! Findings out of signals and model: what holds of a sump at one time.
//!
//! Promises: a rule looks at values only and remembers nothing. Refuses: to
//! judge a value that is not there.

mod ahead;
pub mod causes;
mod charted;
mod check;
mod condition;
mod finding;
mod limit;
mod named;
pub mod own;
mod rate;
mod rule;
mod step;

pub use ahead::{Ahead, Reach, judge_ahead};
pub use charted::{ChartRule, Charted};
pub use check::{Begins, Check, PlanStep, PlannedCheck};
pub use condition::Condition;
pub use finding::Finding;
pub use limit::{LimitLevel, judge_limit};
pub use rate::{Direction, RateRule, Speed, judge_rate};
pub use rule::{OwnAlarm, OwnSuppressors, OwnWords, Rule, RuleSetup};
pub use step::{Step, judge_bound};
