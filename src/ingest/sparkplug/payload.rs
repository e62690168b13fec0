//! The payload of every message: Protocol Buffers, defined in chapter 6.4.1.

use crate::units::Timestamp;

use super::metric::{Metric, time};
use super::wire::{Fields, Raw, WireError};

/// Most metrics in one message, and so most aliases of a node or device: some
/// 2 MB while the message is read, and 1 MB between. Choice: births of gateways
/// have hundreds of metrics, seldom thousands.
pub const MAX_METRICS: usize = 20_000;

/// What a message holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Payload<'a> {
    /// When it was sent, as the node says.
    pub time: Option<Timestamp>,
    /// Its place among the node's messages.
    pub seq: Option<u8>,
    /// Its metrics, in their order.
    pub metrics: Vec<Metric<'a>>,
}

/// Why a payload cannot be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum PayloadError {
    /// Not Protocol Buffers.
    #[error("the payload is not a Sparkplug B payload: {0}")]
    Wire(#[from] WireError),
    /// A field of another kind than the standard gives it.
    #[error("the payload is not a Sparkplug B payload: field {0} is of another kind")]
    Field(u32),
    /// A name that is not text.
    #[error("the payload is not a Sparkplug B payload: a metric's name is not UTF-8")]
    NotText,
    /// Too many metrics.
    #[error(
        "the payload has more than {MAX_METRICS} metrics; let the node spread them over devices"
    )]
    Metrics,
    /// The place cannot be.
    #[error("the payload's seq is {0}; it goes from 0 to 255")]
    Seq(u64),
    /// Keys and values of properties do not belong together.
    #[error("a metric has {keys} names of properties and {values} values; there must be as many")]
    Properties {
        /// Names.
        keys: usize,
        /// Values.
        values: usize,
    },
    /// The quality is not a number.
    #[error("a metric's property Quality is not an Int32 of 0, 192 or 500")]
    QualityKind,
}

/// Numbers of the fields.
pub(super) mod field {
    pub(in super::super) const TIMESTAMP: u32 = 1;
    pub(in super::super) const METRICS: u32 = 2;
    pub(in super::super) const SEQ: u32 = 3;
}

impl<'a> Payload<'a> {
    /// Reads a payload; nothing of it is copied.
    ///
    /// # Errors
    /// When it is not one, or beyond the bounds; then nothing in it counts.
    pub fn parse(bytes: &'a [u8]) -> Result<Self, PayloadError> {
        let mut payload = Payload {
            time: None,
            seq: None,
            metrics: Vec::new(),
        };
        for field in Fields::of(bytes) {
            match field? {
                (field::TIMESTAMP, Raw::Varint(millis)) => payload.time = Some(time(millis)),
                (field::METRICS, Raw::Bytes(_)) if payload.metrics.len() == MAX_METRICS => {
                    return Err(PayloadError::Metrics);
                }
                (field::METRICS, Raw::Bytes(metric)) => {
                    payload.metrics.push(Metric::parse(metric)?);
                }
                (field::SEQ, Raw::Varint(seq)) => {
                    payload.seq = Some(u8::try_from(seq).map_err(|_| PayloadError::Seq(seq))?);
                }
                (number @ field::TIMESTAMP..=field::SEQ, _) => {
                    return Err(PayloadError::Field(number));
                }
                _ => {}
            }
        }
        Ok(payload)
    }
}
