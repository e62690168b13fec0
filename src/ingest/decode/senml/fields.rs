//! The fields of one record as they were read, whatever the encoding.

use std::borrow::Cow;

use super::error::SenmlError;
use super::label::{Kind, Label};

/// What stands in a field.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Plain<'p> {
    Number(f64),
    Text(Cow<'p, str>),
    Boolean(bool),
    Data(Cow<'p, [u8]>),
    /// Something that no field may hold, in words.
    Other(&'static str),
}

impl Plain<'_> {
    fn kind(&self) -> Result<Kind, &'static str> {
        match self {
            Plain::Number(_) => Ok(Kind::Number),
            Plain::Text(_) => Ok(Kind::Text),
            Plain::Boolean(_) => Ok(Kind::Boolean),
            Plain::Data(_) => Ok(Kind::Data),
            Plain::Other(what) => Err(what),
        }
    }
}

/// What a label asks of who reads it: RFC 8428, section 4.4.
pub(super) fn meaning(name: &str, record: usize) -> Result<Option<Label>, SenmlError> {
    match Label::named(name) {
        None if name.ends_with('_') => Err(SenmlError::must_understand(record, name)),
        label => Ok(label),
    }
}

/// The fields of one record; each holds what its label allows.
#[derive(Debug, Default)]
pub(super) struct Fields<'p> {
    found: [Option<Plain<'p>>; Label::COUNT],
}

impl<'p> Fields<'p> {
    /// Takes a field in.
    pub(super) fn put(
        &mut self,
        record: usize,
        label: Label,
        what: Plain<'p>,
    ) -> Result<(), SenmlError> {
        let kind = what.kind();
        if kind != Ok(label.kind()) {
            return Err(SenmlError::WrongKind {
                record,
                label: label.name(),
                found: kind.map_or_else(|what| what, Kind::name),
                allowed: label.kind().name(),
            });
        }
        if matches!(what, Plain::Number(number) if !number.is_finite()) {
            return Err(SenmlError::NotFinite {
                record,
                label: label.name(),
            });
        }
        let place = &mut self.found[label as usize];
        if place.replace(what).is_some() {
            return Err(SenmlError::Twice {
                record,
                label: label.name(),
            });
        }
        Ok(())
    }

    pub(super) fn has(&self, label: Label) -> bool {
        self.found[label as usize].is_some()
    }

    pub(super) fn number(&self, label: Label) -> Option<f64> {
        match self.found[label as usize] {
            Some(Plain::Number(number)) => Some(number),
            _ => None,
        }
    }

    pub(super) fn text(&self, label: Label) -> Option<&str> {
        match &self.found[label as usize] {
            Some(Plain::Text(text)) => Some(text),
            _ => None,
        }
    }

    /// Takes the field out.
    pub(super) fn take(&mut self, label: Label) -> Option<Plain<'p>> {
        self.found[label as usize].take()
    }
}
