//! One fact, and what it speaks for or against.

use serde::Serialize;

use crate::units::Timestamp;

/// A fact that a judgement rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Evidence {
    /// The fact in words.
    pub what: String,
    /// Its value, where it is a number.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// The unit of the value; empty for a plain number.
    #[serde(skip_serializing_if = "str::is_empty")]
    pub unit: &'static str,
    /// Since when it is so, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Timestamp>,
    /// Which way it points.
    pub speaks: Speaks,
    /// How much it weighs.
    pub weight: Weight,
}

/// Which way a fact points.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Speaks {
    /// For what is suspected.
    For,
    /// Against it.
    Against,
}

/// How much a fact weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Weight {
    /// It has many other causes.
    Weak,
    /// It has few other causes.
    Moderate,
    /// It hardly has another cause.
    Strong,
}

impl Weight {
    /// One for each step. Choice: the least rule that can be told to people.
    pub(super) const fn points(self) -> i32 {
        match self {
            Weight::Weak => 1,
            Weight::Moderate => 2,
            Weight::Strong => 3,
        }
    }
}

impl Evidence {
    /// A fact that speaks for what is suspected.
    pub(super) fn supports(weight: Weight, what: impl Into<String>) -> Self {
        Evidence::new(Speaks::For, weight, what.into())
    }

    /// A fact that speaks against it.
    pub(super) fn contradicts(weight: Weight, what: impl Into<String>) -> Self {
        Evidence::new(Speaks::Against, weight, what.into())
    }

    fn new(speaks: Speaks, weight: Weight, what: String) -> Self {
        Evidence {
            what,
            value: None,
            unit: "",
            since: None,
            speaks,
            weight,
        }
    }

    /// With its value and the unit of it.
    pub(super) fn valued(self, value: f64, unit: &'static str) -> Self {
        Evidence {
            value: Some(value),
            unit,
            ..self
        }
    }

    /// With the time since when it is so.
    pub(super) fn since(self, since: Option<Timestamp>) -> Self {
        Evidence { since, ..self }
    }

    /// Its points, below 0 where it speaks against.
    pub(super) fn points(&self) -> i32 {
        match self.speaks {
            Speaks::For => self.weight.points(),
            Speaks::Against => -self.weight.points(),
        }
    }
}
