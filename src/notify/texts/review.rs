//! Tries a language on samples of every message before any is sent.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;
use serde_json::{Map, Value};

use crate::phrases::TextMistake;
use crate::settings::nearest;

use super::built_in::LAYOUTS;
use super::data::{About, Told};
use super::language::{FUNCTIONS, Language, LayoutFile};
use super::sample;
use super::sample_summaries;
use super::{said, written};

/// What is wrong with a language, `english` being the built-in one.
pub(super) fn language(language: &Language, english: &Language) -> Vec<TextMistake> {
    let mut mistakes = names_of_sentences(language, english);
    mistakes.extend(names_of_layouts(language));
    mistakes.extend(unused(language));
    if mistakes.is_empty() {
        mistakes.extend(samples(language));
    }
    mistakes
}

/// A sentence gets the values that the English one of its key has, and no
/// others.
fn names_of_sentences(language: &Language, english: &Language) -> Vec<TextMistake> {
    let mut mistakes = Vec::new();
    for key in language
        .sentences
        .keys()
        .filter(|key| english.sentences.has(key))
    {
        let allowed = english.sentences.names(key);
        let names = language.sentences.names(key);
        let Some(phrase) = language.sentences.place(key) else {
            continue;
        };
        for name in names.difference(&allowed) {
            let allowed = allowed.iter().map(String::as_str);
            mistakes.push(TextMistake {
                file: phrase.file.clone(),
                line: Some(phrase.line + line_of(&phrase.text, name) - 1),
                what: format!(
                    "{key}: there is no value \"{name}\" here; {}",
                    offer(name, allowed)
                ),
            });
        }
    }
    mistakes
}

/// A message's layout gets the values of its kind of message.
fn names_of_layouts(language: &Language) -> Vec<TextMistake> {
    let mut mistakes = Vec::new();
    for (layout, known) in known_values() {
        let Some(file) = language.files.get(layout).filter(|file| file.is_plants) else {
            continue;
        };
        // Names that the layout sets within a block count as foreign to the
        // engine.
        let is_set = |path: &str| {
            let root = path.split('.').next().unwrap_or(path);
            file.text.contains(&format!("{{% set {root} ="))
        };
        let names = language.names(layout).into_iter();
        for path in names.filter(|path| !is_set(path)) {
            if let Some(what) = missing(&path, &known) {
                mistakes.push(TextMistake {
                    file: file.shown.clone(),
                    line: Some(line_of(&file.text, &path)),
                    what,
                });
            }
        }
    }
    mistakes
}

/// What is wrong with a name like `alarm.advice.dose`, if anything is.
fn missing(path: &str, known: &Map<String, Value>) -> Option<String> {
    let mut parts = path.split('.');
    let root = parts.next()?;
    let engine = minijinja::Environment::new();
    if FUNCTIONS.contains(&root) || engine.globals().any(|(name, _)| name == root) {
        return None;
    }
    let mut table = known;
    let mut at = String::new();
    for name in std::iter::once(root).chain(parts) {
        let Some(value) = table.get(name) else {
            let allowed = table.keys().map(String::as_str);
            return Some(format!(
                "there is no value \"{at}{name}\" here; {}",
                offer(name, allowed)
            ));
        };
        let Value::Object(inner) = value else {
            return None;
        };
        table = inner;
        at.push_str(name);
        at.push('.');
    }
    None
}

/// Every value of every kind of message, by its layout.
fn known_values() -> BTreeMap<&'static str, Map<String, Value>> {
    let mut known: BTreeMap<_, Map<String, Value>> = BTreeMap::new();
    sample::each(|about, told| {
        let table = known.entry(told.layout()).or_default();
        join(table, told.data(about));
    });
    known
}

/// Adds what `other` has; tables join, a table stands over no value.
fn join(table: &mut Map<String, Value>, other: Map<String, Value>) {
    for (name, value) in other {
        match (table.get_mut(&name), value) {
            (Some(Value::Object(inner)), Value::Object(value)) => join(inner, value),
            (Some(Value::Object(_)), _) => {}
            (_, value) => {
                table.insert(name, value);
            }
        }
    }
}

/// Layouts of the plant that nothing uses, as a misspelt name would be.
fn unused(language: &Language) -> Vec<TextMistake> {
    let built_in = |name: &str| LAYOUTS.iter().any(|(layout, _)| *layout == name);
    let plants = |file: &&LayoutFile| file.is_plants;
    let mut mistakes = Vec::new();
    for (name, file) in language.files.iter().filter(|(_, file)| plants(file)) {
        let quoted = format!("\"{name}\"");
        let used = language
            .files
            .values()
            .any(|other| other.text.contains(&quoted));
        if !built_in(name) && !used {
            let layouts = LAYOUTS.iter().map(|(layout, _)| *layout);
            mistakes.push(TextMistake {
                file: file.shown.clone(),
                line: None,
                what: format!("no message uses it; {}", offer(name, layouts)),
            });
        }
    }
    mistakes
}

/// Every message once.
fn samples(language: &Language) -> Vec<TextMistake> {
    let mut mistakes = Vec::new();
    sample::each(|about: &About<'_>, told: &Told<'_>| {
        if let Err(error) = written(language, &TimeZone::UTC, about, told) {
            mistakes.push(language.mistake(told.layout(), &error));
        }
        for key in language.sentences.take_unknown() {
            let keys = language.sentences.keys();
            let layout = told.layout();
            let file = language.files.get(layout);
            let own = key.rsplit('.').next().unwrap_or(&key);
            mistakes.push(TextMistake {
                file: file.map_or_else(|| layout.to_owned(), |file| file.shown.clone()),
                line: file.map(|file| line_of(&file.text, own)),
                what: match nearest(&key, keys) {
                    Some(meant) => {
                        format!("there is no sentence \"{key}\"; did you mean \"{meant}\"?")
                    }
                    None => format!("there is no sentence \"{key}\"; they stand in phrases.toml"),
                },
            });
        }
    });
    for (key, values) in sample_summaries::SENTENCES {
        if let Err(error) = said(language, &TimeZone::UTC, sample::NOW, key, values) {
            mistakes.push(language.mistake(key, &error));
        }
        language.sentences.take_unknown();
    }
    mistakes
}

/// The first line with this name, from 1; the first where none has it.
fn line_of(text: &str, name: &str) -> usize {
    let is_part = |c: char| c.is_alphanumeric() || c == '_';
    let has = |line: &str| {
        line.match_indices(name).any(|(at, _)| {
            let before = line[..at].chars().next_back();
            let after = line[at + name.len()..].chars().next();
            !before.is_some_and(is_part) && !after.is_some_and(is_part)
        })
    };
    text.lines().position(has).map_or(1, |line| line + 1)
}

fn offer<'a>(wrong: &str, allowed: impl Iterator<Item = &'a str> + Clone) -> String {
    match nearest(wrong, allowed.clone()) {
        Some(meant) => format!("did you mean \"{meant}\"?"),
        None => {
            let allowed: Vec<&str> = allowed.collect();
            match allowed.is_empty() {
                true => "this one has none".to_owned(),
                false => format!("allowed are {}", allowed.join(", ")),
            }
        }
    }
}
