//! A pack as JSON: RFC 8428, section 5; read in one pass.

use std::borrow::Cow;
use std::fmt;

use serde::de::{DeserializeSeed, Deserializer, Error, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::base64url;
use super::error::SenmlError;
use super::fields::{Fields, Plain, meaning};
use super::label::{Kind, Label};
use super::resolve::Pack;

/// Reads the records into `pack`.
pub(super) fn read(payload: &[u8], pack: &mut Pack) -> Result<(), SenmlError> {
    let mut refusal = None;
    let mut reader = serde_json::Deserializer::from_slice(payload);
    let records = Records {
        pack,
        refusal: &mut refusal,
    };
    let outcome = reader.deserialize_seq(records).and_then(|()| reader.end());
    outcome.map_err(|error| {
        refusal.unwrap_or_else(|| SenmlError::Json {
            record: pack.record(),
            why: error.to_string(),
        })
    })
}

/// The list of records. What refuses one is put into `refusal`, since an error
/// of the reader holds text only.
struct Records<'a> {
    pack: &'a mut Pack,
    refusal: &'a mut Option<SenmlError>,
}

impl Records<'_> {
    /// Stops the reader where there is a refusal.
    fn settle<T, E: Error>(&mut self, outcome: Result<T, SenmlError>) -> Result<T, E> {
        outcome.map_err(|why| {
            *self.refusal = Some(why);
            E::custom("refused")
        })
    }
}

impl<'de> Visitor<'de> for Records<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a list of records")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        let Records { pack, refusal } = self;
        while list
            .next_element_seed(OneRecord(Records { pack, refusal }))?
            .is_some()
        {}
        Ok(())
    }
}

/// One record of the list.
struct OneRecord<'a>(Records<'a>);

impl<'de> DeserializeSeed<'de> for OneRecord<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(mut self, from: D) -> Result<(), D::Error> {
        let begun = self.0.pack.begin();
        self.0.settle(begun)?;
        from.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for OneRecord<'_> {
    type Value = ();

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a record, an object")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let OneRecord(mut records) = self;
        let record = records.pack.record();
        let mut fields = Fields::default();
        while let Some(name) = map.next_key::<Cow<'de, str>>()? {
            match records.settle(meaning(&name, record))? {
                None => {
                    map.next_value::<IgnoredAny>()?;
                }
                Some(label) => {
                    let what = map.next_value_seed(AnyValue)?;
                    let what = records.settle(unpacked(label, what, record))?;
                    records.settle(fields.put(record, label, what))?;
                }
            }
        }
        let end = records.pack.end(fields);
        records.settle(end)
    }
}

/// In JSON bytes are written as text.
fn unpacked(label: Label, what: Plain<'_>, record: usize) -> Result<Plain<'_>, SenmlError> {
    match (label.kind(), what) {
        (Kind::Data, Plain::Text(text)) => base64url::decode(&text)
            .map(|bytes| Plain::Data(bytes.into()))
            .ok_or(SenmlError::Base64 { record }),
        (_, what) => Ok(what),
    }
}

/// Whatever stands at a label.
struct AnyValue;

impl<'de> DeserializeSeed<'de> for AnyValue {
    type Value = Plain<'de>;

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<Plain<'de>, D::Error> {
        from.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for AnyValue {
    type Value = Plain<'de>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a field")
    }

    fn visit_bool<E>(self, boolean: bool) -> Result<Plain<'de>, E> {
        Ok(Plain::Boolean(boolean))
    }

    fn visit_i64<E>(self, number: i64) -> Result<Plain<'de>, E> {
        Ok(Plain::Number(number as f64))
    }

    fn visit_u64<E>(self, number: u64) -> Result<Plain<'de>, E> {
        Ok(Plain::Number(number as f64))
    }

    fn visit_f64<E>(self, number: f64) -> Result<Plain<'de>, E> {
        Ok(Plain::Number(number))
    }

    fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Plain<'de>, E> {
        Ok(Plain::Text(Cow::Borrowed(text)))
    }

    fn visit_str<E>(self, text: &str) -> Result<Plain<'de>, E> {
        Ok(Plain::Text(Cow::Owned(text.to_owned())))
    }

    fn visit_unit<E>(self) -> Result<Plain<'de>, E> {
        Ok(Plain::Other("null"))
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Plain<'de>, A::Error> {
        while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
        Ok(Plain::Other("an object"))
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Plain<'de>, A::Error> {
        while list.next_element::<IgnoredAny>()?.is_some() {}
        Ok(Plain::Other("a list"))
    }
}
