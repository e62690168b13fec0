//! The sentences of a language, by key.

use std::collections::BTreeMap;

use toml_edit::{Document, Item, TableLike};

use super::form::FormWords;
use super::mistake::TextMistake;

/// The table whose keys are no sentences.
const FORM: &str = "form.";
/// Longest key that is looked at.
const DEEPEST: usize = 8;

/// One sentence, and where it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Phrase {
    pub(super) text: String,
    pub(super) file: String,
    /// From 1.
    pub(super) line: usize,
}

/// Sentences by their keys, as `withheld.silent`.
pub(super) type PhraseMap = BTreeMap<String, Phrase>;

/// Reads one file; tables become parts of keys.
///
/// # Errors
/// What is no TOML, and what is neither a table nor a text.
pub(super) fn read(file: &str, text: &str) -> Result<PhraseMap, TextMistake> {
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

/// Takes the words of the form out of the sentences, those of `fallback` where
/// there are none.
///
/// # Errors
/// Keys that a form does not have.
pub(super) fn take_form(
    phrases: &mut PhraseMap,
    fallback: Option<&FormWords>,
) -> Result<FormWords, TextMistake> {
    let mut word = |key: &str, of: fn(&FormWords) -> &String| {
        let written = phrases.remove(&format!("{FORM}{key}"));
        let usual = || fallback.map(of).cloned().unwrap_or_default();
        written.map_or_else(usual, |phrase| phrase.text)
    };
    let form = FormWords {
        decimal: word("decimal", |form| &form.decimal),
        time: word("time", |form| &form.time),
        date_time: word("date_time", |form| &form.date_time),
        day: word("day", |form| &form.day),
        hour: word("hour", |form| &form.hour),
        minute: word("minute", |form| &form.minute),
        second: word("second", |form| &form.second),
        range: word("range", |form| &form.range),
        litre: word("litre", |form| &form.litre),
        us_gallon: word("us_gallon", |form| &form.us_gallon),
        one_can: word("one_can", |form| &form.one_can),
        cans: word("cans", |form| &form.cans),
        cans_and_rest: word("cans_and_rest", |form| &form.cans_and_rest),
    };
    match phrases.iter().find(|(key, _)| key.starts_with(FORM)) {
        None => Ok(form),
        Some((key, phrase)) => Err(TextMistake {
            file: phrase.file.clone(),
            line: Some(phrase.line),
            what: format!(
                "{key}: there is no such key; allowed in [form]: decimal, time, date_time, day, hour, minute, second, range, litre, us_gallon, one_can, cans, cans_and_rest"
            ),
        }),
    }
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
