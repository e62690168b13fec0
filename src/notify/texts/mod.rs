//! The words of messages: layouts and sentences in the language of who reads
//! them.
//!
//! ```text
//! line of the journal ─▶ data ─▶ layout (alarm.txt) ─ say("key", values) ─▶ sentence (phrases.toml) ─▶ text
//! ```
//!
//! Promises: every message has a text, whatever a plant's files hold; what is
//! wrong with them is told before the daemon starts, with file and line; a
//! layout reads no file and ends in bounded time. Refuses: to change what the
//! engine decided.

mod bounded;
mod built_in;
mod condition;
mod data;
mod filters;
mod form;
mod language;
mod review;
mod sample;
mod sample_advice;
mod sample_alarms;
mod sample_balance;
mod sample_instruments;
mod sample_plant;
mod sample_sizes;
mod sample_summaries;
mod sentences;
#[cfg(test)]
mod tests;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use jiff::tz::TimeZone;
use minijinja::Error;
use minijinja::value::{Serde, Value};

use crate::advice::{Advice, MixerCheck};
use crate::engine::{AlarmLine, Outcome};
use crate::model::{Departure, Movement};
use crate::notify::away::AwaySummary;
use crate::notify::digest::Digest;
use crate::notify::flood::Summary;
use crate::phrases::TextsError;
use crate::settings::MessageTexts;
use crate::units::Timestamp;

use built_in::ENGLISH;
pub use data::About;
use data::Told;
use filters::FORM;
use form::Form;
use language::Language;

/// Who reads a message.
#[derive(Debug, Clone, Copy)]
pub struct Reader<'a> {
    /// Their language.
    pub language: &'a str,
    /// The zone of their clocks.
    pub zone: &'a TimeZone,
}

/// The words of a plant's messages, in every language.
#[derive(Debug, Clone)]
pub struct Texts(Arc<Inner>);

#[derive(Debug)]
struct Inner {
    languages: BTreeMap<Arc<str>, Language>,
    /// Stands in where a plant's layout fails.
    english: Language,
    failed: AtomicU64,
}

impl Texts {
    /// Compiles what comes with the program and what the plant laid over it, and
    /// tries every layout on samples of every message.
    ///
    /// # Errors
    /// Everything that is wrong.
    pub fn new(texts: &MessageTexts) -> Result<Self, TextsError> {
        let english = Language::new(ENGLISH, &MessageTexts::default()).map_err(TextsError::new)?;
        let mut languages = BTreeMap::new();
        let mut mistakes = Vec::new();
        for name in &texts.languages {
            match Language::new(name, texts) {
                Ok(language) => {
                    mistakes.extend(review::language(&language, &english));
                    languages.insert(Arc::clone(name), language);
                }
                Err(wrong) => mistakes.extend(wrong),
            }
        }
        if !mistakes.is_empty() {
            return Err(TextsError::new(mistakes));
        }
        Ok(Texts(Arc::new(Inner {
            languages,
            english,
            failed: AtomicU64::new(0),
        })))
    }

    /// A step in the life of an alarm.
    pub fn alarm(&self, to: &Reader<'_>, about: &About<'_>, line: &AlarmLine) -> String {
        self.tell(to, about, &Told::Alarm(line))
    }

    /// Advice that comes by itself.
    pub fn advice(&self, to: &Reader<'_>, about: &About<'_>, advice: &Advice) -> String {
        self.tell(to, about, &Told::Advice(advice))
    }

    /// What came of a dose.
    pub fn outcome(&self, to: &Reader<'_>, about: &About<'_>, outcome: &Outcome) -> String {
        self.tell(to, about, &Told::Outcome(outcome))
    }

    /// What the outlet of a mixer gave.
    pub fn mixer(&self, to: &Reader<'_>, about: &About<'_>, check: &MixerCheck) -> String {
        self.tell(to, about, &Told::Mixer(check))
    }

    /// A line of the ledger.
    pub fn movement(&self, to: &Reader<'_>, about: &About<'_>, movement: &Movement) -> String {
        self.tell(to, about, &Told::Movement(movement))
    }

    /// Losses or gains have left what is usual; with none, they are usual again.
    pub fn departure(
        &self,
        to: &Reader<'_>,
        about: &About<'_>,
        departure: Option<&Departure>,
    ) -> String {
        self.tell(to, about, &Told::Departure(departure))
    }

    /// A step in the life of an alarm, out of the line of the journal that tells
    /// of it.
    pub fn kept_alarm(
        &self,
        to: &Reader<'_>,
        about: &About<'_>,
        line: &serde_json::Value,
    ) -> String {
        self.tell(to, about, &Told::KeptAlarm(line))
    }

