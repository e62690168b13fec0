//! The base fields applied: RFC 8428, sections 4.1 to 4.6.

use super::error::SenmlError;
use super::fields::{Fields, Plain};
use super::label::Label;
use super::record::{Record, Time, Value};
use super::{MAX_RECORDS, MAX_UNIT};
use crate::settings::{SenmlName, SenmlNameError};
use crate::units::Span;

/// The version that RFC 8428 describes, and that a pack has without saying so.
const VERSION: f64 = 10.0;
/// Version 10 with units of RFC 8798 allowed besides (RFC 9100, section 4).
const VERSION_WITH_SECONDARY_UNITS: f64 = 26.0;

/// A pack while it is read.
#[derive(Debug, Default)]
pub(super) struct Pack {
    bases: Bases,
    /// The version of the first record, once it has been read.
    version: Option<f64>,
    records: Vec<Record>,
    begun: usize,
}

/// The base fields that apply to the next record, unless it sets them anew.
#[derive(Debug, Default)]
struct Bases {
    name: String,
    time: f64,
    unit: String,
    value: f64,
    sum: Option<f64>,
    version: Option<f64>,
}

impl Pack {
    /// The number of the record that is being read, counted from 1 as in
    /// RFC 8428, section 9.
    pub(super) fn record(&self) -> usize {
        self.begun
    }

    /// Another record begins.
    pub(super) fn begin(&mut self) -> Result<usize, SenmlError> {
        if self.begun == MAX_RECORDS {
            return Err(SenmlError::TooMany);
        }
        self.begun += 1;
        Ok(self.begun)
    }

    /// The record that began last is complete.
    pub(super) fn end(&mut self, mut fields: Fields<'_>) -> Result<(), SenmlError> {
        self.bases.update(&fields, self.begun)?;
        self.check_version()?;
        // An example of section 5.1.7 has one that only sets base fields.
        if Label::REGULAR.iter().any(|&label| fields.has(label)) {
            let record = self.bases.resolve(&mut fields, self.begun)?;
            self.records.push(record);
        }
        Ok(())
    }

    /// The records in the order of time.
    pub(super) fn finish(mut self) -> Result<Vec<Record>, SenmlError> {
        if self.records.is_empty() {
            return Err(SenmlError::Empty);
        }
        self.records.sort_by_key(|record| record.time);
        Ok(self.records)
    }

    /// Section 4.4: all records have one version, and it is understood.
    fn check_version(&mut self) -> Result<(), SenmlError> {
        let record = self.begun;
        let found = self.bases.version.unwrap_or(VERSION);
        if found < 1.0 || found.fract() != 0.0 {
            return Err(SenmlError::NoVersion { record, found });
        }
        if found > VERSION && found != VERSION_WITH_SECONDARY_UNITS {
            return Err(SenmlError::NewerVersion { record, found });
        }
        match self.version.replace(found) {
            Some(first) if first != found => Err(SenmlError::TwoVersions {
                record,
                found,
                first,
            }),
            _ => Ok(()),
        }
    }
}

impl Bases {
    fn update(&mut self, fields: &Fields<'_>, record: usize) -> Result<(), SenmlError> {
        if let Some(name) = fields.text(Label::BaseName) {
            if name.len() > SenmlName::LONGEST {
                let why = SenmlNameError::TooLong(name.len());
                return Err(SenmlError::Name { record, why });
            }
            name.clone_into(&mut self.name);
        }
        if let Some(unit) = fields.text(Label::BaseUnit) {
            within_unit(unit, record)?.clone_into(&mut self.unit);
        }
        let number = |label, kept| fields.number(label).unwrap_or(kept);
        self.time = number(Label::BaseTime, self.time);
        self.value = number(Label::BaseValue, self.value);
        self.sum = fields.number(Label::BaseSum).or(self.sum);
        self.version = fields.number(Label::BaseVersion).or(self.version);
        Ok(())
    }

    fn resolve(&self, fields: &mut Fields<'_>, record: usize) -> Result<Record, SenmlError> {
        let sum = self.sum(fields, record)?;
        let value = self.value(fields, record)?;
        if value.is_none() && sum.is_none() {
            return Err(SenmlError::NoValue { record });
        }
        Ok(Record {
            name: self.name(fields, record)?,
            unit: self.unit(fields, record)?,
            time: self.time(fields, record)?,
            value,
            sum,
            update_time: fields.number(Label::UpdateTime).map(span),
        })
    }

    /// Section 4.5.1.
    fn name(&self, fields: &Fields<'_>, record: usize) -> Result<SenmlName, SenmlError> {
        let own = fields.text(Label::Name).unwrap_or_default();
        SenmlName::new(&self.name, own).map_err(|why| SenmlError::Name { record, why })
    }

    /// Section 4.5.2. An empty unit says that there is none.
    fn unit(&self, fields: &Fields<'_>, record: usize) -> Result<Option<String>, SenmlError> {
        let unit = match fields.text(Label::Unit) {
            Some(own) => within_unit(own, record)?,
            None => &self.unit,
        };
        Ok((!unit.is_empty()).then(|| unit.to_owned()))
    }

    /// Section 4.5.3.
    fn time(&self, fields: &Fields<'_>, record: usize) -> Result<Time, SenmlError> {
        let seconds = self.time + fields.number(Label::Time).unwrap_or(0.0);
        Time::from_seconds(seconds).ok_or(SenmlError::Time { record, seconds })
    }

    /// Sections 4.2 and 4.5.4. A base value alone is no value: it is what the
    /// values of the records are counted from.
    fn value(&self, fields: &mut Fields<'_>, record: usize) -> Result<Option<Value>, SenmlError> {
        let mut given = Label::VALUES.into_iter().filter(|&l| fields.has(l));
        let (first, second) = (given.next(), given.next());
        if let (Some(first), Some(second)) = (first, second) {
            return Err(SenmlError::TwoValues {
                record,
                labels: [first.name(), second.name()],
            });
        }
        Ok(match first.and_then(|label| fields.take(label)) {
            Some(Plain::Number(number)) => {
                let number = finite(self.value + number, record, Label::Value)?;
                Some(Value::Number(number))
            }
            Some(Plain::Text(text)) => Some(Value::Text(text.into_owned())),
            Some(Plain::Boolean(boolean)) => Some(Value::Boolean(boolean)),
            Some(Plain::Data(data)) => Some(Value::Data(data.into_owned())),
            Some(Plain::Other(_)) | None => None,
        })
    }

    /// Section 4.5.4.
    fn sum(&self, fields: &Fields<'_>, record: usize) -> Result<Option<f64>, SenmlError> {
        match (self.sum, fields.number(Label::Sum)) {
            (None, None) => Ok(None),
            (base, own) => {
                let sum = base.unwrap_or(0.0) + own.unwrap_or(0.0);
                finite(sum, record, Label::Sum).map(Some)
            }
        }
    }
}

fn within_unit(unit: &str, record: usize) -> Result<&str, SenmlError> {
    if unit.len() > MAX_UNIT {
        return Err(SenmlError::UnitTooLong {
            record,
            length: unit.len(),
        });
    }
    Ok(unit)
}

fn finite(number: f64, record: usize, label: Label) -> Result<f64, SenmlError> {
    if number.is_finite() {
        Ok(number)
    } else {
        Err(SenmlError::NotFinite {
            record,
            label: label.name(),
        })
    }
}

/// Seconds to a span, held at the longest where it is beyond.
fn span(seconds: f64) -> Span {
    Span::from_millis((seconds * 1000.0).round() as i64)
}
