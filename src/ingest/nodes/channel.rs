//! What a metric's news is to its channel.

use std::time::Instant;

use super::super::intake::Content;
use super::super::refusals::IngestCounters;
use crate::engine::{AdmissionSetup, Quality, TroubleKind};
use crate::ingest::decode::{DecodeError, Found};
use crate::ingest::sparkplug::{Delivery, Footing, MetricQuality, News, Refused, Trouble, Value};
use crate::settings::{Scale, SparkplugMetric};
use crate::units::Timestamp;

/// Waiting for a node or device to show itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wait {
    /// It has.
    No,
    /// Since this time.
    Since(Timestamp),
    /// In vain.
    InVain,
}

/// A channel of a metric.
#[derive(Debug)]
pub(super) struct Channel {
    /// Place of its node in the host.
    pub(super) node: usize,
    /// When it was last heard of.
    pub(super) heard: Option<Timestamp>,
    /// What is waited for of its node or device.
    pub(super) wait: Wait,
    pub(super) sump: u32,
    pub(super) channel: u16,
    pub(super) scale: Scale,
    pub(super) metric: SparkplugMetric,
}

/// How a message came.
#[derive(Debug, Clone, Copy)]
pub struct Came<'a> {
    /// When.
    pub arrival: Timestamp,
    /// The same by the clock that rates are limited by.
    pub instant: Instant,
    /// Whether for the first time.
    pub delivery: Delivery,
    /// Whether the broker had kept it for who knows how long.
    pub retained: bool,
    /// Which times are believed.
    pub admission: &'a AdmissionSetup,
    /// What the source counts.
    pub counters: &'a IngestCounters,
}

/// Why something of a node's message could not be used.
#[derive(Debug, thiserror::Error)]
pub enum NodeError {
    /// The standard forbids it, since nobody can know how old it is.
    #[error("an edge node's message must not be retained; let its publisher clear the retain flag")]
    Retained,
    /// Nothing of it.
    #[error(transparent)]
    Refused(#[from] Refused),
    /// A part of it.
    #[error(transparent)]
    Trouble(Trouble),
    /// A value that is not what its channel wants.
    #[error("metric \"{metric}\": {why}")]
    Value {
        /// The metric.
        metric: String,
        /// Why.
        why: Box<DecodeError>,
    },
    /// A value of the past whose time is not believed, and which can stand
    /// nowhere else.
    #[error(
        "metric \"{metric}\": a historical value of {} lies further back than [admission] oldest or in the future", time.map_or("no time".to_owned(), |time| time.to_string())
    )]
    TooLongAgo {
        /// The metric.
        metric: String,
        /// Its time.
        time: Option<Timestamp>,
    },
}

impl Channel {
    pub(super) fn gone(&self, time: Option<Timestamp>) -> Content {
        Content::Trouble {
            channel: self.channel,
            time,
            kind: TroubleKind::Gone,
        }
    }

    /// Adds what the news is to the channel. Since a metric is sent when it
    /// changes, whatever says that its last value holds no more makes it gone.
    pub(super) fn take(
        &self,
        news: News,
        came: &Came<'_>,
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), NodeError> {
        // By a clock that is wrong it might lie before the last reading, and
        // count for nothing; then it is as of its arrival.
        let believed = |time: &Timestamp| came.admission.believes(*time, came.arrival);
        match news {
            News::Gone { time } => {
                let gone = self.gone(Some(time).filter(believed));
                contents.push((self.sump, gone));
            }
            News::Reading {
                value,
                time,
                quality,
                footing,
                historical,
            } => {
                let time_believed = time.filter(believed);
                if historical && time_believed.is_none() {
                    let metric = self.metric.name.clone();
                    return Err(NodeError::TooLongAgo { metric, time });
                }
                let value = self.value(value);
                let holds_no_more = quality != MetricQuality::Good || value.is_err();
                if let Ok(value) = value {
                    let mut marks = marks(quality, footing, historical);
                    if came.delivery == Delivery::Again && time_believed.is_none() {
                        IngestCounters::add(&came.counters.undecided);
                        marks = marks.with(Quality::REPEATED);
                    }
                    let reading = Content::Reading {
                        channel: self.channel,
                        claimed: time,
                        value,
                        quality: marks,
                    };
                    contents.push((self.sump, reading));
                }
                if holds_no_more && !historical {
                    contents.push((self.sump, self.gone(time_believed)));
                }
                value?;
            }
        }
        Ok(())
    }

    fn value(&self, value: Value) -> Result<f64, NodeError> {
        let found = match value {
            Value::Number(number) => Found::Number(number),
            Value::Flag(flag) => Found::Bool(flag),
        };
        found
            .scaled(&self.scale, &"its value")
            .map_err(|why| NodeError::Value {
                metric: self.metric.name.clone(),
                why: why.into(),
            })
    }
}

/// The marks that what is known of a value amounts to.
fn marks(quality: MetricQuality, footing: Footing, historical: bool) -> Quality {
    let marks = [
        (quality != MetricQuality::Good, Quality::FAULT),
        (footing == Footing::AfterGap, Quality::UNSURE),
        (historical, Quality::LATE),
    ];
    let set = marks.iter().filter(|(set, _)| *set);
    set.fold(Quality::GOOD, |all, (_, mark)| all.with(*mark))
}
