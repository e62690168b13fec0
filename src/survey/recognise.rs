//! What a message looks like.

use serde::Serialize;
use serde_json::Value;

use super::pack::{self, Pack};
use crate::settings::TimeFormat;
use crate::units::{Span, Timestamp};

/// Values of one message that are looked at; the rest are counted.
const VALUES: usize = 64;
/// Depth to which a JSON document is looked into.
const DEPTH: usize = 8;
/// Bytes that are shown of a message that is not recognised.
const SHOWN: usize = 32;
/// Names that a number is to have to be taken for a time.
const TIME_NAMES: [&str; 6] = ["time", "timestamp", "ts", "t", "at", "date"];
/// A number is taken for a time only if it lies so near to now.
const TIME_REACH: Span = Span::from_hours(24 * 366);

/// Names of fields that say the unit of the number beside them. Common practice,
/// no source.
const UNIT_NAMES: [&str; 3] = ["unit", "units", "uom"];
/// Names of fields that say how the instrument is. Common practice, no source.
const STATUS_NAMES: [&str; 2] = ["status", "quality"];
/// A text that is longer is no unit.
const LONGEST_UNIT: usize = 20;

/// What a value is.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Seen {
    /// A number.
    Number(f64),
    /// A word, or true or false.
    Word(String),
}

/// A value and where in the message it stands, as JSON Pointer.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// Where.
    pub pointer: String,
    /// What.
    pub seen: Seen,
}

/// What a message looks like.
#[derive(Debug, Clone, PartialEq)]
pub enum Look {
    /// A number and nothing else.
    Number(f64),
    /// A word and nothing else.
    Word(String),
    /// A JSON document.
    Json {
        /// The values in it.
        fields: Vec<Field>,
        /// Where its time stands, and how it is written.
        time: Option<(String, TimeFormat)>,
        /// Values beyond those that were looked at.
        more: usize,
    },
    /// Records of SenML.
    Senml(Pack),
    /// Nothing that is known; how it begins.
    Unknown(String),
}

/// What a field of a JSON document says of the number beside it, to judge by
/// its name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Beside {
    /// Its unit.
    Unit,
    /// How the instrument is.
    Status,
}

impl Field {
    /// Its name, or its place in a list.
    pub(super) fn name(&self) -> &str {
        self.pointer.rsplit('/').next().unwrap_or_default()
    }

    /// The pointer to what it stands in.
    pub(super) fn parent(&self) -> &str {
        self.pointer
            .rsplit_once('/')
            .map_or("", |(parent, _)| parent)
    }

    /// What it says of a number beside it.
    pub(super) fn beside(&self) -> Option<Beside> {
        beside(self.name())
    }
}

fn beside(name: &str) -> Option<Beside> {
    let name = name.to_lowercase();
    if UNIT_NAMES.contains(&&*name) {
        Some(Beside::Unit)
    } else {
        STATUS_NAMES.contains(&&*name).then_some(Beside::Status)
    }
}

/// Looks at a message that came at `now`.
pub fn recognise(payload: &[u8], now: Timestamp) -> Look {
    if let Some(pack) = pack::recognise(payload) {
        return Look::Senml(pack);
    }
    let Ok(text) = std::str::from_utf8(payload) else {
        return Look::Unknown(beginning(payload));
    };
    let text = text.trim();
    if let Some(number) = text.parse().ok().filter(|number: &f64| number.is_finite()) {
        return Look::Number(number);
    }
    if let Ok(document @ (Value::Object(_) | Value::Array(_))) = serde_json::from_str(text) {
        return json(&document, now);
    }
    if is_word(text) {
        return Look::Word(text.to_owned());
    }
    Look::Unknown(beginning(payload))
}

/// How a message begins: as text where it is text, else its bytes in hex.
pub(super) fn beginning(payload: &[u8]) -> String {
    let cut = &payload[..payload.len().min(SHOWN)];
    let shown = match std::str::from_utf8(cut) {
        Ok(text) if !text.chars().any(char::is_control) => format!("\"{text}\""),
        _ => cut.iter().map(|byte| format!("{byte:02x} ")).collect(),
    };
    let more = if payload.len() > SHOWN { " …" } else { "" };
    format!("{}{more} ({} bytes)", shown.trim_end(), payload.len())
}

pub(super) fn is_word(text: &str) -> bool {
    let fits = |c: char| c.is_alphanumeric() || c == '_' || c == '-';
    (1..=20).contains(&text.len()) && text.chars().all(fits)
}

/// Units have characters that words have not.
fn is_unit(text: &str, pointer: &str) -> bool {
    let name = pointer.rsplit('/').next().unwrap_or_default();
    let fits = (1..=LONGEST_UNIT).contains(&text.len()) && !text.chars().any(char::is_control);
    fits && beside(name) == Some(Beside::Unit)
}

