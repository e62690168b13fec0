//! The kinds of values that rules work with.

use std::fmt;

use serde::Serialize;

/// A kind of value, with its name in the Common Expression Language.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// `double`.
    Number,
    /// `int`.
    Whole,
    /// `bool`.
    Truth,
    /// `string`.
    Word,
}

impl Kind {
    /// Its name in the language.
    pub const fn name(self) -> &'static str {
        match self {
            Kind::Number => "double",
            Kind::Whole => "int",
            Kind::Truth => "bool",
            Kind::Word => "string",
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// A value of one of the kinds.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(untagged)]
pub enum OwnValue {
    /// A finite number.
    Number(f64),
    /// A whole number.
    Whole(i64),
    /// Yes or no.
    Truth(bool),
    /// A word.
    Word(&'static str),
}

impl fmt::Display for OwnValue {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            OwnValue::Number(number) => write!(f, "{number}"),
            OwnValue::Whole(number) => write!(f, "{number}"),
            OwnValue::Truth(truth) => write!(f, "{truth}"),
            OwnValue::Word(word) => f.write_str(word),
        }
    }
}
