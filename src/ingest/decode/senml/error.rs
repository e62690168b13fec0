//! Why a message is not a pack.

use std::fmt;

use super::{MAX_RECORDS, MAX_UNIT};
use crate::settings::SenmlNameError;

/// The longest piece of a wrong text that a message repeats, in characters.
const SHOWN: usize = 40;

/// Why a message is not a pack of SenML. Records are counted from 1.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SenmlError {
    /// Neither JSON nor CBOR.
    #[error(
        "the message is not SenML: it {}; SenML begins with '[' as JSON, or with the head of an array as CBOR",
        begins(.first)
    )]
    Neither {
        /// The first byte that is not white space.
        first: Option<u8>,
    },
    /// Begins as JSON, and is none, or no list of objects.
    #[error("the message is not SenML as JSON: {why} (record {record}); mend the sender")]
    Json {
        /// The record that was read last.
        record: usize,
        /// What is wrong, and where.
        why: String,
    },
    /// Begins as CBOR, and is none.
    #[error(
        "the message is not SenML as CBOR: {fault} (byte {at}, record {record}); mend the sender, or look for a message cut short"
    )]
    Cbor {
        /// The record that was read last.
        record: usize,
        /// The byte after which nothing could be read, counted from 0.
        at: usize,
        /// What is wrong.
        fault: CborFault,
    },
    /// Something else stands where a record should.
    #[error("record {record} is {found}, not a map of fields; mend the sender")]
    NotARecord {
        /// The record.
        record: usize,
        /// What stands there.
        found: &'static str,
    },
    /// A label that is neither a text nor an integer.
    #[error(
        "in record {record} {found} stands as a label; labels are integers or texts (RFC 8428, section 6)"
    )]
    NotALabel {
        /// The record.
        record: usize,
        /// What stands there.
        found: &'static str,
    },
    /// No record says anything.
    #[error("the pack holds no record with a value; send one at least, or send nothing")]
    Empty,
    /// More records than are taken.
    #[error("the pack holds more than {MAX_RECORDS} records; send them in several messages")]
    TooMany,
    /// A field that must be understood, and is not.
    #[error(
        "record {record} has the field {label:?}, which must be understood (it ends in \"_\") and is not known here; let the sender leave it out"
    )]
    MustUnderstand {
        /// The record.
        record: usize,
        /// The label, shortened when it is long.
        label: String,
    },
    /// A field of the wrong kind.
    #[error("\"{label}\" of record {record} is {found}; it must be {allowed}")]
    WrongKind {
        /// The record.
        record: usize,
        /// The label.
        label: &'static str,
        /// What stands there.
        found: &'static str,
        /// What should.
        allowed: &'static str,
    },
    /// A field given twice.
    #[error("\"{label}\" stands twice in record {record}; which one holds cannot be said")]
    Twice {
        /// The record.
        record: usize,
        /// The label.
        label: &'static str,
    },
    /// A number that is none, or too large.
    #[error(
        "\"{label}\" of record {record}, its base added, is not a finite number; a value that could not be measured is left out, not sent as NaN"
    )]
    NotFinite {
        /// The record.
        record: usize,
        /// The label.
        label: &'static str,
    },
    /// A version that is not a positive integer.
    #[error(
        "the version of record {record} is {found}; \"bver\" is a positive integer, 10 when left out"
    )]
    NoVersion {
        /// The record.
        record: usize,
        /// What was found.
        found: f64,
    },
    /// A later version than is understood.
    #[error(
        "the version of record {record} is {found}; 1 to 10 (RFC 8428) and 26 (RFC 9100) are understood; set the sender to one of them"
    )]
    NewerVersion {
        /// The record.
        record: usize,
        /// What was found.
        found: f64,
    },
    /// Records of different versions.
    #[error(
        "the version of record {record} is {found} and that of the first record {first}; a pack has one version: set \"bver\" in the first record"
    )]
    TwoVersions {
        /// The record.
        record: usize,
        /// Its version.
        found: f64,
        /// The version of the first record.
        first: f64,
    },
    /// Base name and name make no name.
    #[error("record {record}: {why}; mend \"bn\" and \"n\" of the sender")]
    Name {
        /// The record.
        record: usize,
        /// Why.
        why: SenmlNameError,
    },
    /// A unit longer than is taken.
    #[error("the unit of record {record} has {length} bytes; at most {MAX_UNIT} are taken")]
    UnitTooLong {
        /// The record.
        record: usize,
        /// Its length in bytes.
        length: usize,
    },
    /// Neither a value nor a sum.
    #[error(
        "record {record} has no value; exactly one of \"v\", \"vs\", \"vb\" and \"vd\" is needed, or a sum \"s\""
    )]
    NoValue {
        /// The record.
        record: usize,
    },
    /// More than one value.
    #[error(
        "record {record} has both \"{}\" and \"{}\"; a record has one value: send two records",
        labels[0],
        labels[1]
    )]
    TwoValues {
        /// The record.
        record: usize,
        /// The first two of its values.
        labels: [&'static str; 2],
    },
    /// A time outside the calendar.
    #[error(
        "the time of record {record} is {seconds} s, \"bt\" added: outside the years 0 to 9999; times are seconds, not milliseconds"
    )]
    Time {
        /// The record.
        record: usize,
        /// Base time and time together.
        seconds: f64,
    },
    /// Data that is not base64url.
    #[error(
        "\"vd\" of record {record} is not base64 with the URL-safe alphabet and without padding (RFC 8428, section 5)"
    )]
    Base64 {
        /// The record.
        record: usize,
    },
}

/// What is wrong with CBOR (RFC 8949).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CborFault {
    /// The message ends within an item.
    CutShort,
    /// Something follows after the pack.
    Trailing,
    /// A head that RFC 8949 reserves.
    Reserved,
    /// A break where none may be.
    Break,
    /// A text that is not UTF-8.
    NotUtf8,
    /// A part of a text or byte string that is none.
    Chunk,
    /// A decimal fraction that is not two integers.
    Decimal,
    /// Items within items, deeper than is read.
    Deep,
}

impl fmt::Display for CborFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            CborFault::CutShort => "it ends within an item",
            CborFault::Trailing => "something follows after the pack",
            CborFault::Reserved => "an item begins with a byte that has no meaning",
            CborFault::Break => "a break stands where an item should",
            CborFault::NotUtf8 => "a text is not UTF-8",
            CborFault::Chunk => "a string of indefinite length has a part that is no such string",
            CborFault::Decimal => "a decimal fraction is not an exponent and a mantissa",
            CborFault::Deep => "items are nested too deeply",
        })
    }
}

impl SenmlError {
    pub(super) fn must_understand(record: usize, label: &str) -> Self {
        SenmlError::MustUnderstand {
            record,
            label: label.chars().take(SHOWN).collect(),
        }
    }
}

fn begins(first: &Option<u8>) -> String {
    match first {
        None => "is empty".to_owned(),
        Some(byte) if byte.is_ascii_graphic() => {
            format!("begins with '{}'", char::from(*byte))
        }
        Some(byte) => format!("begins with byte 0x{byte:02x}"),
    }
}
