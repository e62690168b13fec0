//! What stands in a JSON document where JSON Pointers (RFC 6901) lead, in one
//! pass over the bytes, however many there are, and without building the
//! document.

use std::borrow::Cow;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::{DecodeError, Found};
use crate::settings::{JsonPointer, TimeFormat};
use crate::units::Timestamp;

/// Every pointer into the messages of one topic.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Pointers {
    root: Node,
    count: usize,
}

/// A pointer, and the place at which [`Pointers::find`] puts what stands there.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct At {
    /// The pointer.
    pub(super) pointer: JsonPointer,
    slot: usize,
}

/// One place in the document.
#[derive(Debug, Clone, PartialEq, Default)]
struct Node {
    /// Where what stands here is put.
    slot: Option<usize>,
    below: Vec<Branch>,
}

#[derive(Debug, Clone, PartialEq)]
struct Branch {
    name: String,
    /// The name as a place in a list.
    place: Option<usize>,
    node: Node,
}

impl Pointers {
    /// Takes a pointer in; the same one twice has one place.
    pub(super) fn add(&mut self, pointer: &JsonPointer) -> At {
        let mut node = &mut self.root;
        for name in pointer.names() {
            node = node.below(name);
        }
        let slot = *node.slot.get_or_insert_with(|| {
            self.count += 1;
            self.count - 1
        });
        At {
            pointer: pointer.clone(),
            slot,
        }
    }

    /// How many places there are.
    pub(super) fn count(&self) -> usize {
        self.count
    }

    /// Puts what stands at each pointer into its place in `found`, which has
    /// [`Pointers::count`] places.
    ///
    /// # Errors
    /// When the payload is not JSON.
    pub(super) fn find<'p>(
        &self,
        payload: &'p [u8],
        found: &mut [Option<Found<'p>>],
    ) -> Result<(), DecodeError> {
        let mut reader = serde_json::Deserializer::from_slice(payload);
        let walk = Walk {
            node: &self.root,
            found,
        };
        walk.deserialize(&mut reader)
            .and_then(|()| reader.end())
            .map_err(|error| DecodeError::NotJson(error.to_string()))
    }
}

impl At {
    /// What stands here, if anything.
    pub(super) fn of<'f, 'p>(&self, found: &'f [Option<Found<'p>>]) -> Option<&'f Found<'p>> {
        found[self.slot].as_ref()
    }
}

impl Node {
    fn below(&mut self, name: &str) -> &mut Node {
        let known = self.below.iter().position(|branch| branch.name == name);
        let branch = known.unwrap_or_else(|| {
            self.below.push(Branch {
                name: name.to_owned(),
                place: name.parse().ok(),
                node: Node::default(),
            });
            self.below.len() - 1
        });
        &mut self.below[branch].node
    }

    fn named(&self, name: &str) -> Option<&Node> {
        let branch = self.below.iter().find(|branch| branch.name == name)?;
        Some(&branch.node)
    }

    fn at(&self, place: usize) -> Option<&Node> {
        let branch = self
            .below
            .iter()
            .find(|branch| branch.place == Some(place))?;
        Some(&branch.node)
    }
}

/// Reads the time that a message gives; null is none.
///
/// # Errors
/// When it is none of this format.
pub(super) fn read_time(
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

/// Walks down the document along the pointers.
struct Walk<'t, 'f, 'de> {
    node: &'t Node,
    found: &'f mut [Option<Found<'de>>],
}

impl<'de> Walk<'_, '_, 'de> {
    fn note(self, what: Found<'de>) {
        if let Some(slot) = self.node.slot {
            self.found[slot] = Some(what);
        }
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
            if let Some(node) = self.node.named(&key) {
                let found = &mut *self.found;
                map.next_value_seed(Walk { node, found })?;
            } else {
                map.next_value::<IgnoredAny>()?;
            }
        }
        self.note(Found::Structure);
        Ok(())
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        for place in 0usize.. {
            let more = if let Some(node) = self.node.at(place) {
                let found = &mut *self.found;
                list.next_element_seed(Walk { node, found })?.is_some()
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
    use proptest::prelude::*;

    fn pointer(text: &str) -> JsonPointer {
        JsonPointer::parse(text).unwrap()
    }

    /// What stands at each of the pointers.
    fn at<'p>(payload: &'p str, texts: &[&str]) -> Result<Vec<Option<Found<'p>>>, DecodeError> {
        let mut pointers = Pointers::default();
        let places: Vec<At> = texts.iter().map(|t| pointers.add(&pointer(t))).collect();
        let mut found = vec![None; pointers.count()];
        pointers.find(payload.as_bytes(), &mut found)?;
        Ok(places.iter().map(|at| at.of(&found).cloned()).collect())
    }

