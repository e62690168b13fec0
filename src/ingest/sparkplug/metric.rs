//! One metric of a payload (chapter 6.4.6).

use crate::units::Timestamp;

use super::payload::PayloadError;
use super::value::{Carried, DataType, Value, ValueError};
use super::wire::{Fields, Raw};

/// The property that says how good a value is (chapter 6.4.9.1).
const QUALITY: &[u8] = b"Quality";

/// What a node says about a value; good where it says nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum MetricQuality {
    /// 192, or nothing said.
    #[default]
    Good,
    /// 0, and whatever the standard does not know.
    Bad,
    /// 500: it was so once, and may no longer be.
    Stale,
}

/// A metric as it stands in a message.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Metric<'a> {
    /// Its name; an empty one counts as none.
    pub name: Option<&'a str>,
    /// The number that stands for its name.
    pub alias: Option<u64>,
    /// When the value was taken.
    pub time: Option<Timestamp>,
    /// Whether the value is of the past, sent later.
    pub historical: bool,
    /// What the node says about the value.
    pub quality: MetricQuality,
    /// What the value is to be read as; data mostly leave it to the birth.
    pub datatype: Option<DataType>,
    /// The value; `None` where the node says that there is none.
    pub(super) value: Option<Carried>,
}

/// Numbers of the fields, after the definition in chapter 6.4.1.
pub(super) mod field {
    pub(in super::super) const NAME: u32 = 1;
    pub(in super::super) const ALIAS: u32 = 2;
    pub(in super::super) const TIMESTAMP: u32 = 3;
    pub(in super::super) const DATATYPE: u32 = 4;
    pub(in super::super) const IS_HISTORICAL: u32 = 5;
    pub(in super::super) const IS_TRANSIENT: u32 = 6;
    pub(in super::super) const IS_NULL: u32 = 7;
    pub(in super::super) const METADATA: u32 = 8;
    pub(in super::super) const PROPERTIES: u32 = 9;
    pub(in super::super) const INT: u32 = 10;
    pub(in super::super) const LONG: u32 = 11;
    pub(in super::super) const FLOAT: u32 = 12;
    pub(in super::super) const DOUBLE: u32 = 13;
    pub(in super::super) const BOOLEAN: u32 = 14;
    pub(in super::super) const STRING: u32 = 15;
    pub(in super::super) const BYTES: u32 = 16;
    pub(in super::super) const DATASET: u32 = 17;
    pub(in super::super) const TEMPLATE: u32 = 18;
    pub(in super::super) const EXTENSION: u32 = 19;
}

impl<'a> Metric<'a> {
    /// The value, read as `datatype` says; `None` where there is none.
    ///
    /// # Errors
    /// When it is not a number or a truth value, or does not fit.
    pub fn reading(&self, datatype: Option<DataType>) -> Option<Result<Value, ValueError>> {
        self.value.map(|value| value.read(datatype))
    }

    /// Reads one metric. The flag `is_transient` is not heeded: a channel that
    /// names a metric wants it kept.
    pub(super) fn parse(message: &'a [u8]) -> Result<Self, PayloadError> {
        let mut metric = Metric::default();
        let mut null = false;
        for field in Fields::of(message) {
            match field? {
                (field::NAME, Raw::Bytes(name)) => metric.name = text(name)?,
                (field::ALIAS, Raw::Varint(alias)) => metric.alias = Some(alias),
                (field::TIMESTAMP, Raw::Varint(millis)) => metric.time = Some(time(millis)),
                (field::DATATYPE, Raw::Varint(code)) => {
                    metric.datatype = u32::try_from(code).ok().and_then(DataType::from_code);
                }
                (field::IS_HISTORICAL, Raw::Varint(flag)) => metric.historical = flag != 0,
                (field::IS_NULL, Raw::Varint(flag)) => null = flag != 0,
                (field::PROPERTIES, Raw::Bytes(set)) => metric.quality = quality(set)?,
                (number @ field::INT..=field::EXTENSION, raw) => {
                    metric.value = Some(carried(number, raw)?);
                }
                (field::IS_TRANSIENT | field::METADATA, _) => {}
                (number @ field::NAME..=field::PROPERTIES, _) => {
                    return Err(PayloadError::Field(number));
                }
                _ => {}
            }
        }
        if null {
            metric.value = None;
        }
        Ok(metric)
    }
}

