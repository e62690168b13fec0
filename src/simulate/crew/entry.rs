//! What the crew writes down, in the daemon's words.

use serde::Serialize;

use crate::units::Timestamp;

/// One entry, to be sent to the daemon as JSON.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CrewEntry {
    /// Distinguishes it from any other entry.
    pub id: String,
    /// When it was so.
    pub time: Timestamp,
    /// The sump that it is about.
    pub sump: String,
    /// Who wrote it.
    pub by: &'static str,
    /// What was written.
    #[serde(flatten)]
    pub kind: CrewEntryKind,
}

/// The kinds of entry that the crew writes.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum CrewEntryKind {
    /// A value taken by hand.
    HandReading {
        /// What was measured.
        quantity: &'static str,
        /// The value in the quantity's unit.
        value: f64,
    },
    /// Something was poured in.
    Addition {
        /// `water` or `premix`.
        what: &'static str,
        /// How much, L.
        litres: f64,
        /// Strength of a premix, %.
        #[serde(skip_serializing_if = "Option::is_none")]
        strength_pct: Option<f64>,
        /// The advice that was followed.
        advice: String,
    },
    /// Something was done to the sump or an instrument.
    Event {
        /// `drained` or `probe_cleaned`.
        what: &'static str,
        /// How much was let out, L.
        #[serde(skip_serializing_if = "Option::is_none")]
        litres: Option<f64>,
        /// The channel whose probe was touched.
        #[serde(skip_serializing_if = "Option::is_none")]
        channel: Option<&'static str>,
        /// The advice that was followed.
        #[serde(skip_serializing_if = "Option::is_none")]
        advice: Option<String>,
    },
    /// Free words.
    Note {
        /// The words.
        text: String,
    },
    /// The crew has seen an alarm and takes it on.
    Acknowledge {
        /// The alarm's id.
        alarm: String,
    },
}

impl CrewEntry {
    /// The entry as JSON.
    pub fn payload(&self) -> Vec<u8> {
        serde_json::to_vec(self).expect("an entry holds text and finite numbers only")
    }
}
