//! SenML (RFC 8428): a pack of records, as JSON or CBOR, to what each record
//! says by itself.
//!
//! For instruments and gateways that send the standard's own form: several
//! quantities at several times in one message, each with its name, unit and
//! time. Section 4 is carried out whole: the base fields, the rules for names,
//! values, times and versions, and the resolved form of section 4.6, but for
//! "now", which [`Time`] leaves to the reader, who has a clock.
//!
//! Promises: no panic on any bytes; what is kept is bounded by the constants
//! here and never by a length that a message claims; JSON and CBOR of one pack
//! give the same records. Refuses: a pack any part of which contradicts the
//! standard, as a whole, since a wrong base field would shift every record
//! after it; a version or a field that asks for more than is understood here.
//!
//! The text read is the last proof before publication (July 2018).

mod base64url;
mod cbor;
mod error;
mod fields;
mod json;
mod label;
mod record;
mod resolve;
mod unit;

pub use error::{CborFault, SenmlError};
pub use record::{Record, Time, Value};
pub use unit::{UnitError, conversion};

use resolve::Pack;

/// Most records of a pack. A gateway that was cut off may send two days of one
/// value a minute at once (2,880); a record takes at most about 450 bytes here,
/// its text or data apart, so that a pack stays below 2 MB.
pub const MAX_RECORDS: usize = 4096;

/// Longest unit, in bytes; the longest that is registered has eight. RFC 8428
/// sets no limit; without one a long base unit would be repeated in each of
/// many records. Names are limited likewise, to
/// [`SenmlName::LONGEST`](crate::settings::SenmlName::LONGEST).
pub const MAX_UNIT: usize = 32;

/// Tag 55799 of RFC 8949, section 3.4.6: "what follows is CBOR".
const SELF_DESCRIBED: [u8; 3] = [0xd9, 0xd9, 0xf7];

/// Reads a pack, as JSON or CBOR by its first byte, and resolves its records;
/// they come in the order of time (see [`Time`]), those of one time in the
/// order in which they stand.
///
/// # Errors
/// When it is neither, or says something that RFC 8428 does not allow.
pub fn read(payload: &[u8]) -> Result<Vec<Record>, SenmlError> {
    let mut pack = Pack::default();
    let bytes = payload.strip_prefix(&SELF_DESCRIBED).unwrap_or(payload);
    match first_that_is_not_white(payload) {
        Some(b'[') => json::read(payload, &mut pack)?,
        _ if cbor::is_array(bytes) => cbor::read(bytes, &mut pack)?,
        first => return Err(SenmlError::Neither { first }),
    }
    pack.finish()
}

/// White space is that of JSON (RFC 8259, section 2).
fn first_that_is_not_white(payload: &[u8]) -> Option<u8> {
    payload
        .iter()
        .copied()
        .find(|byte| !matches!(byte, b' ' | b'\t' | b'\n' | b'\r'))
}

#[cfg(test)]
mod tests;