fn carried(number: u32, raw: Raw<'_>) -> Result<Carried, PayloadError> {
    Ok(match (number, raw) {
        // proto2 readers keep the low 32 bits of a longer number.
        (field::INT, Raw::Varint(value)) => Carried::Int(value as u32),
        (field::LONG, Raw::Varint(value)) => Carried::Long(value),
        (field::FLOAT, Raw::Four(bytes)) => Carried::Float(f32::from_le_bytes(bytes)),
        (field::DOUBLE, Raw::Eight(bytes)) => Carried::Double(f64::from_le_bytes(bytes)),
        (field::BOOLEAN, Raw::Varint(value)) => Carried::Flag(value != 0),
        (field::STRING, Raw::Bytes(_)) => Carried::Other("a text"),
        (field::BYTES, Raw::Bytes(_)) => Carried::Other("bytes"),
        (field::DATASET, Raw::Bytes(_)) => Carried::Other("a data set"),
        (field::TEMPLATE, Raw::Bytes(_)) => Carried::Other("a template"),
        (field::EXTENSION, Raw::Bytes(_)) => Carried::Other("an extension of the standard"),
        _ => return Err(PayloadError::Field(number)),
    })
}

fn text(bytes: &[u8]) -> Result<Option<&str>, PayloadError> {
    let name = std::str::from_utf8(bytes).map_err(|_| PayloadError::NotText)?;
    Ok(Some(name).filter(|name| !name.is_empty()))
}

/// Milliseconds since 1970 as a point in time; what is beyond it becomes the
/// last one.
pub(super) fn time(millis: u64) -> Timestamp {
    let millis = i64::try_from(millis).unwrap_or(i64::MAX);
    Timestamp::from_millis(millis).min(Timestamp::MAX)
}

/// The quality in a set of properties: keys in field 1, values in field 2, as
/// many of the one as of the other.
fn quality(set: &[u8]) -> Result<MetricQuality, PayloadError> {
    let (mut keys, mut values, mut place) = (0, 0, None);
    for field in Fields::of(set) {
        match field? {
            (1, Raw::Bytes(key)) => {
                if key == QUALITY && place.is_none() {
                    place = Some(keys);
                }
                keys += 1;
            }
            (2, Raw::Bytes(_)) => values += 1,
            _ => {}
        }
    }
    if keys != values {
        return Err(PayloadError::Properties { keys, values });
    }
    let Some(place) = place else {
        return Ok(MetricQuality::Good);
    };
    let mut values = Fields::of(set).filter_map(|field| match field {
        Ok((2, Raw::Bytes(value))) => Some(value),
        _ => None,
    });
    values
        .nth(place)
        .map_or(Ok(MetricQuality::Good), quality_code)
}

/// The value of the property: an Int32 in `int_value` (field 3); without a
/// value (field 2) it says nothing.
fn quality_code(property: &[u8]) -> Result<MetricQuality, PayloadError> {
    let (mut null, mut code) = (false, None);
    for field in Fields::of(property) {
        match field? {
            (2, Raw::Varint(flag)) => null = flag != 0,
            (3, Raw::Varint(value)) => code = Some(value),
            (4..=11, _) => return Err(PayloadError::QualityKind),
            _ => {}
        }
    }
    Ok(match code {
        _ if null => MetricQuality::Good,
        None | Some(192) => MetricQuality::Good,
        Some(500) => MetricQuality::Stale,
        Some(_) => MetricQuality::Bad,
    })
}
