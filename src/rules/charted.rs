//! What a control chart is kept of.

use crate::units::Quantity;

/// What a control chart is kept of. The volume has none: it goes up and down by
/// what people add, and losses and gains are followed for themselves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Charted {
    /// The concentration of each day, against the target.
    Concentration,
    /// pH of each day, against its first days.
    Ph,
    /// What titration or laboratory say as a share of what the refractometer
    /// says, against the first pairs.
    RefractiveFactor,
}

impl Charted {
    /// The name used in conditions.
    pub const fn name(self) -> &'static str {
        match self {
            Charted::Concentration => "concentration",
            Charted::Ph => "ph",
            Charted::RefractiveFactor => "refractive_factor",
        }
    }

    /// The signal that it is a chart of; the refractive factor is none.
    pub const fn signal(self) -> Option<Quantity> {
        match self {
            Charted::Concentration => Some(Quantity::Concentration),
            Charted::Ph => Some(Quantity::Ph),
            Charted::RefractiveFactor => None,
        }
    }
}

/// How a control chart is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ChartRule {
    /// Of what.
    pub of: Charted,
    /// So many values are taken to be as they should be, at least 2: from them
    /// the chart learns what is usual.
    pub run_in: u16,
    /// What is let pass, in standard deviations of one value.
    pub slack_sigmas: f64,
    /// The sum that is too much, likewise, above 0.
    pub limit_sigmas: f64,
}
