//! What a record says once the base fields have been applied.

use crate::settings::SenmlName;
use crate::units::{Span, Timestamp};

/// One resolved record.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Base name and name together.
    pub name: SenmlName,
    /// The unit as written, where there is one.
    pub unit: Option<String>,
    /// When it was measured.
    pub time: Time,
    /// What was measured; none where the record has a sum only.
    pub value: Option<Value>,
    /// The integral of the value over time, in the unit times seconds.
    pub sum: Option<f64>,
    /// The longest time until the next record of this name, as written: a
    /// negative one means nothing.
    pub update_time: Option<Span>,
}

/// The value of a record.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// A finite number, in the record's unit.
    Number(f64),
    /// A text.
    Text(String),
    /// True or false.
    Boolean(bool),
    /// Bytes.
    Data(Vec<u8>),
}

/// When a record was measured, to the millisecond.
///
/// In order: points in time first, then what is counted from now. Which of an
/// absolute and a relative time comes first can only be said by who knows now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Time {
    /// A point in time that the source gave.
    At(Timestamp),
    /// Counted from roughly when the message was sent, negative in the past:
    /// the source knows no time. A message that is delivered twice says it
    /// twice, of two different nows.
    FromNow(Span),
}

impl Time {
    /// The source knew no time, and took the value as it sent the message.
    pub const NOW: Time = Time::FromNow(Span::ZERO);

    /// Times in seconds from here on count from 1970, smaller ones from now
    /// (RFC 8428, section 4.5.3: 2^28, which is 1978-07-04T21:24:16Z).
    pub const FIRST_ABSOLUTE: Timestamp = Timestamp::from_millis((1 << 28) * 1000);

    /// From base time and time together, in seconds, rounded to the
    /// millisecond; none where it lies outside the years 0 to 9999.
    pub(super) fn from_seconds(seconds: f64) -> Option<Time> {
        let millis = (seconds * 1000.0).round();
        let range = Timestamp::MIN.millis() as f64..=Timestamp::MAX.millis() as f64;
        if !range.contains(&millis) {
            return None;
        }
        let millis = millis as i64;
        Some(if millis >= Time::FIRST_ABSOLUTE.millis() {
            Time::At(Timestamp::from_millis(millis))
        } else {
            Time::FromNow(Span::from_millis(millis))
        })
    }

    /// The point in time, given now.
    pub fn given(self, now: Timestamp) -> Timestamp {
        match self {
            Time::At(time) => time,
            Time::FromNow(span) => now + span,
        }
    }
}
