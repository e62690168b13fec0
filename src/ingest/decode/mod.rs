//! Payload formats: bytes in, a value or a reason out. Pure.
//!
//! Promises: no panic on any bytes; nothing that is not a finite number
//! becomes a value; one pass over a message, however many channels it is for.
//! Refuses: to guess a unit, a time or a field.

mod entry;
mod json;
mod number;
mod plan;
mod quality;
pub mod senml;
mod value;

pub use entry::{EntryError, decode_entry};
pub use plan::{Outcome, Plan};
pub use quality::{QualityError, decode_quality, encode_quality};
pub use value::Found;

use crate::engine::Quality;
use crate::units::{Quantity, Span, Timestamp};
use senml::{SenmlError, UnitError};

/// A reading out of a payload, in the unit that the channel's instrument
/// reports in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// The value.
    pub value: f64,
    /// The time that the source gave.
    pub claimed: Claimed,
    /// Marks that the message itself gives it.
    pub quality: Quality,
}

/// The time that a source gives a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Claimed {
    /// None: it stands at its arrival.
    None,
    /// A time of its own.
    At(Timestamp),
    /// So long before the message was sent; negative for after.
    Before(Span),
}

impl Claimed {
    /// The time meant, of a message that arrived at `arrival`.
    pub fn time(self, arrival: Timestamp) -> Option<Timestamp> {
        match self {
            Claimed::None => None,
            Claimed::At(time) => Some(time),
            Claimed::Before(span) => Some(arrival - span),
        }
    }
}

/// Why a payload holds no reading.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum DecodeError {
    /// The payload is not text.
    #[error("the payload is not UTF-8 text; a number as text is expected (payload = \"number\")")]
    NotText,
    /// The text is not a number.
    #[error("the payload is not a number; decimal point, no unit (payload = \"number\")")]
    NotANumber,
    /// The payload is not JSON.
    #[error("the payload is not JSON: {0}")]
    NotJson(String),
    /// There is nothing at the pointer.
    #[error("nothing at {pointer}; check the channel's value pointer")]
    NoValue {
        /// The pointer.
        pointer: String,
    },
    /// What stands where the value is looked for is none.
    #[error("at {place} stands {found}, not a value")]
    ValueKind {
        /// Where it stands.
        place: String,
        /// What stands there.
        found: &'static str,
    },
    /// What stands at the pointer is not a time.
    #[error("the time at {pointer} cannot be read: {why}")]
    Time {
        /// The pointer.
        pointer: String,
        /// Why.
        why: String,
    },
    /// The word stands for neither on nor off.
    #[error(
        "\"{found}\" stands for neither on ({on}) nor off ({off}); check the channel's on and off"
    )]
    NeitherOnNorOff {
        /// The word.
        found: String,
        /// Words for on.
        on: String,
        /// Words for off.
        off: String,
    },
    /// The number is not finite.
    #[error("the number is not finite")]
    NotFinite,
    /// The message names a unit that is none of the channel's quantity.
    #[error("the unit at {pointer} is {found}, none of {quantity}; let the sender give {allowed}")]
    Unit {
        /// The pointer.
        pointer: String,
        /// What stands there.
        found: String,
        /// What the channel measures.
        quantity: Quantity,
        /// The units that can be.
        allowed: String,
    },
    /// The payload is no pack of SenML.
    #[error(transparent)]
    Senml(#[from] SenmlError),
    /// A record has a unit that is none of the channel's quantity.
    #[error("in {name}: {why}")]
    SenmlUnit {
        /// Name of the record.
        name: String,
        /// Why.
        why: UnitError,
    },
    /// No record of the pack is of any channel of this topic.
    #[error("the pack has no record {wanted}; it has {there}; check the channel's name")]
    NoRecord {
        /// The name looked for.
        wanted: String,
        /// The names that it has.
        there: String,
    },
}