    #[test]
    fn finds_everything_in_one_pass_wherever_it_stands() {
        let payload =
            r#"{"meta":{"n":[1,{"t":"2026-03-02"},true]},"d":{"a/b":3.5,"e":[]},"x":null}"#;
        let found = at(
            payload,
            &[
                "/d/a~1b",
                "/meta/n/1/t",
                "/meta/n/2",
                "/meta/n",
                "/d/a~1b",
                "/x",
                "/y",
                "/d/e",
                "",
            ],
        );
        assert_eq!(
            found.unwrap(),
            [
                Some(Found::Number(3.5)),
                Some(Found::Text("2026-03-02".into())),
                Some(Found::Bool(true)),
                Some(Found::Structure),
                Some(Found::Number(3.5)),
                Some(Found::Null),
                None,
                Some(Found::Structure),
                Some(Found::Structure),
            ]
        );
        assert_eq!(at("4.5", &[""]).unwrap(), [Some(Found::Number(4.5))]);
    }

    #[test]
    fn a_name_of_digits_is_a_name_in_an_object_and_a_place_in_a_list() {
        for payload in [r#"{"v":{"1":2}}"#, r#"{"v":[0,2]}"#] {
            assert_eq!(at(payload, &["/v/1"]).unwrap(), [Some(Found::Number(2.0))]);
        }
    }

    #[test]
    fn what_is_not_json_is_told() {
        for payload in ["{", r#"{"v":1} x"#, "", "\u{feff}1", r#"{"v":1e999}"#] {
            let told = at(payload, &["/v"]);
            assert!(matches!(told, Err(DecodeError::NotJson(_))), "{payload}");
        }
    }

    #[test]
    fn numbers_as_times() {
        let read = |format, found| read_time(&pointer("/t"), format, &found);
        let time = Some(Timestamp::from_millis(1_772_431_800_250));
        let seconds = Found::Number(1_772_431_800.25);
        assert_eq!(read(TimeFormat::UnixSeconds, seconds), Ok(time));
        let millis = Found::Number(1_772_431_800_250.0);
        assert_eq!(read(TimeFormat::UnixMillis, millis), Ok(time));
        let text = Found::Text("2026-03-02T06:10:00.25Z".into());
        assert_eq!(read(TimeFormat::Rfc3339, text), Ok(time));
        assert_eq!(read(TimeFormat::Rfc3339, Found::Null), Ok(None));
        for (format, wrong) in [
            (TimeFormat::UnixMillis, Found::Number(1e300)),
            (TimeFormat::UnixMillis, Found::Text("1".into())),
            (TimeFormat::Rfc3339, Found::Number(1.0)),
            (TimeFormat::Rfc3339, Found::Text("yesterday".into())),
        ] {
            let told = read(format, wrong).unwrap_err();
            assert!(matches!(told, DecodeError::Time { .. }), "{told}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..128)) {
            let mut pointers = Pointers::default();
            for text in ["/a/0/b", "/t", ""] {
                pointers.add(&pointer(text));
            }
            let mut found = [None, None, None];
            let _ = pointers.find(&bytes, &mut found);
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
            let payload = document.to_string();
            let [found, other]: [_; 2] = at(&payload, &[&text, "/other/1"]).unwrap().try_into().unwrap();
            prop_assert_eq!(found, Some(Found::Number(x)));
            let expected = document.pointer("/other/1").and_then(serde_json::Value::as_f64);
            prop_assert_eq!(other, expected.map(Found::Number));
        }
    }
}
