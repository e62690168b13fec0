//! What the balance of a sump must know of it: plain values.

use crate::units::Span;

/// What the balance of a sump must know of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BalanceSetup {
    /// Volume that the sump is to be kept at, lines included, L.
    pub working_volume_l: f64,
    /// Concentration that the sump is to be kept at, %.
    pub target_pct: f64,
    /// Fluid in pipes and machines while the pumps run, L.
    pub lines_l: f64,
    /// What of it runs back into the tank when the pumps stop, L, where it is
    /// known.
    pub drain_back_l: Option<f64>,
    /// Whether the level is measured.
    pub level_measured: bool,
    /// Whether the concentration is measured.
    pub concentration_measured: bool,
    /// Whether something fills the sump up by itself that no meter counts.
    pub fills_itself: bool,
    /// Whether it is known when machines work.
    pub work_is_known: bool,
    /// Time until an addition is mixed in.
    pub mixing: Span,
    /// The strongest premix that is used here, %.
    pub strongest_premix_pct: f64,
    /// How the instruments and people err.
    pub errors: ErrorSetup,
}

/// How instruments and people err, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorSetup {
    /// Of one point of the volume to begin with, L; from then on it is learned.
    pub volume_l: f64,
    /// Of one point of the concentration to begin with, %; from then on it is
    /// learned.
    pub concentration_pct: f64,
    /// Of the concentration's wandering within hours, %.
    pub wander_pct: f64,
    /// Of what the concentration's instrument drifts in ten days, %.
    pub drift_pct: f64,
    /// Of amounts that people or meters measure out, as a share.
    pub metering: f64,
    /// Of the fluid's chart, as a share of the concentration.
    pub chart: f64,
}
