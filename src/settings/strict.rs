//! Reads the merged settings into types without guessing.
//!
//! The `config` crate turns `true` into 1 and 1883.7 into 1884 where a number
//! is wanted. Here a value of the wrong kind is refused, with one exception:
//! text that is a number or a truth value stands for it, because environment
//! variables are always text.

use std::fmt;

use config::{Value, ValueKind};
use serde::de::value::{MapDeserializer, SeqDeserializer};
use serde::de::{self, Deserializer, Expected, IntoDeserializer, Unexpected, Visitor};
use serde::forward_to_deserialize_any;

/// What serde found wrong, still as data.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Fault {
    /// A key that the table does not have.
    UnknownKey {
        /// The keys that it has.
        allowed: &'static [&'static str],
    },
    /// A value of the wrong kind or size.
    WrongKind {
        /// What is wanted.
        expected: String,
        /// What was found.
        found: String,
    },
    /// Anything else, in words.
    Other(String),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::UnknownKey { allowed } => write!(f, "unknown; known are {}", allowed.join(", ")),
            Fault::WrongKind { expected, found } => write!(f, "expected {expected}, found {found}"),
            Fault::Other(words) => f.write_str(words),
        }
    }
}

impl std::error::Error for Fault {}

impl de::Error for Fault {
    fn custom<T: fmt::Display>(words: T) -> Self {
        Fault::Other(words.to_string())
    }
    fn invalid_type(found: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Fault::WrongKind {
            expected: in_words(expected),
            found: shown(found),
        }
    }
    fn invalid_value(found: Unexpected<'_>, expected: &dyn Expected) -> Self {
        Fault::invalid_type(found, expected)
    }
    fn unknown_field(_: &str, allowed: &'static [&'static str]) -> Self {
        Fault::UnknownKey { allowed }
    }
}

/// Names of serde in the words of a person who writes settings.
fn in_words(expected: &dyn Expected) -> String {
    match expected.to_string().as_str() {
        "a string" => "text in quotes".to_owned(),
        "a map" => "a table".to_owned(),
        "a sequence" => "a list".to_owned(),
        "a boolean" => "true or false".to_owned(),
        "f64" => "a number".to_owned(),
        "u16" => format!("a whole number from 0 to {}", u16::MAX),
        "u32" => format!("a whole number from 0 to {}", u32::MAX),
        other => other.to_owned(),
    }
}

fn shown(found: Unexpected<'_>) -> String {
    match found {
        Unexpected::Str(text) => format!("\"{}\"", text.chars().take(40).collect::<String>()),
        Unexpected::Signed(number) => number.to_string(),
        Unexpected::Unsigned(number) => number.to_string(),
        Unexpected::Float(number) => number.to_string(),
        Unexpected::Bool(truth) => truth.to_string(),
        Unexpected::Map => "a table".to_owned(),
        Unexpected::Seq => "a list".to_owned(),
        other => other.to_string(),
    }
}

/// A value that is read strictly.
#[derive(Clone, Copy)]
pub(super) struct Strict<'a>(pub(super) &'a Value);

/// Lets text that reads as the wanted kind stand for it.
macro_rules! text_stands_for {
    ($($method:ident: $kind:ty => $visit:ident;)*) => {$(
        fn $method<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
            if let ValueKind::String(text) = &self.0.kind
                && let Ok(value) = text.trim().parse::<$kind>()
            {
                return visitor.$visit(value);
            }
            self.deserialize_any(visitor)
        }
    )*};
}

impl<'de> Deserializer<'de> for Strict<'_> {
    type Error = Fault;

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        match &self.0.kind {
            ValueKind::Nil => visitor.visit_unit(),
            ValueKind::Boolean(truth) => visitor.visit_bool(*truth),
            ValueKind::I64(number) => visitor.visit_i64(*number),
            ValueKind::I128(number) => visitor.visit_i128(*number),
            ValueKind::U64(number) => visitor.visit_u64(*number),
            ValueKind::U128(number) => visitor.visit_u128(*number),
            ValueKind::Float(number) => visitor.visit_f64(*number),
            ValueKind::String(text) => visitor.visit_str(text),
            ValueKind::Array(list) => {
                SeqDeserializer::new(list.iter().map(Strict)).deserialize_any(visitor)
            }
            ValueKind::Table(table) => {
                let entries = table
                    .iter()
                    .map(|(key, value)| (key.as_str(), Strict(value)));
                MapDeserializer::new(entries).deserialize_any(visitor)
            }
        }
    }

    fn deserialize_option<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, Fault> {
        visitor.visit_some(self)
    }

    fn deserialize_newtype_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        visitor: V,
    ) -> Result<V::Value, Fault> {
        visitor.visit_newtype_struct(self)
    }

    text_stands_for! {
        deserialize_bool: bool => visit_bool;
        deserialize_u16: u64 => visit_u64;
        deserialize_u32: u64 => visit_u64;
        deserialize_f64: f64 => visit_f64;
    }

    forward_to_deserialize_any! {
        i8 i16 i32 i64 i128 u8 u64 u128 f32 char str string bytes byte_buf unit
        unit_struct seq tuple tuple_struct map struct enum identifier ignored_any
    }
}

impl<'de> IntoDeserializer<'de, Fault> for Strict<'_> {
    type Deserializer = Self;
    fn into_deserializer(self) -> Self {
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde::Deserialize;

    fn read<T: for<'a> Deserialize<'a>>(kind: impl Into<ValueKind>) -> Result<T, String> {
        let value = Value::new(None, kind.into());
        T::deserialize(Strict(&value)).map_err(|fault| fault.to_string())
    }

    #[test]
    fn takes_text_of_the_environment_for_numbers() {
        assert_eq!(read::<u16>("1883"), Ok(1883));
        assert_eq!(read::<f64>(" 0.5 "), Ok(0.5));
        assert_eq!(read::<bool>("true"), Ok(true));
        assert_eq!(read::<String>("00123"), Ok("00123".to_owned()));
    }

    #[test]
    fn guesses_nothing_else() {
        let told = read::<u16>(true).unwrap_err();
        assert_eq!(told, "expected a whole number from 0 to 65535, found true");
        assert!(read::<u16>(1883.7).is_err());
        assert!(read::<u16>(70_000i64).is_err());
        let told = read::<String>(5i64).unwrap_err();
        assert_eq!(told, "expected text in quotes, found 5");
    }
}
