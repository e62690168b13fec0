//! What stands where a value is looked for, and what it stands for.

use std::borrow::Cow;
use std::fmt::Display;

use super::DecodeError;
use crate::settings::{Scale, SwitchWords};

/// What stands in a message where a value is looked for.
#[derive(Debug, Clone, PartialEq)]
pub enum Found<'a> {
    /// A number.
    Number(f64),
    /// A text.
    Text(Cow<'a, str>),
    /// True or false.
    Bool(bool),
    /// Nothing, said so.
    Null,
    /// An object or a list.
    Structure,
}

impl Found<'_> {
    /// What it is, in words.
    pub fn kind(&self) -> &'static str {
        match self {
            Found::Number(_) => "a number",
            Found::Text(_) => "a text",
            Found::Null => "null",
            Found::Bool(_) => "true or false",
            Found::Structure => "an object or a list",
        }
    }

    /// The value that it stands for, in the unit that the channel's instrument
    /// reports in; 1 for on and 0 for off. `place` says where it stands, for
    /// the refusal.
    ///
    /// # Errors
    /// When it is not what the scale wants, or not finite.
    pub fn scaled(&self, scale: &Scale, place: &dyn Display) -> Result<f64, DecodeError> {
        match (scale, self) {
            (Scale::Line(line), Found::Number(number)) => {
                let value = line.apply(*number);
                let finite = value.is_finite().then_some(value);
                finite.ok_or(DecodeError::NotFinite)
            }
            (Scale::Line(_), other) => Err(DecodeError::ValueKind {
                place: place.to_string(),
                found: other.kind(),
            }),
            (Scale::Words(words), found) => found.on_or_off(words, place),
        }
    }

    fn on_or_off(&self, words: &SwitchWords, place: &dyn Display) -> Result<f64, DecodeError> {
        let word = match self {
            Found::Text(text) => text.trim().to_lowercase(),
            Found::Bool(truth) => truth.to_string(),
            Found::Number(number) => number.to_string(),
            Found::Null | Found::Structure => {
                return Err(DecodeError::ValueKind {
                    place: place.to_string(),
                    found: self.kind(),
                });
            }
        };
        if words.on.contains(&word) {
            Ok(1.0)
        } else if words.off.contains(&word) {
            Ok(0.0)
        } else {
            Err(DecodeError::NeitherOnNorOff {
                found: word.chars().take(40).collect(),
                on: words.on.join(", "),
                off: words.off.join(", "),
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn on_and_off_however_they_are_written() {
        let words = Scale::Words(SwitchWords {
            on: vec!["on".into(), "true".into(), "1".into()],
            off: vec!["off".into(), "false".into(), "0".into()],
        });
        let of = |found: Found<'_>| found.scaled(&words, &"/v");
        assert_eq!(of(Found::Text(" ON ".into())), Ok(1.0));
        assert_eq!(of(Found::Bool(true)), Ok(1.0));
        assert_eq!(of(Found::Number(1.0)), Ok(1.0));
        assert_eq!(of(Found::Number(0.0)), Ok(0.0));
        assert_eq!(of(Found::Text("off".into())), Ok(0.0));
        let told = of(Found::Text("perhaps".into())).unwrap_err().to_string();
        assert!(
            told.contains("perhaps") && told.contains("on, true, 1"),
            "{told}"
        );
        assert!(matches!(
            of(Found::Null),
            Err(DecodeError::ValueKind { .. })
        ));
    }
}
