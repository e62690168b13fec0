//! Sentences, ready to be said.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Mutex;

use minijinja::value::Value;
use minijinja::{Environment, Error, Template};

use crate::phrases::{Phrase, PhraseMap, TextMistake};

use super::bounded::{self, SENTENCE_FUEL};
use super::filters;

/// Most unknown keys that are kept.
const MOST_UNKNOWN: usize = 100;

/// Values by the names that sentences call them.
pub(super) type Context = BTreeMap<String, Value>;

/// The sentences of one language. None can say another, so that none can run in
/// circles. Each is compiled when it is said: few ever are, and compiled they take
/// many times the memory of their text.
#[derive(Debug)]
pub(super) struct Sentences {
    env: Environment<'static>,
    places: PhraseMap,
    /// Keys that were asked for and are not there.
    unknown: Mutex<BTreeSet<String>>,
}

impl Sentences {
    /// Takes them all, if they can be compiled.
    ///
    /// # Errors
    /// Every one that cannot be compiled.
    pub(super) fn new(phrases: PhraseMap) -> Result<Self, Vec<TextMistake>> {
        let mut env = bounded::environment(SENTENCE_FUEL);
        filters::add(&mut env);
        let mut mistakes = Vec::new();
        for (key, phrase) in &phrases {
            if let Err(error) = env.template_from_named_str(key, &phrase.text) {
                mistakes.push(mistake(key, phrase, &error));
            }
        }
        if !mistakes.is_empty() {
            return Err(mistakes);
        }
        Ok(Sentences {
            env,
            places: phrases,
            unknown: Mutex::default(),
        })
    }

    /// Whether there is a sentence of this key.
    pub(super) fn has(&self, key: &str) -> bool {
        self.places.contains_key(key)
    }

    /// Every key.
    pub(super) fn keys(&self) -> impl Iterator<Item = &str> {
        self.places.keys().map(String::as_str)
    }

    /// The sentence of this key, and where it stands.
    pub(super) fn place(&self, key: &str) -> Option<&Phrase> {
        self.places.get(key)
    }

    /// The names of the values in the sentence of this key.
    pub(super) fn names(&self, key: &str) -> BTreeSet<String> {
        let template = self.place(key).map(|phrase| self.compiled(key, phrase));
        template
            .and_then(Result::ok)
            .map_or_else(BTreeSet::new, |template| {
                template.undeclared_variables(false).into_iter().collect()
            })
    }

    /// The sentence of this key with these values; without one the key itself,
    /// readable.
    ///
    /// # Errors
    /// A value that is not there, or not of the kind that a filter wants.
    pub(super) fn say(
        &self,
        key: &str,
        mut context: Context,
        form: &Value,
    ) -> Result<String, Error> {
        let Some(phrase) = self.place(key) else {
            self.note_unknown(key);
            return Ok(readable(key));
        };
        context.insert(filters::FORM.to_owned(), form.clone());
        bounded::render(&self.compiled(key, phrase)?, Value::from(context))
    }

    fn compiled<'a>(&'a self, key: &'a str, phrase: &'a Phrase) -> Result<Template<'a, 'a>, Error> {
        self.env.template_from_named_str(key, &phrase.text)
    }

    /// Remembers that a key was asked for in vain.
    pub(super) fn note_unknown(&self, key: &str) {
        let mut unknown = self.unknown.lock().unwrap_or_else(|e| e.into_inner());
        if unknown.len() < MOST_UNKNOWN {
            unknown.insert(key.to_owned());
        }
    }

    /// What was asked for in vain since this was last asked.
    pub(super) fn take_unknown(&self) -> BTreeSet<String> {
        let mut unknown = self.unknown.lock().unwrap_or_else(|e| e.into_inner());
        std::mem::take(&mut *unknown)
    }
}

/// What is wrong with a sentence.
pub(super) fn mistake(key: &str, phrase: &Phrase, error: &Error) -> TextMistake {
    let below = error.line().unwrap_or(1).saturating_sub(1);
    TextMistake {
        file: phrase.file.clone(),
        line: Some(phrase.line + below),
        what: format!("{key}: {}", bounded::complaint(error)),
    }
}

/// A key without its table, in words.
fn readable(key: &str) -> String {
    let own = key.split_once('.').map_or(key, |(_, own)| own);
    own.replace(['_', '.'], " ")
}
