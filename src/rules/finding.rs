//! What a rule concluded, and what it went by.

use crate::alarm::Verdict;
use crate::units::Timestamp;

/// What a rule concluded about a sump at one time, with its evidence.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    /// What it comes to.
    pub verdict: Verdict,
    /// The value that decided, if it was one.
    pub value: Option<f64>,
    /// Unit of value and limit.
    pub unit: Option<&'static str>,
    /// What the value was held against.
    pub limit: Option<f64>,
    /// Since when it is so, where that is known better than by the judging.
    pub since: Option<Timestamp>,
}

impl Finding {
    /// A condition that holds or does not, by no single value.
    pub const fn plain(verdict: Verdict) -> Self {
        Finding {
            verdict,
            value: None,
            unit: None,
            limit: None,
            since: None,
        }
    }
}
