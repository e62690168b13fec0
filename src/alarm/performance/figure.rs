//! One figure and what the standard says of it.

use serde::Serialize;

/// What a figure may be.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// So much and no more.
    AtMost(f64),
    /// Less than that.
    Below(f64),
    /// So much and no less.
    AtLeast(f64),
}

impl Bound {
    /// Whether the value keeps to it.
    pub fn holds(self, value: f64) -> bool {
        match self {
            Bound::AtMost(most) => value <= most,
            Bound::Below(limit) => value < limit,
            Bound::AtLeast(least) => value >= least,
        }
    }
}

/// How a figure stands to the bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Inside {
    /// Very likely acceptable.
    Acceptable,
    /// More than that, and still manageable.
    Manageable,
    /// Neither.
    Outside,
}

/// In what a figure is told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// A number of alarms or annunciations.
    Count,
    /// A part of a whole, 0 to 1.
    Share,
    /// Minutes.
    Min,
}

/// One figure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figure {
    /// Its name in JSON.
    pub name: &'static str,
    /// What it is in.
    pub unit: Unit,
    /// The value; none where there is nothing to work it out from.
    pub value: Option<f64>,
    /// What the standard calls very likely acceptable, if it says so.
    pub acceptable: Option<Bound>,
    /// What it calls the most that is manageable, if it says so.
    pub manageable: Option<Bound>,
    /// How the value stands to them.
    pub inside: Option<Inside>,
}

impl Figure {
    /// One of which the standard says nothing.
    pub(super) fn plain(name: &'static str, unit: Unit, value: Option<f64>) -> Self {
        Figure {
            name,
            unit,
            value,
            acceptable: None,
            manageable: None,
            inside: None,
        }
    }

    /// The same, held against what the standard says.
    pub(super) fn against(self, acceptable: Bound, manageable: Option<Bound>) -> Self {
        let judge = |value: f64| {
            if acceptable.holds(value) {
                Inside::Acceptable
            } else if manageable.is_some_and(|bound| bound.holds(value)) {
                Inside::Manageable
            } else {
                Inside::Outside
            }
        };
        Figure {
            acceptable: Some(acceptable),
            manageable,
            inside: self.value.map(judge),
            ..self
        }
    }
}

/// `part` of `whole`; none of nothing.
pub(super) fn share(part: f64, whole: f64) -> Option<f64> {
    (whole > 0.0).then(|| part / whole)
}
