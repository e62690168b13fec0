//! A value and its time out of a JSON document, by JSON Pointer (RFC 6901),
//! in one pass over the bytes and without building the document.

use std::borrow::Cow;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::{DecodeError, Found};
use crate::settings::{JsonPointer, TimeFormat};
use crate::units::Timestamp;

/// Finds the value, and reads its time where there is one.
pub(super) fn decode<'de>(
    payload: &'de [u8],
    value: &JsonPointer,
    time: Option<&(JsonPointer, TimeFormat)>,
) -> Result<(Found<'de>, Option<Timestamp>), DecodeError> {
    let mut found = [None, None];
    let paths = [
        Some(value.names()),
        time.map(|(pointer, _)| pointer.names()),
    ];
    let mut reader = serde_json::Deserializer::from_slice(payload);
    let not_json = |error: serde_json::Error| DecodeError::NotJson(error.to_string());
    Walk {
        paths,
        found: &mut found,
    }
    .deserialize(&mut reader)
    .map_err(not_json)?;
    reader.end().map_err(not_json)?;

    let [found_value, found_time] = found;
    let found_value = found_value.ok_or_else(|| DecodeError::NoValue {
        pointer: value.to_string(),
    })?;
    let claimed = match (time, found_time) {
        (Some((pointer, format)), Some(found)) => read_time(pointer, *format, &found)?,
        _ => None,
    };
    Ok((found_value, claimed))
}

fn read_time(
    pointer: &JsonPointer,
    format: TimeFormat,
    found: &Found<'_>,
) -> Result<Option<Timestamp>, DecodeError> {
    let refuse = |why: String| DecodeError::Time {
        pointer: pointer.to_string(),
        why,
    };
    match (format, found) {
        (_, Found::Null) => Ok(None),
        (TimeFormat::Rfc3339, Found::Text(text)) => Timestamp::parse(text)
            .map(Some)
            .map_err(|error| refuse(error.to_string())),
        (TimeFormat::UnixSeconds, Found::Number(seconds)) => from_millis(seconds * 1000.0, refuse),
        (TimeFormat::UnixMillis, Found::Number(millis)) => from_millis(*millis, refuse),
        (TimeFormat::Rfc3339, other) => {
            Err(refuse(format!("{} is not RFC 3339 text", other.kind())))
        }
        (_, other) => Err(refuse(format!("{} is not a number", other.kind()))),
    }
}

fn from_millis(
    millis: f64,
    refuse: impl Fn(String) -> DecodeError,
) -> Result<Option<Timestamp>, DecodeError> {
    let range = Timestamp::MIN.millis() as f64..=Timestamp::MAX.millis() as f64;
    if range.contains(&millis) {
        Ok(Some(Timestamp::from_millis(millis.round() as i64)))
    } else {
        Err(refuse("the number is outside the years 0 to 9999".into()))
    }
}

/// Walks down the document along up to two paths at once.
struct Walk<'a, 'f, 'de> {
    /// What is left of each path below this place; `None` for a path that
    /// leads elsewhere.
    paths: [Option<&'a [String]>; 2],
    found: &'f mut [Option<Found<'de>>; 2],
}

impl<'a, 'de> Walk<'a, '_, 'de> {
    fn note(self, what: Found<'de>) {
        for (path, found) in self.paths.iter().zip(self.found) {
            if matches!(path, Some([])) {
                *found = Some(what.clone());
            }
        }
    }

    /// What is left of each path below `name`.
    fn below(&self, name: impl Fn(&str) -> bool) -> [Option<&'a [String]>; 2] {
        self.paths.map(|path| match path {
            Some([first, rest @ ..]) if name(first) => Some(rest),
            _ => None,
        })
    }
}

