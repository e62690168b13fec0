//! How the readings of a channel stand in its messages.

use crate::units::Quantity;

use super::json_pointer::JsonPointer;
use super::key_path::KeyPath;
use super::message::{GoodStatus, Reports};
use super::plant::{PayloadFormat, TimeFormat};
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;
use super::senml_name::SenmlName;
use super::written::Written;

/// How a value stands in a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Format {
    Number,
    Json,
    Senml,
    /// Messages of edge nodes come on topics of their own.
    EdgeNode,
}

const SPARKPLUG: &str = "sparkplug";
const FORMATS: [(&str, Format); 4] = [
    ("number", Format::Number),
    ("json", Format::Json),
    ("senml", Format::Senml),
    (SPARKPLUG, Format::EdgeNode),
];
const TIME_FORMATS: [(&str, TimeFormat); 3] = [
    ("rfc3339", TimeFormat::Rfc3339),
    ("unix_seconds", TimeFormat::UnixSeconds),
    ("unix_millis", TimeFormat::UnixMillis),
];
/// Where the number stands in a JSON message unless settled otherwise.
const VALUE: &str = "/value";

impl PayloadFormat {
    /// The part of a message that is read, where it is not the whole.
    pub(super) fn part(&self) -> Option<String> {
        match self {
            PayloadFormat::Number => None,
            PayloadFormat::Json { value, .. } => Some(value.to_string()),
            PayloadFormat::Senml { name, .. } => Some(name.to_string()),
        }
    }
}

/// Whether the readings of a channel are those of an edge node.
pub(super) fn is_of_edge_node(raw: &RawChannel) -> bool {
    raw.payload.as_deref() == Some(SPARKPLUG)
}

/// The format of a channel's messages on a topic; the value alone unless
/// settled otherwise.
pub(super) fn format(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Option<Quantity>,
) -> Option<PayloadFormat> {
    let word = raw.payload.as_deref().unwrap_or("number");
    let format = review.one_of(&at.key("payload"), word, &FORMATS)?;
    tell_keys_of_others(review, at, raw, format);
    match format {
        Format::Number => Some(PayloadFormat::Number),
        Format::Json => json(review, at, raw, quantity),
        Format::Senml => senml(review, at, raw, quantity),
        Format::EdgeNode => {
            review.tell(&at.key("payload"), Problem::OnlyFor("single channels"));
            None
        }
    }
}

fn tell_keys_of_others(review: &mut Review, at: &KeyPath, raw: &RawChannel, format: Format) {
    let of_json = [
        ("value", raw.value.is_some()),
        ("time", raw.time.is_some()),
        ("time_format", raw.time_format.is_some()),
        ("unit_from", raw.unit_from.is_some()),
        ("status", raw.status.is_some()),
        ("status_good", raw.status_good.is_some()),
    ];
    for (key, given) in of_json {
        if given && format != Format::Json {
            review.tell(&at.key(key), Problem::OnlyFor("payload = \"json\""));
        }
    }
    if raw.name.is_some() && format != Format::Senml {
        review.tell(&at.key("name"), Problem::OnlyFor("payload = \"senml\""));
    }
}

fn json(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Option<Quantity>,
) -> Option<PayloadFormat> {
    let pointer = raw.value.as_deref().unwrap_or(VALUE);
    let value = review.good(&at.key("value"), JsonPointer::parse(pointer));
    let time = time(review, at, raw);
    let unit = unit(review, at, raw, quantity);
    let status = status(review, at, raw);
    Some(PayloadFormat::Json {
        value: value?,
        time: time?,
        unit: unit?,
        status: status?,
    })
}

fn time(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
) -> Option<Option<(JsonPointer, TimeFormat)>> {
    let path = at.key("time_format");
    let format = match raw.time_format.as_deref() {
        None => Some(TimeFormat::Rfc3339),
        Some(word) => review.one_of(&path, word, &TIME_FORMATS),
    };
    let Some(pointer) = raw.time.as_deref() else {
        if raw.time_format.is_some() {
            review.tell(&path, Problem::OnlyFor("messages with time = \"/…\""));
        }
        return Some(None);
    };
    let pointer = review.good(&at.key("time"), JsonPointer::parse(pointer));
    Some(Some((pointer?, format?)))
}

/// Where the message names its own unit.
fn unit(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Option<Quantity>,
) -> Option<Option<(JsonPointer, Quantity)>> {
    let Some(pointer) = raw.unit_from.as_deref() else {
        return Some(None);
    };
    let path = at.key("unit_from");
    let without_unit = match quantity? {
        Quantity::State => Some("quantities with a unit, which a state has not"),
        _ if raw.per_pulse.is_some() => {
            Some("channels without per_pulse; with it the number counts pulses")
        }
        _ => None,
    };
    if let Some(others) = without_unit {
        review.tell(&path, Problem::OnlyFor(others));
        return None;
    }
    let pointer = review.good(&path, JsonPointer::parse(pointer));
    Some(Some((pointer?, quantity?)))
}

/// Where the message says how the instrument is.
fn status(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
) -> Option<Option<(JsonPointer, GoodStatus)>> {
    let path = at.key("status_good");
    let Some(pointer) = raw.status.as_deref() else {
        if raw.status_good.is_some() {
            review.tell(&path, Problem::OnlyFor("messages with status = \"/…\""));
        }
        return Some(None);
    };
    let pointer = review.good(&at.key("status"), JsonPointer::parse(pointer));
    let example = "status_good = [\"ok\", 0], what an instrument says that is well";
    let words = review.required(&path, raw.status_good.as_deref(), example)?;
    if words.is_empty() {
        let (wanted, found) = ("one word or more", 0);
        review.tell(&path, Problem::Length { wanted, found });
        return None;
    }
    let good = GoodStatus::new(words.iter().map(Written::text));
    Some(Some((pointer?, good)))
}

fn senml(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    quantity: Option<Quantity>,
) -> Option<PayloadFormat> {
    let path = at.key("name");
    let example = "name = \"urn:dev:ow:10e2073a01080063:brix\", base name and name of its records";
    let name = review.required(&path, raw.name.as_deref(), example)?;
    let name = review.good(&path, SenmlName::new("", name));
    let reports = match raw.per_pulse {
        Some(_) => Reports::Pulses,
        None => Reports::Quantity(quantity?),
    };
    Some(PayloadFormat::Senml {
        name: name?,
        reports,
    })
}
