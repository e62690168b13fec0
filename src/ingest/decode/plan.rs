//! What the messages of one topic hold for its channels, read in one pass.

use super::json::{At, Pointers, read_time};
use super::senml::{self, Record, Value};
use super::{Claimed, DecodeError, Decoded, Found, number};
use crate::engine::Quality;
use crate::settings::{GoodStatus, PayloadFormat, Reports, Scale, SenmlName, TimeFormat};
use crate::units::{Quantity, Span, Timestamp};

/// Pointers of a topic that need no memory of their own a message: enough for
/// six channels with a time.
const NEAR: usize = 8;
/// Most names of a pack that a refusal repeats.
const NAMES_TOLD: usize = 5;

/// How the messages of one topic are read, for all channels that take a part of
/// them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Plan {
    parts: Vec<Part>,
    pointers: Pointers,
    has_senml: bool,
}

/// What one channel takes out of a message.
#[derive(Debug, Clone, PartialEq)]
struct Part {
    wants: Wants,
    scale: Scale,
}

#[derive(Debug, Clone, PartialEq)]
enum Wants {
    Whole,
    Json(JsonWants),
    Senml { name: SenmlName, reports: Reports },
}

#[derive(Debug, Clone, PartialEq)]
struct JsonWants {
    value: At,
    time: Option<(At, TimeFormat)>,
    unit: Option<(At, Quantity)>,
    status: Option<(At, GoodStatus)>,
}

/// What a message held for one channel: one of its readings, or why there is
/// none. Of the reasons only the first is told; readings may stand beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// Place of the channel's part in its plan.
    pub part: usize,
    /// The reading.
    pub reading: Result<Decoded, DecodeError>,
}

impl Plan {
    /// Adds what another channel takes; its place is the number of parts
    /// before it.
    pub fn add(&mut self, format: &PayloadFormat, scale: &Scale) {
        let pointers = &mut self.pointers;
        let wants = match format {
            PayloadFormat::Number => Wants::Whole,
            PayloadFormat::Json {
                value,
                time,
                unit,
                status,
            } => Wants::Json(JsonWants {
                value: pointers.add(value),
                time: time
                    .as_ref()
                    .map(|(at, format)| (pointers.add(at), *format)),
                unit: unit
                    .as_ref()
                    .map(|(at, quantity)| (pointers.add(at), *quantity)),
                status: status
                    .as_ref()
                    .map(|(at, good)| (pointers.add(at), good.clone())),
            }),
            PayloadFormat::Senml { name, reports } => {
                self.has_senml = true;
                Wants::Senml {
                    name: name.clone(),
                    reports: *reports,
                }
            }
        };
        let scale = scale.clone();
        self.parts.push(Part { wants, scale });
    }

    /// Decodes one message; what it holds is added to `out`, the readings of a
    /// pack in the order of time.
    pub fn decode(&self, payload: &[u8], out: &mut Vec<Outcome>) {
        let mut near = [const { None }; NEAR];
        let mut far = Vec::new();
        let found = match self.pointers.count() {
            count @ 0..=NEAR => &mut near[..count],
            count => {
                far.resize_with(count, || None);
                &mut far[..]
            }
        };
        let document = match found.len() {
            0 => Ok(()),
            _ => self.pointers.find(payload, found),
        };
        for (place, part) in self.parts.iter().enumerate() {
            let reading = match (&part.wants, &document) {
                (Wants::Whole, _) => whole(payload, &part.scale),
                (Wants::Json(wants), Ok(())) => wants.reading(found, &part.scale),
                (Wants::Json(_), Err(why)) => Err(why.clone()),
                (Wants::Senml { .. }, _) => continue,
            };
            let part = place;
            out.push(Outcome { part, reading });
        }
        if self.has_senml {
            self.decode_pack(payload, out);
        }
    }

    /// A pack may leave any channel out, but not all of them.
    fn decode_pack(&self, payload: &[u8], out: &mut Vec<Outcome>) {
        let refuse_all = |out: &mut Vec<Outcome>, why: &dyn Fn(&SenmlName) -> DecodeError| {
            out.extend(self.senml_parts().map(|(part, _, name, _)| Outcome {
                part,
                reading: Err(why(name)),
            }));
        };
        let before = out.len();
        match senml::read(payload) {
            Ok(records) => {
                self.read_records(&records, out);
                if out.len() == before {
                    let there = names(&records);
                    refuse_all(out, &|name| DecodeError::NoRecord {
                        wanted: name.to_string(),
                        there: there.clone(),
                    });
                }
            }
            Err(why) => refuse_all(out, &|_| why.clone().into()),
        }
    }

    /// The readings come in the order of time whatever their channel, so that
    /// none is late behind another of its own pack.
    fn read_records(&self, records: &[Record], out: &mut Vec<Outcome>) {
        let mut refusals: Vec<Outcome> = Vec::new();
        for record in records {
            let own = |&(_, _, name, _): &(_, _, &SenmlName, _)| *name == record.name;
            for (part, of, _, reports) in self.senml_parts().filter(own) {
                let reading = reading(record, reports, &of.scale);
                let is_told = || refusals.iter().any(|told| told.part == part);
                if reading.is_ok() {
                    out.push(Outcome { part, reading });
                } else if !is_told() {
                    refusals.push(Outcome { part, reading });
                }
            }
        }
        out.append(&mut refusals);
    }