impl<'de> DeserializeSeed<'de> for Walk<'_, '_, 'de> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Walk<'_, '_, 'de> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON document")
    }

    fn visit_bool<E>(self, truth: bool) -> Result<(), E> {
        self.note(Found::Bool(truth));
        Ok(())
    }

    fn visit_i64<E>(self, number: i64) -> Result<(), E> {
        self.note(Found::Number(number as f64));
        Ok(())
    }

    fn visit_u64<E>(self, number: u64) -> Result<(), E> {
        self.note(Found::Number(number as f64));
        Ok(())
    }

    fn visit_f64<E>(self, number: f64) -> Result<(), E> {
        self.note(Found::Number(number));
        Ok(())
    }

    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<(), E> {
        self.note(Found::Text(Cow::Borrowed(text)));
        Ok(())
    }

    fn visit_str<E>(self, text: &str) -> Result<(), E> {
        self.note(Found::Text(Cow::Owned(text.to_owned())));
        Ok(())
    }

    fn visit_unit<E>(self) -> Result<(), E> {
        self.note(Found::Null);
        Ok(())
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        while let Some(key) = map.next_key::<Cow<'de, str>>()? {
            let paths = self.below(|name| name == key);
            if paths.iter().any(Option::is_some) {
                map.next_value_seed(Walk {
                    paths,
                    found: &mut *self.found,
                })?;
            } else {
                map.next_value::<IgnoredAny>()?;
            }
        }
        self.note(Found::Structure);
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        for place in 0usize.. {
            let paths = self.below(|name| name.parse() == Ok(place));
            let more = if paths.iter().any(Option::is_some) {
                list.next_element_seed(Walk {
                    paths,
                    found: &mut *self.found,
                })?
                .is_some()
            } else {
                list.next_element::<IgnoredAny>()?.is_some()
            };
            if !more {
                break;
            }
        }
        self.note(Found::Structure);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Scale;
    use crate::units::Linear;
    use proptest::prelude::*;

    fn pointer(text: &str) -> JsonPointer {
        JsonPointer::parse(text).unwrap()
    }

    /// Value and time of a number in the channel's own unit.
    fn at(
        payload: &str,
        value: &str,
        time: Option<(&str, TimeFormat)>,
    ) -> Result<(f64, Option<Timestamp>), DecodeError> {
        let time = time.map(|(text, format)| (pointer(text), format));
        let pointer = pointer(value);
        let (found, claimed) = decode(payload.as_bytes(), &pointer, time.as_ref())?;
        Ok((
            found.scaled(&Scale::Line(Linear::IDENTITY), &pointer)?,
            claimed,
        ))
    }

    #[test]
    fn finds_value_and_time_wherever_they_stand() {
        let payload = r#"{"meta":{"n":[1,{"t":"2026-03-02T06:10:00Z"}]},"d":{"a/b":3.5},"x":null}"#;
        let time = Some(("/meta/n/1/t", TimeFormat::Rfc3339));
        let time_meant = Timestamp::parse("2026-03-02T06:10:00Z").unwrap();
        assert_eq!(at(payload, "/d/a~1b", time), Ok((3.5, Some(time_meant))));
        assert_eq!(at("4.5", "", None), Ok((4.5, None)));
    }

    #[test]
    fn numbers_as_times() {
        let seconds = at(
            r#"{"v":1,"t":1772431800.25}"#,
            "/v",
            Some(("/t", TimeFormat::UnixSeconds)),
        );
        assert_eq!(
            seconds.unwrap().1,
            Some(Timestamp::from_millis(1_772_431_800_250))
        );
        let millis = at(
            r#"{"v":1,"t":1772431800250}"#,
            "/v",
            Some(("/t", TimeFormat::UnixMillis)),
        );
        assert_eq!(
            millis.unwrap().1,
            Some(Timestamp::from_millis(1_772_431_800_250))
        );
        let huge = at(
            r#"{"v":1,"t":1e300}"#,
            "/v",
            Some(("/t", TimeFormat::UnixMillis)),
        );
        assert!(matches!(huge, Err(DecodeError::Time { .. })));
    }

    #[test]
    fn a_missing_or_null_time_is_no_time() {
        for payload in [r#"{"v":1}"#, r#"{"v":1,"t":null}"#] {
            let decoded = at(payload, "/v", Some(("/t", TimeFormat::Rfc3339)));
            assert_eq!(decoded, Ok((1.0, None)));
        }
    }

    #[test]
    fn refusals_say_what_stands_there() {
        assert!(matches!(at("{", "/v", None), Err(DecodeError::NotJson(_))));
        assert!(matches!(
            at(r#"{"v":1} x"#, "/v", None),
            Err(DecodeError::NotJson(_))
        ));
        assert!(matches!(
            at(r#"{"w":1}"#, "/v", None),
            Err(DecodeError::NoValue { .. })
        ));
        for (payload, kind) in [
            (r#"{"v":"3.5"}"#, "a text"),
            (r#"{"v":null}"#, "null"),
            (r#"{"v":{}}"#, "an object or a list"),
            (r#"{"v":[1]}"#, "an object or a list"),
            (r#"{"v":true}"#, "true or false"),
        ] {
            let told = at(payload, "/v", None).unwrap_err().to_string();
            assert!(told.contains(kind) && told.contains("/v"), "{told}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..128)) {
            let _ = decode(&bytes, &pointer("/a/0/b"), Some(&(pointer("/t"), TimeFormat::Rfc3339)));
        }

        #[test]
        fn agrees_with_the_document_model(x in -1e9f64..1e9, depth in 0usize..5, key in "[a-z/~]{1,4}") {
            let mut document = serde_json::json!(x);
            let mut text = String::new();
            for level in 0..depth {
                let escaped = key.replace('~', "~0").replace('/', "~1");
                if level % 2 == 0 {
                    document = serde_json::json!({ key.clone(): document, "other": [1, 2] });
                    text = format!("/{escaped}{text}");
                } else {
                    document = serde_json::json!([null, document, "x"]);
                    text = format!("/1{text}");
                }
            }
            let expected = document.pointer(&text).and_then(serde_json::Value::as_f64);
            let decoded = at(&document.to_string(), &text, None);
            prop_assert_eq!(decoded.ok().map(|(value, _)| value), expected);
        }
    }
}
