//! Files of words that people may write over: TOML whose tables become parts of
//! keys and whose values are texts, each with the line at which it stands.
//!
//! Promises: what cannot be read is told with file and line. Refuses: to know what
//! the words are for.

mod mistake;

use std::collections::BTreeMap;

use toml_edit::{Document, Item, TableLike};

pub use mistake::{TextMistake, TextsError};

/// Longest key that is looked at.
const DEEPEST: usize = 8;

/// One text, and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Phrase {
    /// What it says.
    pub text: String,
    /// The file, as people are told.
    pub file: String,
    /// From 1.
    pub line: usize,
}

/// Texts by their keys, as `withheld.silent`.
pub type PhraseMap = BTreeMap<String, Phrase>;

/// Reads one file; tables become parts of keys.
///
/// # Errors
/// What is no TOML, and what is neither a table nor a text.
pub fn read(file: &str, text: &str) -> Result<PhraseMap, TextMistake> {
    let line_of = |at: usize| 1 + text.bytes().take(at).filter(|b| *b == b'\n').count();
    let document = Document::parse(text).map_err(|error| TextMistake {
        file: file.to_owned(),
        line: error.span().map(|span| line_of(span.start)),
        what: format!("not TOML: {}", one_line(error.message())),
    })?;
    let mut phrases = PhraseMap::new();
    let mut reading = Reading {
        file,
        line_of: &line_of,
        phrases: &mut phrases,
    };
    reading.table(document.as_table(), "", 0)?;
    Ok(phrases)
}

struct Reading<'a> {
    file: &'a str,
    line_of: &'a dyn Fn(usize) -> usize,
    phrases: &'a mut PhraseMap,
}

impl Reading<'_> {
    fn table(&mut self, table: &dyn TableLike, at: &str, depth: usize) -> Result<(), TextMistake> {
        for (name, _) in table.iter() {
            let Some((key, item)) = table.get_key_value(name) else {
                continue;
            };
            let path = match at {
                "" => name.to_owned(),
                at => format!("{at}.{name}"),
            };
            let line = (self.line_of)(key.span().map_or(0, |span| span.start));
            if let (Some(inner), true) = (item.as_table_like(), depth < DEEPEST) {
                self.table(inner, &path, depth + 1)?;
                continue;
            }
            let Some(text) = item.as_str() else {
                return Err(self.no_sentence(&path, item, line));
            };
            let phrase = Phrase {
                text: text.to_owned(),
                file: self.file.to_owned(),
                line,
            };
            self.phrases.insert(path, phrase);
        }
        Ok(())
    }

    fn no_sentence(&self, path: &str, item: &Item, line: usize) -> TextMistake {
        TextMistake {
            file: self.file.to_owned(),
            line: Some(line),
            what: format!(
                "{path}: expected a sentence in quotes, found {}",
                item.type_name()
            ),
        }
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
