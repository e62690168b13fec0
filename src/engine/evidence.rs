//! What an alarm rests on beside its value: the signals side by side, the trend,
//! and what may have caused it.

mod pairs;

use serde::Serialize;

use crate::rules::Condition;
use crate::rules::causes::{LikelyCause, causes};
use crate::units::{Quantity, Span};

use super::own_inputs::AskedValue;
use super::watch::SumpWatch;

/// Trends go over so long.
const OVER: Span = Span::from_hours(24);

/// What an alarm rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlarmEvidence {
    /// The sump's signals as they are now.
    pub values: Vec<EvidenceValue>,
    /// What a rule of the plant's own looked at, in the order of its text.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub asked: Vec<AskedValue>,
    /// How the signal goes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub trend: Option<EvidenceTrend>,
    /// What may have caused it, the likeliest first.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub causes: Vec<LikelyCause>,
}

/// A signal as it is now.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EvidenceValue {
    /// Which.
    pub name: Quantity,
    /// Its value.
    pub value: f64,
    /// The unit of the value.
    pub unit: &'static str,
}

/// How a signal went, doses left out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EvidenceTrend {
    /// Which.
    pub signal: Quantity,
    /// Its unit.
    pub unit: &'static str,
    /// Change a day, in the signal's unit.
    pub a_day: f64,
    /// Standard uncertainty of that.
    pub uncertainty: f64,
    /// Over so many hours.
    pub over_h: f64,
}

/// The signals that are shown, where they are known.
const SHOWN: [Quantity; 6] = [
    Quantity::Concentration,
    Quantity::Volume,
    Quantity::Ph,
    Quantity::Conductivity,
    Quantity::Temperature,
    Quantity::DissolvedOxygen,
];

impl SumpWatch {
    /// What an alarm with this condition rests on now.
    pub(super) fn alarm_evidence(&self, condition: &Condition) -> AlarmEvidence {
        let values = SHOWN.into_iter().filter_map(|name| {
            let value = self.signal(name)?;
            let unit = name.unit();
            Some(EvidenceValue { name, value, unit })
        });
        let trend =
            signal_of(condition).and_then(|signal| Some((signal, self.trend_of(signal, OVER)?)));
        AlarmEvidence {
            values: values.collect(),
            asked: self.asked_by_rule(condition),
            trend: trend.map(|(signal, trend)| EvidenceTrend {
                signal,
                unit: signal.unit(),
                a_day: trend.a_day.value,
                uncertainty: trend.a_day.uncertainty,
                over_h: trend.over_h,
            }),
            causes: causes(condition, &self.pairs(condition)),
        }
    }

    /// The signal behind a value that is how fast it moves or how far it has
    /// shifted.
    pub(super) fn signal_behind(&self, condition: &Condition) -> Option<EvidenceValue> {
        if !matches!(condition, Condition::Rate(..) | Condition::Shifted(_)) {
            return None;
        }
        let name = signal_of(condition)?;
        Some(EvidenceValue {
            name,
            value: self.signal(name)?,
            unit: name.unit(),
        })
    }

    /// The window of the signal that a rule is about, where it has limits: of what
    /// lies ahead, and of what moves or has shifted as long as its signal is known.
    pub(super) fn window_of_rule(
        &self,
        condition: &Condition,
    ) -> Option<(Option<f64>, Option<f64>)> {
        let signal = match condition {
            Condition::Ahead(..) => signal_of(condition)?,
            _ => self.signal_behind(condition)?.name,
        };
        let window = self.window(signal);
        (window != (None, None)).then_some(window)
    }
}

/// The signal that a condition is about, where there is a course of it.
fn signal_of(condition: &Condition) -> Option<Quantity> {
    match condition {
        Condition::Limit(Quantity::Brix, _) => Some(Quantity::Concentration),
        Condition::Limit(Quantity::Level, _) => Some(Quantity::Volume),
        Condition::Limit(signal, _) | Condition::Ahead(signal, _) => Some(*signal),
        Condition::Rate(signal, _) => Some(*signal),
        Condition::Shifted(of) => of.signal(),
        Condition::Loss | Condition::Gain => Some(Quantity::Volume),
        Condition::Excess(_) => Some(Quantity::Conductivity),
        Condition::Souring(_) | Condition::PhDrop(_) => Some(Quantity::Ph),
        _ => None,
    }
}
