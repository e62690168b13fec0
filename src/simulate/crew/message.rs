//! What the crew hears from the daemon: alarms and advice, as far as it acts
//! on them. Anything else in a message is passed over.

use serde::Deserialize;

/// One transition of an alarm.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(super) struct AlarmMessage {
    pub(super) id: String,
    pub(super) sump: String,
    /// Such as `concentration.low` or `silent.brix`.
    pub(super) condition: String,
    pub(super) state: AlarmState,
    #[serde(default)]
    pub(super) value: Option<f64>,
    #[serde(default)]
    pub(super) advice: Option<Advice>,
}

/// The states of an alarm that matter to the crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum AlarmState {
    Unacknowledged,
    Acknowledged,
    ReturnedUnacknowledged,
    Normal,
    /// Shelved, suppressed and the like: nothing for the crew to do.
    #[serde(other)]
    Other,
}

/// What the daemon advises.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(super) struct Advice {
    pub(super) id: String,
    #[serde(default)]
    pub(super) dose: Option<Dose>,
}

/// Advice that comes alone.
#[derive(Debug, Clone, PartialEq, Deserialize)]
pub(super) struct AdviceMessage {
    pub(super) sump: String,
    #[serde(flatten)]
    pub(super) advice: Advice,
}

/// What to let out and pour in.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
pub(super) struct Dose {
    #[serde(default)]
    pub(super) drain_l: f64,
    #[serde(default)]
    pub(super) premix_l: f64,
    #[serde(default)]
    pub(super) premix_strength_pct: f64,
    /// The water of the premix, or all there is to pour in when there is no
    /// premix.
    #[serde(default)]
    pub(super) water_l: f64,
    /// Which step it is, where it takes several.
    #[serde(default)]
    pub(super) step: u32,
}

impl Dose {
    /// What to pour in: litres and strength in %, strength 0 for water.
    pub(super) fn addition(&self) -> Option<(f64, f64)> {
        match (self.premix_l > 0.0, self.water_l > 0.0) {
            (true, _) => Some((self.premix_l, self.premix_strength_pct)),
            (false, true) => Some((self.water_l, 0.0)),
            (false, false) => None,
        }
    }
}