fn json(document: &Value, now: Timestamp) -> Look {
    let mut walk = Walk {
        fields: Vec::new(),
        time: None,
        more: 0,
        now,
    };
    walk.look(document, String::new(), 0);
    Look::Json {
        fields: walk.fields,
        time: walk.time,
        more: walk.more,
    }
}

struct Walk {
    fields: Vec<Field>,
    time: Option<(String, TimeFormat)>,
    more: usize,
    now: Timestamp,
}

impl Walk {
    fn look(&mut self, value: &Value, pointer: String, depth: usize) {
        if depth > DEPTH {
            self.more += 1;
            return;
        }
        match value {
            Value::Object(members) => {
                for (name, member) in members {
                    let name = name.replace('~', "~0").replace('/', "~1");
                    self.look(member, format!("{pointer}/{name}"), depth + 1);
                }
            }
            Value::Array(items) => {
                for (place, item) in items.iter().enumerate() {
                    self.look(item, format!("{pointer}/{place}"), depth + 1);
                }
            }
            Value::Null => {}
            value => self.keep(value, pointer),
        }
    }

    fn keep(&mut self, value: &Value, pointer: String) {
        if self.time.is_none()
            && let Some(format) = self.time_format(value, &pointer)
        {
            self.time = Some((pointer, format));
            return;
        }
        let seen = match value {
            Value::Number(number) => number.as_f64().map(Seen::Number),
            Value::Bool(truth) => Some(Seen::Word(truth.to_string())),
            Value::String(text) if is_word(text) || is_unit(text, &pointer) => {
                Some(Seen::Word(text.clone()))
            }
            _ => None,
        };
        match seen {
            Some(seen) if self.fields.len() < VALUES => self.fields.push(Field { pointer, seen }),
            _ => self.more += 1,
        }
    }

    /// How a value is written that can only be a time.
    fn time_format(&self, value: &Value, pointer: &str) -> Option<TimeFormat> {
        if let Value::String(text) = value {
            return Timestamp::parse(text).ok().map(|_| TimeFormat::Rfc3339);
        }
        let name = pointer.rsplit('/').next()?.to_lowercase();
        let number = value.as_f64().filter(|_| TIME_NAMES.contains(&&*name))?;
        let near = |millis: f64| {
            let now = self.now.millis() as f64;
            (millis - now).abs() <= TIME_REACH.millis() as f64
        };
        if near(number) {
            Some(TimeFormat::UnixMillis)
        } else {
            near(number * 1000.0).then_some(TimeFormat::UnixSeconds)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn now() -> Timestamp {
        Timestamp::parse("2026-03-02T06:10:00Z").unwrap()
    }

    #[test]
    fn recognises_numbers_words_and_documents() {
        assert_eq!(recognise(b" 7.41\n", now()), Look::Number(7.41));
        assert_eq!(recognise(b"running", now()), Look::Word("running".into()));
        let unknown = |text: &str| Look::Unknown(text.to_owned());
        assert_eq!(recognise(b"\xff\x00", now()), unknown("ff 00 (2 bytes)"));
        assert_eq!(recognise(b"7,41 %", now()), unknown("\"7,41 %\" (6 bytes)"));
        let text = br#"{"a/b":[7.4,true],"ts":1772431800,"note":"see the log","at":"2026-03-02T06:10:00Z"}"#;
        let Look::Json { fields, time, more } = recognise(text, now()) else {
            panic!("it is JSON");
        };
        let shown: Vec<_> = fields.iter().map(|field| &*field.pointer).collect();
        assert_eq!(shown, ["/a~1b/0", "/a~1b/1", "/ts"]);
        assert_eq!(time, Some(("/at".into(), TimeFormat::Rfc3339)));
        assert_eq!(more, 1, "the note");
    }

    #[test]
    fn numbers_are_times_only_by_name_and_nearness() {
        let time = |text: &str| match recognise(text.as_bytes(), now()) {
            Look::Json { time, .. } => time.map(|(_, format)| format),
            _ => None,
        };
        assert_eq!(time(r#"{"ts":1772431800}"#), Some(TimeFormat::UnixSeconds));
        assert_eq!(
            time(r#"{"ts":1772431800123}"#),
            Some(TimeFormat::UnixMillis)
        );
        assert_eq!(time(r#"{"ts":12.5}"#), None);
        assert_eq!(time(r#"{"count":1772431800}"#), None);
    }

    proptest! {
        #[test]
        fn no_bytes_panic_and_all_is_bounded(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            recognise(&bytes, now());
        }

        #[test]
        fn values_are_bounded(count in 0usize..500) {
            let list: Vec<usize> = (0..count).collect();
            let text = serde_json::to_vec(&list).unwrap();
            let Look::Json { fields, more, .. } = recognise(&text, now()) else {
                return Err(TestCaseError::fail("it is JSON"));
            };
            prop_assert!(fields.len() <= VALUES);
            prop_assert_eq!(fields.len() + more, count);
        }
    }
}
