//! The names of what can be wrong.

use std::fmt;
use std::sync::Arc;

use serde::{Serialize, Serializer};

use crate::units::Quantity;

use super::LimitLevel;

/// What can be wrong with a sump. Written `concentration.low`,
/// `silent.<channel>`, `instrument.<channel>`, `loss`.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Condition {
    /// A signal is outside one of its limits.
    Limit(Quantity, LimitLevel),
    /// A channel gave no usable reading for too long.
    Silent(Arc<str>),
    /// A channel and a hand reading contradict each other.
    Disagrees(Arc<str>),
    /// A channel's instrument asks for somebody.
    Instrument(Arc<str>),
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
    /// A rule of the plant's own holds.
    Own(Arc<str>),
}

impl Condition {
    /// Whether a dose is what this calls for.
    pub fn calls_for_dose(&self) -> bool {
        match self {
            Condition::Limit(Quantity::Concentration, _) => true,
            Condition::Limit(Quantity::Volume, level) => level.is_low(),
            _ => false,
        }
    }

    /// The name without the channel or whatever else it is about: what messages
    /// have words for.
    pub fn kind(&self) -> &'static str {
        match self {
            Condition::Limit(..) => "limit",
            Condition::Silent(_) => "silent",
            Condition::Disagrees(_) => "disagrees",
            Condition::Instrument(_) => "instrument",
            Condition::Loss => "loss",
            Condition::Gain => "gain",
            Condition::DoseMissed => "dose_missed",
            Condition::Contradicted => "contradicted",
            Condition::Mixer => "mixer",
            Condition::Own(_) => "own",
        }
    }
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Condition::Limit(quantity, level) => write!(f, "{quantity}.{}", level.name()),
            Condition::Silent(name)
            | Condition::Disagrees(name)
            | Condition::Instrument(name)
            | Condition::Own(name) => {
                write!(f, "{}.{name}", self.kind())
            }
            Condition::Loss
            | Condition::Gain
            | Condition::DoseMissed
            | Condition::Contradicted
            | Condition::Mixer => f.write_str(self.kind()),
        }
    }
}

impl Serialize for Condition {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}