    /// What a day begins with; `plant` is its name.
    pub fn digest(&self, to: &Reader<'_>, plant: &str, now: Timestamp, digest: &Digest) -> String {
        let about = About {
            title: plant,
            ..About::now(now)
        };
        self.tell(to, &about, &Told::Digest(digest))
    }

    /// Many alarms at once, summed up; `plant` is its name.
    pub fn flood(&self, to: &Reader<'_>, plant: &str, now: Timestamp, summary: &Summary) -> String {
        let about = About {
            title: plant,
            ..About::now(now)
        };
        self.tell(to, &about, &Told::Flood(summary))
    }

    /// What happened while nobody was there, summed up; `plant` is its name.
    pub fn away(
        &self,
        to: &Reader<'_>,
        plant: &str,
        now: Timestamp,
        summary: &AwaySummary,
    ) -> String {
        let about = About {
            title: plant,
            ..About::now(now)
        };
        self.tell(to, &about, &Told::Away(summary))
    }

    /// One sentence by its key, told at `now`; its values by name.
    pub fn sentence(
        &self,
        to: &Reader<'_>,
        now: Timestamp,
        key: &'static str,
        values: &[(&str, &str)],
    ) -> String {
        let inner = &self.0;
        let language = inner.languages.get(to.language).unwrap_or(&inner.english);
        said(language, to.zone, now, key, values).unwrap_or_else(|error| {
            inner.failed.fetch_add(1, Ordering::Relaxed);
            let what = language.mistake(key, &error);
            tracing::warn!(language = to.language, "{what}; English stands in");
            said(&inner.english, to.zone, now, key, values).unwrap_or_default()
        })
    }

    /// What a condition is called in a language.
    pub fn condition(&self, to: &Reader<'_>, now: Timestamp, condition: &str) -> String {
        let inner = &self.0;
        let language = inner.languages.get(to.language).unwrap_or(&inner.english);
        let said = |language: &Language| {
            let form = Value::from_object(form(language, to.zone, &About::now(now)));
            condition::what(&language.sentences, condition, &form)
        };
        let words = said(language).or_else(|_| said(&inner.english));
        words.unwrap_or_else(|_| condition.to_owned())
    }

    /// Messages for which English had to stand in, as a layout or a sentence
    /// failed.
    pub fn failed(&self) -> u64 {
        self.0.failed.load(Ordering::Relaxed)
    }

    /// Of each language, how many sentences it has not, so that English stands
    /// in for them.
    pub fn borrowed(&self) -> impl Iterator<Item = (&str, usize)> {
        let languages = self.0.languages.iter();
        languages.map(|(name, language)| (&**name, language.borrowed))
    }

    fn tell(&self, to: &Reader<'_>, about: &About<'_>, told: &Told<'_>) -> String {
        let inner = &self.0;
        let language = inner.languages.get(to.language).unwrap_or(&inner.english);
        let text = written(language, to.zone, about, told).or_else(|error| {
            inner.failed.fetch_add(1, Ordering::Relaxed);
            let what = language.mistake(told.layout(), &error);
            tracing::warn!(language = to.language, "{what}; English stands in");
            written(&inner.english, to.zone, about, told)
        });
        text.unwrap_or_else(|error| {
            tracing::error!("{error}; the message has no text but its sump");
            about.title.to_owned()
        })
    }
}

/// One message in one language.
fn written(
    language: &Language,
    zone: &TimeZone,
    about: &About<'_>,
    told: &Told<'_>,
) -> Result<String, Error> {
    let form = form(language, zone, about);
    let mut context: BTreeMap<String, Value> = told
        .data(about)
        .into_iter()
        .map(|(name, value)| (name, Value::from(Serde(value))))
        .collect();
    context.insert(FORM.to_owned(), Value::from_object(form));
    language.render(told.layout(), Value::from(context))
}

/// One sentence in one language.
fn said(
    language: &Language,
    zone: &TimeZone,
    now: Timestamp,
    key: &str,
    values: &[(&str, &str)],
) -> Result<String, Error> {
    let values = values.iter();
    let context = values.map(|(name, value)| ((*name).to_owned(), Value::from(*value)));
    let form = form(language, zone, &About::now(now));
    let form = Value::from_object(form);
    language.sentences.say(key, context.collect(), &form)
}

fn form(language: &Language, zone: &TimeZone, about: &About<'_>) -> Form {
    let at = jiff::Timestamp::from_millisecond(about.time.millis()).unwrap_or_default();
    let zone_name = zone.to_offset_info(at).abbreviation().to_owned();
    let own = language.sentences.place(&format!("zone.{zone_name}"));
    Form {
        words: Arc::clone(&language.form),
        zone: zone.clone(),
        zone_name: own.map_or(zone_name, |own| own.text.clone()),
        measure: about.measure,
        now: about.time,
        zone_told: AtomicBool::new(false),
    }
}
