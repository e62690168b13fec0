//! What the balance takes in, and what it tells.

use serde::{Deserialize, Serialize};

use crate::model::departure::Departure;
use crate::model::movement::Movement;
use crate::model::state::Regime;
use crate::units::{Measured, Timestamp};

/// What the instruments say of a short time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Point {
    /// When.
    pub time: Timestamp,
    /// Volume by level, lines included, L.
    pub volume_l: Option<f64>,
    /// Concentration, %.
    pub concentration_pct: Option<f64>,
    /// Whether machines work.
    pub working: bool,
    /// Whether the pumps run, where that is known.
    pub pumps_run: Option<bool>,
    /// What ran in through meters since the last point, L.
    pub metered_l: f64,
    /// Concentrate in it, L.
    pub metered_concentrate_l: f64,
}

/// What the balance has to tell.
#[derive(Debug, Clone, PartialEq)]
pub enum Told {
    /// A new line of the ledger.
    Movement(Movement),
    /// What a known addition did to the concentration.
    Response(Response),
    /// Losses or gains have left what is usual, or have come back to it.
    Departure(Option<Departure>),
    /// A movement that was inferred before was written down after all.
    WrittenDown {
        /// When the movement began.
        time: Timestamp,
        /// The entry.
        entry: String,
    },
}

/// What a known addition did to the concentration, by which the true volume is
/// told.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// What was added, L.
    pub added_l: Measured,
    /// Its strength, %.
    pub strength_pct: f64,
    /// The sump's concentration before, %.
    pub before_pct: Measured,
    /// And once it was mixed in, without what was lost since, %.
    pub after_pct: Measured,
    /// Standard uncertainty of what both are off by alike, %.
    pub offset_pct: f64,
    /// Volume before, by the level, L.
    pub expected_l: f64,
}

impl Point {
    pub(in crate::model) fn regime(&self) -> Regime {
        Regime {
            working: self.working,
            stopped: self.pumps_run == Some(false),
        }
    }
}
