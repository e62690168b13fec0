//! How the readings of a channel stand in its messages.

use super::json_pointer::JsonPointer;
use super::key_path::KeyPath;
use super::plant::{PayloadFormat, TimeFormat};
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;

/// How a value stands in a message.
#[derive(Debug, Clone, Copy)]
enum Format {
    Number,
    Json,
    /// Messages of edge nodes come on topics of their own.
    EdgeNode,
}

const SPARKPLUG: &str = "sparkplug";
const FORMATS: [(&str, Format); 3] = [
    ("number", Format::Number),
    ("json", Format::Json),
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
        }
    }
}

/// Whether the readings of a channel are those of an edge node.
pub(super) fn is_of_edge_node(raw: &RawChannel) -> bool {
    raw.payload.as_deref() == Some(SPARKPLUG)
}

/// The format of a channel's messages on a topic; the value alone unless
/// settled otherwise.
pub(super) fn format(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<PayloadFormat> {
    let word = raw.payload.as_deref().unwrap_or("number");
    match review.one_of(&at.key("payload"), word, &FORMATS)? {
        Format::EdgeNode => {
            review.tell(&at.key("payload"), Problem::OnlyFor("single channels"));
            None
        }
        Format::Number => {
            let given = [
                ("value", raw.value.is_some()),
                ("time", raw.time.is_some()),
                ("time_format", raw.time_format.is_some()),
            ];
            for (key, _) in given.iter().filter(|(_, given)| *given) {
                review.tell(&at.key(key), Problem::OnlyFor("payload = \"json\""));
            }
            Some(PayloadFormat::Number)
        }
        Format::Json => {
            let pointer = raw.value.as_deref().unwrap_or(VALUE);
            let value = review.good(&at.key("value"), JsonPointer::parse(pointer));
            let time = time(review, at, raw);
            Some(PayloadFormat::Json {
                value: value?,
                time: time?,
            })
        }
    }
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
