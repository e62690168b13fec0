//! What people write for one value, before its kind is known.

use std::fmt;

use serde::de::{self, Deserialize, Deserializer, Visitor};

/// A scalar as text: a quantity with its unit, a plain number, or `false`.
/// Which of them is right is for the second pass to say, where it is known
/// what the value is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Written(String);

impl Written {
    /// As text.
    pub(super) fn text(&self) -> &str {
        &self.0
    }

    /// Whether it switches something off.
    pub(super) fn is_off(&self) -> bool {
        self.0 == "false"
    }
}

impl<'de> Deserialize<'de> for Written {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(AnyScalar)
    }
}

struct AnyScalar;

impl Visitor<'_> for AnyScalar {
    type Value = Written;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a quantity with its unit in quotes")
    }
    fn visit_str<E: de::Error>(self, text: &str) -> Result<Written, E> {
        Ok(Written(text.to_owned()))
    }
    fn visit_i64<E: de::Error>(self, number: i64) -> Result<Written, E> {
        Ok(Written(number.to_string()))
    }
    fn visit_f64<E: de::Error>(self, number: f64) -> Result<Written, E> {
        Ok(Written(number.to_string()))
    }
    fn visit_bool<E: de::Error>(self, truth: bool) -> Result<Written, E> {
        Ok(Written(truth.to_string()))
    }
}

/// One text, or a list of them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Texts {
    /// A text alone.
    One(String),
    /// A list.
    Many(Vec<String>),
}

impl<'de> Deserialize<'de> for Texts {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(TextOrList)
    }
}

struct TextOrList;

impl<'de> Visitor<'de> for TextOrList {
    type Value = Texts;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("text in quotes, or a list of such texts")
    }
    fn visit_str<E: de::Error>(self, text: &str) -> Result<Texts, E> {
        Ok(Texts::One(text.to_owned()))
    }
    fn visit_seq<A: de::SeqAccess<'de>>(self, list: A) -> Result<Texts, A::Error> {
        Vec::deserialize(de::value::SeqAccessDeserializer::new(list)).map(Texts::Many)
    }
}

/// A table, or `false` to switch off what it describes.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Switch<T> {
    /// `false`.
    Off,
    /// The table.
    On(T),
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Switch<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(TableOrFalse(std::marker::PhantomData))
    }
}

struct TableOrFalse<T>(std::marker::PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for TableOrFalse<T> {
    type Value = Switch<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a table or false")
    }
    fn visit_bool<E: de::Error>(self, truth: bool) -> Result<Switch<T>, E> {
        match truth {
            false => Ok(Switch::Off),
            true => Err(E::invalid_value(de::Unexpected::Bool(true), &self)),
        }
    }
    fn visit_str<E: de::Error>(self, text: &str) -> Result<Switch<T>, E> {
        match text {
            "false" => Ok(Switch::Off),
            text => Err(E::invalid_value(de::Unexpected::Str(text), &self)),
        }
    }
    fn visit_map<A: de::MapAccess<'de>>(self, table: A) -> Result<Switch<T>, A::Error> {
        T::deserialize(de::value::MapAccessDeserializer::new(table)).map(Switch::On)
    }
}
