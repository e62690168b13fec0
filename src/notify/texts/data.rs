//! What layouts get to see of a message: plain data.

use serde::Serialize;
use serde_json::{Map, Value, json};

use crate::advice::{Advice, Measure, MixerCheck, VolumeUnit};
use crate::engine::{AlarmLine, Outcome};
use crate::model::{Departure, Movement};
use crate::notify::away::AwaySummary;
use crate::notify::digest::Digest;
use crate::notify::flood::Summary;
use crate::units::{Timestamp, Volume};

/// Longest title that is told; longer ones are cut.
const LONGEST_TITLE: usize = 200;

/// What a message is about.
#[derive(Debug, Clone, Copy)]
pub struct About<'a> {
    /// The sump's name.
    pub sump: &'a str,
    /// Its title.
    pub title: &'a str,
    /// When the message was made.
    pub time: Timestamp,
    /// What people there measure with.
    pub measure: Measure,
}

impl About<'_> {
    /// Of what is about no sump.
    pub(super) fn now(time: Timestamp) -> Self {
        About {
            sump: "",
            title: "",
            time,
            measure: Measure {
                unit: VolumeUnit::Litre,
                step: Volume::from_litres(1.0),
                vessel: None,
            },
        }
    }
}

/// One message, by its kind.
#[derive(Debug, Clone, Copy)]
pub(super) enum Told<'a> {
    Alarm(&'a AlarmLine),
    /// As the journal keeps it.
    KeptAlarm(&'a Value),
    Advice(&'a Advice),
    Outcome(&'a Outcome),
    Mixer(&'a MixerCheck),
    Movement(&'a Movement),
    Departure(Option<&'a Departure>),
    Digest(&'a Digest),
    Flood(&'a Summary),
    Away(&'a AwaySummary),
}

impl Told<'_> {
    /// The layout of such messages.
    pub(super) const fn layout(&self) -> &'static str {
        match self {
            Told::Alarm(_) | Told::KeptAlarm(_) => "alarm.txt",
            Told::Advice(_) => "advice.txt",
            Told::Outcome(_) => "outcome.txt",
            Told::Mixer(_) => "mixer.txt",
            Told::Movement(_) => "movement.txt",
            Told::Departure(_) => "departure.txt",
            Told::Digest(_) => "digest.txt",
            Told::Flood(_) => "flood.txt",
            Told::Away(_) => "away.txt",
        }
    }

    /// The data of the message, by the names that layouts use.
    pub(super) fn data(&self, about: &About<'_>) -> Map<String, Value> {
        let mut data = Map::new();
        let mut set = |name: &str, value: Value| data.insert(name.to_owned(), value);
        set("sump", about.sump.into());
        set("title", one_line(about.title).into());
        set("time", plain(&about.time));
        match self {
            Told::Alarm(line) => {
                set("alarm", plain(line));
                set("lasted_ms", json!((about.time - line.since).millis()));
            }
            Told::KeptAlarm(line) => {
                set("alarm", (*line).clone());
                let since = line.get("since").and_then(Value::as_str);
                let since = since.and_then(|since| Timestamp::parse(since).ok());
                let since = since.unwrap_or(about.time);
                set("lasted_ms", json!((about.time - since).millis()));
            }
            Told::Advice(advice) => {
                set("advice", plain(advice));
            }
            Told::Outcome(outcome) => {
                set("outcome", plain(outcome));
            }
            Told::Mixer(check) => {
                set("mixer", plain(check));
                set("verdict", plain(&check.verdict()));
            }
            Told::Movement(movement) => {
                set("movement", plain(movement));
            }
            Told::Departure(departure) => {
                set("departure", plain(departure));
            }
            Told::Digest(digest) => {
                set("digest", plain(digest));
            }
            Told::Flood(summary) => {
                set("flood", plain(summary));
            }
            Told::Away(summary) => {
                set("away", plain(summary));
            }
        }
        data
    }
}

fn plain(value: &impl Serialize) -> Value {
    serde_json::to_value(value).expect("messages have text keys only")
}

/// A title stays in the first line, whatever stands in it.
fn one_line(title: &str) -> String {
    let spaced = title.chars().map(|c| if c.is_control() { ' ' } else { c });
    let spaced: String = spaced.take(LONGEST_TITLE).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}
