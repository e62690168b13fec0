//! The names of what can be wrong.

use std::fmt;
use std::sync::Arc;

use serde::{Serialize, Serializer};

use crate::units::Quantity;

use super::LimitLevel;

/// What can be wrong with a sump. Written `concentration.low`,
/// `silent.<channel>`, `disagrees.<channel>`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Condition {
    /// A signal is outside one of its limits.
    Limit(Quantity, LimitLevel),
    /// A channel gave no usable reading for too long.
    Silent(Arc<str>),
    /// A channel and a hand reading contradict each other.
    Disagrees(Arc<str>),
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
}

impl fmt::Display for Condition {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Condition::Limit(quantity, level) => write!(f, "{quantity}.{}", level.name()),
            Condition::Silent(channel) => write!(f, "silent.{channel}"),
            Condition::Disagrees(channel) => write!(f, "disagrees.{channel}"),
        }
    }
}

impl Serialize for Condition {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}
