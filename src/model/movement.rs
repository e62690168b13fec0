//! What went into a sump or out of it: the lines of its ledger.

use serde::{Deserialize, Serialize};

use crate::units::{Measured, Timestamp};

/// A line of the ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Movement {
    /// When it began.
    pub time: Timestamp,
    /// When it was over.
    pub until: Timestamp,
    /// What it was.
    pub kind: MovementKind,
    /// How much, L; negative where it went out.
    pub litres: Measured,
    /// Its strength, % by volume, where that is known; of the instrument by how
    /// much it jumped, in points of concentration.
    pub strength_pct: Option<Measured>,
    /// The strength that the readings show, %, however rough.
    #[serde(default)]
    pub seen_strength_pct: Option<Measured>,
    /// How it is known.
    pub origin: Origin,
    /// The probability that it is of this kind, from 0 to 1; of what was
    /// written down and seen, 1.
    pub confidence: f64,
}

/// What went in or out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MovementKind {
    /// Water came in.
    Water,
    /// Premix came in.
    Premix,
    /// Concentrate came in.
    Concentrate,
    /// Mix went out.
    MixOut,
    /// As strong as the sump itself: fluid back from lines that stand, or
    /// out into them.
    Lines,
    /// Concentrate went and the volume stayed: mix was replaced by water, or the
    /// refractometer was wiped or hit by something.
    Thinned,
    /// Nothing went in or out: something lifts what the refractometer shows.
    Instrument,
    /// The readings cannot tell.
    Unclear,
}

/// How a movement is known.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "by", rename_all = "snake_case")]
pub enum Origin {
    /// Somebody wrote it down, and the readings agree as far as they can tell.
    Logged {
        /// The entries.
        entries: Vec<String>,
        /// Whether its step was seen; a small one need not show.
        seen: bool,
    },
    /// A step in the readings that nobody wrote down.
    Inferred,
    /// Somebody wrote it down, and the readings contradict.
    Contradicted {
        /// The entries.
        entries: Vec<String>,
        /// What was written down, L.
        logged_litres: f64,
        /// Of which strength, %.
        logged_strength_pct: f64,
    },
}

/// What several entries say together, with how far people measure wrong, L.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LoggedSum {
    pub(super) litres: f64,
    pub(super) concentrate: f64,
    pub(super) litres_variance: f64,
    pub(super) concentrate_variance: f64,
    pub(super) covariance: f64,
}

impl LoggedSum {
    /// Each amount errs by a share `metering` of it. What was let out is as
    /// strong as the sump; so is, as `unknown_pct`, a premix of which nobody
    /// wrote the strength.
    pub(super) fn of(logged: &[Logged], unknown_pct: f64, metering: f64) -> Self {
        let mut sum = LoggedSum {
            litres: 0.0,
            concentrate: 0.0,
            litres_variance: 0.0,
            concentrate_variance: 0.0,
            covariance: 0.0,
        };
        for one in logged {
            let share = one.strength_pct.unwrap_or(unknown_pct) / 100.0;
            let variance = (metering * one.litres).powi(2);
            sum.litres += one.litres;
            sum.concentrate += share * one.litres;
            sum.litres_variance += variance;
            sum.concentrate_variance += share * share * variance;
            sum.covariance += share * variance;
        }
        sum
    }
}

/// What somebody wrote down that went in or out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Logged {
    /// The entry.
    pub entry: String,
    /// When.
    pub time: Timestamp,
    /// How much, L; negative where it was let out.
    pub litres: f64,
    /// Its strength, %; of mix that was let out that of the sump.
    pub strength_pct: Option<f64>,
}

impl Logged {
    /// The kind of movement that was written down.
    pub fn kind(&self) -> MovementKind {
        match self.strength_pct {
            _ if self.litres < 0.0 => MovementKind::MixOut,
            None => MovementKind::Premix,
            Some(strength) if strength <= 0.0 => MovementKind::Water,
            Some(strength) if strength >= 100.0 => MovementKind::Concentrate,
            Some(_) => MovementKind::Premix,
        }
    }
}
