//! The lines of the journal.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::advice::{Advice, Amounts, Judgement, MixerCheck};
use crate::alarm::{AlarmState, Priority, Transition};
use crate::model::{Departure, Movement};
use crate::rules::{Condition, OwnWords};
use crate::units::{Measured, Timestamp};

use super::entry::Entry;
use super::evidence::{AlarmEvidence, EvidenceValue};
use super::instrument_told::InstrumentTold;
use super::plant_evidence::{DiskFull, ForwardStuck};
use super::plant_start_up::StartUpList;
use super::suppression::Suppressor;

/// One line of the journal. The order of the journal is (time, sump, seq).
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JournalRecord {
    /// The sump's time when it was written.
    pub time: Timestamp,
    /// The sump.
    pub sump: Arc<str>,
    /// Counts the sump's lines from 1.
    pub seq: u64,
    /// What happened.
    #[serde(flatten)]
    pub body: JournalBody,
}

/// What a line tells.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum JournalBody {
    /// An alarm went from one state to another.
    Alarm(AlarmLine),
    /// Advice was given.
    Advice {
        /// The advice.
        advice: Arc<Advice>,
    },
    /// Somebody did what the advice says.
    AdviceFollowed {
        /// The advice.
        advice: String,
        /// The entry that says so.
        entry: String,
    },
    /// The advice no longer holds: its reason went away, or newer advice
    /// stands in its place.
    AdviceWithdrawn {
        /// The advice.
        advice: String,
    },
    /// The entry that made the advice void was corrected: it stands again.
    AdviceRestored {
        /// The advice.
        advice: String,
    },
    /// After mixing: what came of a dose.
    AdviceOutcome(Box<Outcome>),
    /// The outlet of a mixer was read.
    MixerChecked(Box<MixerCheck>),
    /// Something went in or out, as the balance tells it.
    Movement {
        /// What.
        movement: Movement,
    },
    /// A movement that nobody had written down was written down after all.
    MovementLogged {
        /// When the movement began.
        time: Timestamp,
        /// The entry.
        entry: String,
    },
    /// Losses or gains have left what is usual, or have come back to it.
    Departure {
        /// What they are like; none once they are usual again.
        departure: Option<Departure>,
    },
    /// A person wrote something down.
    Entry {
        /// What was written.
        entry: Box<Entry>,
        /// It came out of history and changed nothing.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        late: bool,
    },
}

impl JournalBody {
    /// The name of the kind, as in the JSON.
    pub const fn kind(&self) -> &'static str {
        match self {
            JournalBody::Alarm(_) => "alarm",
            JournalBody::Advice { .. } => "advice",
            JournalBody::AdviceFollowed { .. } => "advice_followed",
            JournalBody::AdviceWithdrawn { .. } => "advice_withdrawn",
            JournalBody::AdviceRestored { .. } => "advice_restored",
            JournalBody::AdviceOutcome(_) => "advice_outcome",
            JournalBody::MixerChecked(_) => "mixer_checked",
            JournalBody::Movement { .. } => "movement",
            JournalBody::MovementLogged { .. } => "movement_logged",
            JournalBody::Departure { .. } => "departure",
            JournalBody::Entry { .. } => "entry",
        }
    }
}

/// A step in the life of an alarm.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlarmLine {
    /// Tells this occurrence from any other.
    pub id: String,
    /// What is wrong.
    pub condition: Condition,
    /// How much hurry.
    pub priority: Priority,
    /// The step.
    pub transition: Transition,
    /// Where the alarm stands after it.
    pub state: AlarmState,
    /// When the condition began.
    pub since: Timestamp,
    /// The value now, if there is one.
    pub value: Option<f64>,
    /// The unit of value and limit, and of the window where `signal` has none.
    pub unit: Option<&'static str>,
    /// The limit that was crossed.
    pub limit: Option<f64>,
    /// Lowest and highest value wanted, where there is such a window.
    pub window: Option<(Option<f64>, Option<f64>)>,
    /// The signal itself, where the value is how fast it moves or how far it has
    /// shifted; the window is in its unit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub signal: Option<Box<EvidenceValue>>,
    /// Who acknowledged, shelved, reset.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Why it was shelved or taken out of service, in that person's words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<String>,
    /// What it is suppressed for.
    #[serde(flatten, skip_serializing_if = "Option::is_none")]
    pub because: Option<Suppressor>,
    /// What a rule of the plant's own has to say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own: Option<Arc<OwnWords>>,
    /// Until when it is shelved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Timestamp>,
    /// The other channels that fell silent with the one that it is about, where
    /// people are told of something new.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub silent_with: Vec<Arc<str>>,
    /// How the instrument is, where it is about one that something speaks against.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instrument: Option<Box<InstrumentTold>>,
    /// The source that it is about, where it is about one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<Box<SourceLost>>,
    /// The stock that it is about, where it is about one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stock: Option<Box<StockLeft>>,
    /// The server of series that it is about, where it is about one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forward: Option<Box<ForwardStuck>>,
    /// The store's disk, where it is about that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub disk: Option<Box<DiskFull>>,
    /// What is wrong where, where it is about a start after a stand-still and
    /// people are told of something new.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub start_up: Option<Box<StartUpList>>,
    /// What to do about it.
    pub advice: Option<Arc<Advice>>,
    /// What it rests on, where people are told of something new.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub evidence: Option<Box<AlarmEvidence>>,
}

/// Concentrate in stock, as it should stand by count and use.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StockLeft {
    /// How much was counted, L.
    pub counted_l: f64,
    /// How much should be left, L.
    pub left_l: f64,
    /// Use a day of all sumps whose use is known, L.
    pub daily_use_l: Option<f64>,
    /// How long it lasts by that use, days.
    pub days: Option<f64>,
    /// Sumps that use it and whose use is not known: it then lasts shorter.
    pub unknown: usize,
}

/// A source that is or was lost, and what it blinds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SourceLost {
    /// `broker`, `modbus` or `serial`.
    pub kind: &'static str,
    /// Where it is: host and port, or a device.
    pub address: String,
    /// Why there is no connection, as it was last tried.
    pub why: String,
    /// How many channels it brings.
    pub channels: usize,
    /// Of how many sumps.
    pub sumps: usize,
}

/// What came of a dose that was followed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Outcome {
    /// The advice.
    pub advice: String,
    /// Concentration expected of it, %, and of what entries say was poured in.
    pub expected_concentration_pct: Measured,
    /// Concentration now, %, if it is known.
    pub concentration_pct: Option<Measured>,
    /// Volume now, L, if it is known.
    pub volume_l: Option<f64>,
    /// What was let out and poured in, by the entries; as advised where none
    /// speaks of it.
    pub poured: Option<Amounts>,
    /// Whether the concentration is as expected: within three standard
    /// deviations, or within the dead band.
    pub as_expected: Option<bool>,
    /// How far it is off, and what that may mean.
    pub judgement: Option<Judgement>,
}
