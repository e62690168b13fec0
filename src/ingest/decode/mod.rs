//! Payload formats: bytes in, a value or a reason out. Pure.
//!
//! Promises: no panic on any bytes; nothing that is not a finite number
//! becomes a value. Refuses: to guess a unit, a time or a field.

mod entry;
mod json;
mod number;

pub use entry::{EntryError, decode_entry};

use crate::settings::{PayloadFormat, PayloadSettings};
use crate::units::Timestamp;

/// A reading out of a payload, in the channel's unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// The value.
    pub value: f64,
    /// The time that the source gave.
    pub claimed: Option<Timestamp>,
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
    /// What stands at the pointer is not a number.
    #[error("at {pointer} stands {found}, not a number")]
    ValueKind {
        /// The pointer.
        pointer: String,
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
    /// The number is not finite.
    #[error("the number is not finite")]
    NotFinite,
}

/// Decodes one payload after the channel's settings.
///
/// # Errors
/// When there is no reading in it.
pub fn decode(settings: &PayloadSettings, payload: &[u8]) -> Result<Decoded, DecodeError> {
    let decoded = match &settings.format {
        PayloadFormat::Number => Decoded {
            value: number::decode(payload)?,
            claimed: None,
        },
        PayloadFormat::Json { value, time } => json::decode(payload, value, time.as_ref())?,
    };
    let value = settings.conversion.apply(decoded.value);
    if value.is_finite() {
        Ok(Decoded { value, ..decoded })
    } else {
        Err(DecodeError::NotFinite)
    }
}