    fn senml_parts(&self) -> impl Iterator<Item = (usize, &Part, &SenmlName, Reports)> {
        let parts = self.parts.iter().enumerate();
        parts.filter_map(|(place, part)| match &part.wants {
            Wants::Senml { name, reports } => Some((place, part, name, *reports)),
            Wants::Whole | Wants::Json(_) => None,
        })
    }
}

/// The message is the value.
fn whole(payload: &[u8], scale: &Scale) -> Result<Decoded, DecodeError> {
    let found = match scale {
        Scale::Line(_) => Found::Number(number::decode(payload)?),
        Scale::Words(_) => Found::Text(number::text(payload)?.into()),
    };
    Ok(Decoded {
        value: found.scaled(scale, &"the message")?,
        claimed: Claimed::None,
        quality: Quality::GOOD,
    })
}

impl JsonWants {
    fn reading(&self, found: &[Option<Found<'_>>], scale: &Scale) -> Result<Decoded, DecodeError> {
        let at = &self.value;
        let value = at.of(found).ok_or_else(|| DecodeError::NoValue {
            pointer: at.pointer.to_string(),
        })?;
        let named = self.named_unit(found)?;
        Ok(Decoded {
            value: value.scaled(named.as_ref().unwrap_or(scale), &at.pointer)?,
            claimed: self.time(found)?.map_or(Claimed::None, Claimed::At),
            quality: self.quality(found),
        })
    }

    fn time(&self, found: &[Option<Found<'_>>]) -> Result<Option<Timestamp>, DecodeError> {
        match &self.time {
            Some((at, format)) => at
                .of(found)
                .map_or(Ok(None), |time| read_time(&at.pointer, *format, time)),
            None => Ok(None),
        }
    }

    /// The scale of the unit that the message names, where it names one.
    fn named_unit(&self, found: &[Option<Found<'_>>]) -> Result<Option<Scale>, DecodeError> {
        let Some((at, quantity)) = &self.unit else {
            return Ok(None);
        };
        let refuse = |found: String| DecodeError::Unit {
            pointer: at.pointer.to_string(),
            found,
            quantity: *quantity,
            allowed: quantity.units().join(", "),
        };
        match at.of(found) {
            None | Some(Found::Null) => Ok(None),
            Some(Found::Text(unit)) => quantity
                .unit_conversion(unit)
                .map(|line| Some(Scale::Line(line)))
                .map_err(|_| refuse(format!("{:?}", shortened(unit)))),
            Some(other) => Err(refuse(other.kind().to_owned())),
        }
    }

    /// An instrument that says something other than that it is well reports a
    /// failure; one that says nothing leaves a doubt.
    fn quality(&self, found: &[Option<Found<'_>>]) -> Quality {
        let Some((at, good)) = &self.status else {
            return Quality::GOOD;
        };
        let is_good = match at.of(found) {
            None | Some(Found::Null) => return Quality::UNSURE,
            Some(Found::Text(word)) => good.has(word),
            Some(Found::Number(number)) => good.has(&number.to_string()),
            Some(Found::Bool(truth)) => good.has(if *truth { "true" } else { "false" }),
            Some(Found::Structure) => false,
        };
        if is_good {
            Quality::GOOD
        } else {
            Quality::FAULT
        }
    }
}

/// What one record of a pack says.
fn reading(record: &Record, reports: Reports, scale: &Scale) -> Result<Decoded, DecodeError> {
    let unit = record.unit.as_deref();
    let line = unit
        .map(|unit| senml::conversion(unit, reports))
        .transpose();
    let line = line.map_err(|why| DecodeError::SenmlUnit {
        name: record.name.to_string(),
        why,
    })?;
    let named = line.flatten().map(Scale::Line);
    let not_a_value = |found| {
        let place = record.name.to_string();
        Err(DecodeError::ValueKind { place, found })
    };
    let found = match &record.value {
        Some(Value::Number(number)) => Found::Number(*number),
        Some(Value::Text(text)) => Found::Text(text.into()),
        Some(Value::Boolean(truth)) => Found::Bool(*truth),
        Some(Value::Data(_)) => return not_a_value("bytes"),
        None => return not_a_value("a sum"),
    };
    let scale = named.as_ref().unwrap_or(scale);
    Ok(Decoded {
        value: found.scaled(scale, &record.name)?,
        claimed: claimed(record.time),
        quality: Quality::GOOD,
    })
}

fn claimed(time: senml::Time) -> Claimed {
    match time {
        senml::Time::NOW => Claimed::None,
        senml::Time::At(time) => Claimed::At(time),
        senml::Time::FromNow(span) => {
            let before = span.millis().saturating_neg();
            Claimed::Before(Span::from_millis(before))
        }
    }
}

/// Some of the names of a pack, for a refusal.
fn names(records: &[Record]) -> String {
    let mut names: Vec<&str> = records.iter().map(|record| record.name.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    let more = names.len() > NAMES_TOLD;
    names.truncate(NAMES_TOLD);
    let told = names.join(", ");
    if more {
        format!("{told} and others")
    } else {
        told
    }
}

fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

#[cfg(test)]
mod tests;
