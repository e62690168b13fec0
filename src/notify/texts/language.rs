//! The layouts and sentences of one language.

use std::collections::BTreeMap;
use std::sync::Arc;

use minijinja::value::{Kwargs, Value};
use minijinja::{Environment, Error, ErrorKind, State};

use crate::phrases::{self, PhraseMap, TextMistake};
use crate::settings::{MessageTexts, TextFile};

use super::bounded::{self, LAYOUT_FUEL};
use super::built_in::{self, ENGLISH, LAYOUTS, PHRASES};
use super::condition;
use super::filters::{self, FORM};
use super::form::{FormWords, take_form};
use super::sentences::{Context, Sentences, mistake};

/// Functions that layouts may call besides those of the template language.
pub(super) const FUNCTIONS: [&str; 3] = ["say", "subject", "what"];

/// One language, compiled.
#[derive(Debug)]
pub(super) struct Language {
    layouts: Environment<'static>,
    /// Where each layout stands.
    pub(super) files: BTreeMap<String, LayoutFile>,
    pub(super) sentences: Arc<Sentences>,
    pub(super) form: Arc<FormWords>,
    /// Sentences that English stands in for.
    pub(super) borrowed: usize,
}

/// Where a layout stands, and whether the plant wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct LayoutFile {
    pub(super) shown: String,
    pub(super) text: String,
    pub(super) is_plants: bool,
}

impl Language {
    /// Compiles the language `name`: the built-in files, the plant's over them.
    ///
    /// # Errors
    /// Everything that cannot be read or compiled.
    pub(super) fn new(name: &str, texts: &MessageTexts) -> Result<Self, Vec<TextMistake>> {
        let plants =
            |file: &&TextFile| file.language.is_none() || file.language.as_deref() == Some(name);
        let plants: Vec<&TextFile> = texts.files.iter().filter(plants).collect();
        let (phrases, form, borrowed) = phrases_of(name, &plants).map_err(|error| vec![error])?;
        let sentences = Arc::new(Sentences::new(phrases)?);
        let files = layouts_of(&plants);
        let mut layouts = bounded::environment(LAYOUT_FUEL);
        filters::add(&mut layouts);
        add_functions(&mut layouts, &sentences);
        let mut mistakes = Vec::new();
        for (name, file) in &files {
            if let Err(error) = layouts.add_template_owned(name.clone(), file.text.clone()) {
                mistakes.push(in_layout(file, &error));
            }
        }
        if !mistakes.is_empty() {
            return Err(mistakes);
        }
        Ok(Language {
            layouts,
            files,
            sentences,
            form: Arc::new(form),
            borrowed,
        })
    }

    /// A message by the layout of this name; lines that are empty are left out.
    ///
    /// # Errors
    /// Of the layout, or of a sentence in it.
    pub(super) fn render(&self, layout: &str, context: Value) -> Result<String, Error> {
        let text = bounded::render(&self.layouts.get_template(layout)?, context)?;
        let lines = text.lines().map(str::trim_end);
        let lines: Vec<&str> = lines.filter(|line| !line.is_empty()).collect();
        Ok(lines.join("\n"))
    }

    /// The names that a layout takes from outside.
    pub(super) fn names(&self, layout: &str) -> Vec<String> {
        let template = self.layouts.get_template(layout);
        let names = template.map(|template| template.undeclared_variables(true));
        let mut names: Vec<String> = names.unwrap_or_default().into_iter().collect();
        names.sort();
        names
    }

    /// Where a fault in a message lies.
    pub(super) fn mistake(&self, layout: &str, error: &Error) -> TextMistake {
        let named = error.name().unwrap_or(layout);
        if let Some(file) = self.files.get(named) {
            return in_layout(file, error);
        }
        match self.sentences.place(named) {
            Some(phrase) => mistake(named, phrase, error),
            None => TextMistake {
                file: built_in::shown(layout),
                line: None,
                what: bounded::complaint(error),
            },
        }
    }
}

fn in_layout(file: &LayoutFile, error: &Error) -> TextMistake {
    TextMistake {
        file: file.shown.clone(),
        line: error.line(),
        what: bounded::complaint(error),
    }
}

/// The plant's sentences over the built-in ones of the language over English.
fn phrases_of(
    name: &str,
    plants: &[&TextFile],
) -> Result<(PhraseMap, FormWords, usize), TextMistake> {
    let mut english = built_in_phrases(ENGLISH)?.unwrap_or_default();
    let english_form = take_form(&mut english, None)?;
    let mut own = built_in_phrases(name)?.unwrap_or_default();
    let is_sentences = |file: &&&TextFile| file.name == built_in::PHRASES_FILE;
    for file in plants.iter().filter(is_sentences) {
        own.extend(phrases::read(&file.shown, &file.text)?);
    }
    let form = take_form(&mut own, Some(&english_form))?;
    let mut borrowed = 0;
    for (key, phrase) in english {
        own.entry(key).or_insert_with(|| {
            borrowed += 1;
            phrase
        });
    }
    Ok((own, form, borrowed))
}

fn built_in_phrases(name: &str) -> Result<Option<PhraseMap>, TextMistake> {
    let built_in = PHRASES.iter().find(|(language, _)| *language == name);
    built_in
        .map(|(_, text)| phrases::read(&built_in::shown(&format!("{name}/phrases.toml")), text))
        .transpose()
}

/// The plant's layouts over the built-in ones; those of a language over those
/// of all.
fn layouts_of(plants: &[&TextFile]) -> BTreeMap<String, LayoutFile> {
    let mut files = BTreeMap::new();
    for (name, text) in LAYOUTS {
        let file = LayoutFile {
            shown: built_in::shown(name),
            text: text.to_owned(),
            is_plants: false,
        };
        files.insert(name.to_owned(), file);
    }
    let layouts = plants
        .iter()
        .copied()
        .filter(|file| file.name.ends_with(".txt"));
    let (of_all, of_language): (Vec<&TextFile>, Vec<&TextFile>) =
        layouts.partition(|file| file.language.is_none());
    for file in of_all.into_iter().chain(of_language) {
        let layout = LayoutFile {
            shown: file.shown.clone(),
            text: file.text.clone(),
            is_plants: true,
        };
        files.insert(file.name.clone(), layout);
    }
    files
}

fn add_functions(env: &mut Environment<'static>, sentences: &Arc<Sentences>) {
    let all = Arc::clone(sentences);
    env.add_function(
        "say",
        move |state: &State, key: &str, of: Option<Value>, more: Kwargs| {
            let mut context = Context::new();
            if let Some(of) = of {
                for name in of.try_iter()? {
                    context.insert(name.to_string(), of.get_item(&name)?);
                }
            }
            for name in more.args() {
                context.insert(name.to_owned(), more.get::<Value>(name)?);
            }
            all.say(key, context, &form(state)?)
        },
    );
    let all = Arc::clone(sentences);
    env.add_function("what", move |state: &State, name: &str| {
        condition::what(&all, name, &form(state)?)
    });
    let all = Arc::clone(sentences);
    env.add_function("subject", move |state: &State, name: &str| {
        condition::subject(&all, name, &form(state)?)
    });
}

fn form(state: &State) -> Result<Value, Error> {
    state.lookup(FORM).ok_or_else(|| {
        let what = "the name form is taken; give the value another name";
        Error::new(ErrorKind::InvalidOperation, what)
    })
}
