//! What an alarm tells of the instrument that it is about: status, reason, and the
//! figures behind it.

use serde::Serialize;

use crate::rules::Rule;
use crate::signal::{InstrumentClass, InstrumentJudgement, InstrumentReason as Reason};
use crate::units::{Quantity, Timestamp};

use super::alarm_list::{AlarmIx, Watched};
use super::channel::ChannelWatch;
use super::setup::ChannelSetup;
use super::watch::SumpWatch;

/// The figures behind the status of an instrument, in its unit where nothing else
/// is said. Each is there where it speaks for the reason; `held` and `over_hand`
/// wherever they are known.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct InstrumentFigures {
    /// Of a silent one: what it showed last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<f64>,
    /// Of a frozen one: where it stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub frozen_at: Option<f64>,
    /// Of one that shows what cannot be true: that.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub shown: Option<f64>,
    /// The lowest value that can be true there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lowest: Option<f64>,
    /// The highest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub highest: Option<f64>,
    /// Of a level probe over foam: the value before it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub held: Option<f64>,
    /// Of a noisy one: the standard deviation of single readings.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub scatter: Option<f64>,
    /// What is usual there.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usual_scatter: Option<f64>,
    /// Of a fouled one: the change a day that no addition or loss explains.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub drift_a_day: Option<f64>,
    /// Of one that drifts from hand readings, or that one contradicts: instrument
    /// less hand, in the newest comparison.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_hand: Option<f64>,
    /// Of a spiking one: spikes among the last hour's readings, %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spike_share_pct: Option<f64>,
}

/// How the instrument is that an alarm is about.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct InstrumentTold {
    /// What it measures.
    pub quantity: Quantity,
    /// The unit of its figures.
    pub unit: &'static str,
    /// The status signal of NAMUR NE 107.
    pub class: InstrumentClass,
    /// Why; none where only a hand reading speaks against it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<Reason>,
    /// Since when; of a silent one the time of its last usable reading.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<Timestamp>,
    /// What it goes by.
    #[serde(flatten)]
    pub figures: InstrumentFigures,
}

impl InstrumentFigures {
    pub(super) fn of(
        setup: &ChannelSetup,
        watch: &ChannelWatch,
        judged: &InstrumentJudgement,
    ) -> Self {
        let instrument = &watch.instrument;
        let value = || watch.value(&setup.kind);
        let known = InstrumentFigures {
            held: instrument.held(),
            over_hand: instrument.drift().map(|drift| f64::from(drift.difference)),
            ..InstrumentFigures::default()
        };
        match judged.reason {
            Some(Reason::Silent) => InstrumentFigures {
                last: value(),
                ..known
            },
            Some(Reason::Frozen) => InstrumentFigures {
                frozen_at: value(),
                ..known
            },
            Some(Reason::OutOfRange) => {
                let finite = |bound: f64| Some(bound).filter(|bound| bound.is_finite());
                let (lowest, highest) = setup.plausible;
                InstrumentFigures {
                    shown: watch.newest_of_any_quality().and_then(finite),
                    lowest: finite(lowest),
                    highest: finite(highest),
                    ..known
                }
            }
            Some(Reason::Noisy) => {
                let (scatter, usual_scatter) = instrument.scatter();
                InstrumentFigures {
                    scatter: Some(scatter),
                    usual_scatter,
                    ..known
                }
            }
            Some(Reason::Fouled) => InstrumentFigures {
                drift_a_day: instrument.drift_forbidden(),
                ..known
            },
            Some(Reason::Spiking) => InstrumentFigures {
                spike_share_pct: instrument.spike_share().map(|share| 100.0 * share),
                ..known
            },
            Some(Reason::Fault | Reason::JustTouched | Reason::Foam | Reason::Drifting) | None => {
                known
            }
        }
    }
}

impl SumpWatch {
    /// How the instrument is that the alarm is about; none of other alarms, nor
    /// where nothing speaks against it any more. That it is silent is told by another
    /// alarm than how it was when it was heard.
    pub(super) fn instrument_told(&self, alarm: AlarmIx) -> Option<InstrumentTold> {
        let (channel, judged) = match (self.alarms.watched(alarm), self.alarms.rule(alarm)) {
            (Watched::Silence(channel) | Watched::Doubt(channel), _) => {
                (channel, self.instrument_judgement(channel))
            }
            (_, Some(Rule::Instrument { channel })) => {
                let channel = self.channel_named(channel)?;
                (channel, self.judged_when_heard(channel))
            }
            _ => return None,
        };
        let (setup, watch) = (&self.setup.channels[channel], &self.channels[channel]);
        let figures = InstrumentFigures::of(setup, watch, &judged);
        let told = judged.reason.is_some() || figures.over_hand.is_some();
        told.then_some(InstrumentTold {
            quantity: setup.quantity,
            unit: setup.quantity.unit(),
            class: judged.class,
            reason: judged.reason,
            since: judged.since,
            figures,
        })
    }
}
