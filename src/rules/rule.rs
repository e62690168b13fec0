//! What is judged from time to time, with what it is held against.

use std::sync::Arc;

use crate::alarm::{AlarmManner, Priority};

use super::Condition;

/// A rule over signals and model. What it is held against comes from the
/// settings.
#[derive(Debug, Clone, PartialEq)]
pub enum Rule {
    /// The instrument of this channel asks for somebody, by its NE 107 status.
    Instrument {
        /// The channel.
        channel: Arc<str>,
    },
    /// More is lost than usual.
    Loss,
    /// More comes in than anybody wrote down.
    Gain,
    /// A dose did not bring what was reckoned.
    DoseMissed,
    /// What somebody wrote down is not what the readings show.
    Contradicted,
    /// A mixer gives another strength than it is set to.
    Mixer,
}

impl Rule {
    /// The condition that it tells of.
    pub fn condition(&self) -> Condition {
        match self {
            Rule::Instrument { channel } => Condition::Instrument(Arc::clone(channel)),
            Rule::Loss => Condition::Loss,
            Rule::Gain => Condition::Gain,
            Rule::DoseMissed => Condition::DoseMissed,
            Rule::Contradicted => Condition::Contradicted,
            Rule::Mixer => Condition::Mixer,
        }
    }
}

/// A rule with how its alarm behaves.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleSetup {
    /// The rule.
    pub rule: Rule,
    /// How much hurry.
    pub priority: Priority,
    /// How the alarm behaves.
    pub manner: AlarmManner,
}
