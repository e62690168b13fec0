//! Messages as nodes write them.

use crate::ingest::sparkplug::metric::field as metric;
use crate::ingest::sparkplug::payload::field as payload;
use crate::ingest::sparkplug::wire::{Raw, Writer};

/// A metric to be written.
#[derive(Debug, Clone, Default)]
pub(super) struct Said {
    pub(super) name: Option<String>,
    pub(super) alias: Option<u64>,
    pub(super) millis: Option<u64>,
    pub(super) datatype: Option<u32>,
    pub(super) historical: bool,
    pub(super) quality: Option<u64>,
    /// None is written as null.
    pub(super) value: Option<f64>,
}

/// A metric with its name and a value of datatype Double.
pub(super) fn named(name: &str, value: f64) -> Said {
    Said {
        name: Some(name.to_owned()),
        datatype: Some(10),
        value: Some(value),
        ..Said::default()
    }
}

/// A metric by its alias, as in data.
pub(super) fn aliased(alias: u64, value: f64) -> Said {
    Said {
        alias: Some(alias),
        value: Some(value),
        ..Said::default()
    }
}

impl Said {
    pub(super) fn alias(self, alias: u64) -> Said {
        let alias = Some(alias);
        Said { alias, ..self }
    }

    pub(super) fn at(self, millis: u64) -> Said {
        let millis = Some(millis);
        Said { millis, ..self }
    }

    pub(super) fn null(self) -> Said {
        Said {
            value: None,
            ..self
        }
    }

    pub(super) fn quality(self, code: u64) -> Said {
        let quality = Some(code);
        Said { quality, ..self }
    }

    pub(super) fn historical(self) -> Said {
        Said {
            historical: true,
            ..self
        }
    }

    pub(super) fn bytes(&self) -> Vec<u8> {
        let mut out = Writer::default();
        if let Some(name) = &self.name {
            out.put(metric::NAME, Raw::Bytes(name.as_bytes()));
        }
        let numbers = [
            (metric::ALIAS, self.alias),
            (metric::TIMESTAMP, self.millis),
            (metric::DATATYPE, self.datatype.map(u64::from)),
            (metric::IS_HISTORICAL, self.historical.then_some(1)),
            (metric::IS_NULL, self.value.is_none().then_some(1)),
        ];
        for (field, number) in numbers {
            if let Some(number) = number {
                out.put(field, Raw::Varint(number));
            }
        }
        if let Some(code) = self.quality {
            let value = Writer::default()
                .put(1, Raw::Varint(3))
                .put(3, Raw::Varint(code))
                .finish();
            let set = Writer::default()
                .put(1, Raw::Bytes(b"Quality"))
                .put(2, Raw::Bytes(&value))
                .finish();
            out.put(metric::PROPERTIES, Raw::Bytes(&set));
        }
        if let Some(value) = self.value {
            out.put(metric::DOUBLE, Raw::Eight(value.to_le_bytes()));
        }
        out.finish()
    }
}

/// The metric that connects births with deaths.
pub(super) fn bd_seq(number: u64) -> Vec<u8> {
    Writer::default()
        .put(metric::NAME, Raw::Bytes(b"bdSeq"))
        .put(metric::DATATYPE, Raw::Varint(4))
        .put(metric::LONG, Raw::Varint(number))
        .finish()
}

/// A payload of metrics that are written already.
pub(super) fn payload(millis: Option<u64>, seq: Option<u64>, metrics: &[Vec<u8>]) -> Vec<u8> {
    let mut out = Writer::default();
    if let Some(millis) = millis {
        out.put(payload::TIMESTAMP, Raw::Varint(millis));
    }
    for metric in metrics {
        out.put(payload::METRICS, Raw::Bytes(metric));
    }
    if let Some(seq) = seq {
        out.put(payload::SEQ, Raw::Varint(seq));
    }
    out.finish()
}
