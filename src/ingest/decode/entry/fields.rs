//! The fields of an entry, taken out one after the other.

use serde_json::{Map, Value};

use super::error::{EntryError, missing, wrong};
use crate::settings::nearest;

/// So much of a wrong value is repeated, in characters.
const SHOWN: usize = 40;
/// So many words are read where several may stand.
const MOST_WORDS: usize = 16;

/// The fields that have not been taken yet.
pub(super) struct Fields {
    left: Map<String, Value>,
    /// The fields that were looked for: these there may be.
    asked: Vec<&'static str>,
}

impl Fields {
    pub(super) fn new(left: Map<String, Value>) -> Self {
        Fields {
            left,
            asked: Vec::new(),
        }
    }

    fn take(&mut self, field: &'static str) -> Option<Value> {
        self.asked.push(field);
        self.left.remove(field).filter(|value| !value.is_null())
    }

    /// A text of at most so many characters; an empty one is none.
    pub(super) fn text(
        &mut self,
        field: &'static str,
        longest: usize,
    ) -> Result<Option<String>, EntryError> {
        match self.take(field) {
            None => Ok(None),
            Some(Value::String(text)) if text.chars().count() > longest => {
                let allowed = format!("at most {longest} characters are allowed");
                Err(wrong(field, shown(&Value::String(text)), &allowed))
            }
            Some(Value::String(text)) => Ok(Some(text).filter(|text| !text.trim().is_empty())),
            Some(other) => Err(wrong(field, shown(&other), "a text is needed")),
        }
    }

    pub(super) fn needed_text(
        &mut self,
        field: &'static str,
        longest: usize,
        allowed: &str,
    ) -> Result<String, EntryError> {
        self.text(field, longest)?
            .ok_or_else(|| missing(field, allowed))
    }

    /// A finite number.
    pub(super) fn number(&mut self, field: &'static str) -> Result<Option<f64>, EntryError> {
        let Some(value) = self.take(field) else {
            return Ok(None);
        };
        let number = value.as_f64().filter(|number| number.is_finite());
        match number {
            Some(number) => Ok(Some(number)),
            None => Err(wrong(field, shown(&value), "a number is needed")),
        }
    }

    pub(super) fn needed_number(
        &mut self,
        field: &'static str,
        allowed: &str,
    ) -> Result<f64, EntryError> {
        self.number(field)?.ok_or_else(|| missing(field, allowed))
    }

    /// One of these words.
    pub(super) fn word<T: Copy>(
        &mut self,
        field: &'static str,
        words: &[(&'static str, T)],
    ) -> Result<Option<T>, EntryError> {
        self.take(field)
            .map(|value| one_of(field, &value, words))
            .transpose()
    }

    pub(super) fn needed_word<T: Copy>(
        &mut self,
        field: &'static str,
        words: &[(&'static str, T)],
    ) -> Result<T, EntryError> {
        self.word(field, words)?
            .ok_or_else(|| missing(field, &allowed(words)))
    }

    /// Several of these words, as a list or one alone; none twice.
    pub(super) fn words<T: Copy + PartialEq>(
        &mut self,
        field: &'static str,
        words: &[(&'static str, T)],
    ) -> Result<Vec<T>, EntryError> {
        let written = match self.take(field) {
            None => return Ok(Vec::new()),
            Some(Value::Array(list)) => list,
            Some(one) => vec![one],
        };
        let mut found = Vec::new();
        for value in written.iter().take(MOST_WORDS) {
            let word = one_of(field, value, words)?;
            if !found.contains(&word) {
                found.push(word);
            }
        }
        Ok(found)
    }

    /// Every field of an entry of this kind has been taken.
    pub(super) fn nothing_left(&self, kind: &'static str) -> Result<(), EntryError> {
        let Some((found, _)) = self.left.iter().next() else {
            return Ok(());
        };
        Err(EntryError::Field {
            found: found.chars().take(SHOWN).collect(),
            kind,
            allowed: self.asked.join(", "),
            near: nearest(found, self.asked.iter().copied()).map(str::to_owned),
        })
    }
}

fn one_of<T: Copy>(
    field: &'static str,
    value: &Value,
    words: &[(&'static str, T)],
) -> Result<T, EntryError> {
    let text = value.as_str().unwrap_or_default();
    let found = words.iter().find(|(word, _)| *word == text);
    found.map(|(_, meaning)| *meaning).ok_or_else(|| {
        let names = words.iter().map(|(word, _)| *word);
        EntryError::Wrong {
            field,
            found: shown(value),
            allowed: allowed(words),
            near: nearest(text, names).map(str::to_owned),
        }
    })
}

fn allowed<T>(words: &[(&'static str, T)]) -> String {
    let names: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
    format!("allowed are {}", names.join(", "))
}

/// The beginning of what was written.
fn shown(value: &Value) -> String {
    let text = value.to_string();
    if text.chars().count() > SHOWN {
        let beginning: String = text.chars().take(SHOWN).collect();
        format!("{beginning}…")
    } else {
        text
    }
}
