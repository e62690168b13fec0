//! `entry`: write something into the running daemon's journal.
//!
//! The words of the command line become the JSON object that entries are
//! everywhere; whether it is right is for the daemon to say.

mod file;
pub(super) mod when;
mod words;

use std::path::PathBuf;

use anyhow::Context;
use clap::Args;
use jiff::tz::TimeZone;
use serde_json::{Value, json};

use crate::ingest::control::{Answer, Client, ClientError, Request};
use crate::settings::Settings;
use crate::units::{Quantity, Timestamp};

use when::shown;

/// What is written down.
#[derive(Debug, Args)]
pub(super) struct What {
    /// The sump, the kind, and what belongs to it:
    /// hand-reading QUANTITY VALUE [UNIT] · addition WHAT LITRES ·
    /// event WHAT [LITRES] · impression [TEXT] · note TEXT ·
    /// acknowledge ALARM · shelve ALARM HOURS REASON · unshelve ALARM ·
    /// out-of-service ALARM REASON · in-service ALARM · reset ALARM ·
    /// withdrawn [TEXT].
    #[arg(value_name = "SUMP KIND …", allow_negative_numbers = true)]
    words: Vec<String>,
    /// Who writes it.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// When it was so, in this machine's time zone: 06:10, 2026-03-02 06:10, or
    /// with an offset; now if not given.
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// The entry in whose place this one stands.
    #[arg(long, value_name = "ID")]
    supersedes: Option<String>,
    /// An id of your own.
    #[arg(long, value_name = "ID")]
    id: Option<String>,
    /// How a value was measured: refractometer, titration, laboratory, …
    #[arg(long, value_name = "METHOD")]
    method: Option<String>,
    /// Strength of a premix, % by volume.
    #[arg(long, value_name = "PERCENT")]
    strength: Option<f64>,
    /// Which water was added: tap, purified, …
    #[arg(long, value_name = "WATER")]
    water: Option<String>,
    /// The advice that was followed.
    #[arg(long, value_name = "ID")]
    advice: Option<String>,
    /// The channel whose probe was touched.
    #[arg(long, value_name = "CHANNEL")]
    channel: Option<String>,
    /// The mixer at whose outlet a strength was read.
    #[arg(long, value_name = "MIXER")]
    mixer: Option<String>,
    /// How it smells: fresh, stale, bad, rotten.
    #[arg(long, value_name = "SMELL")]
    smell: Option<String>,
    /// How it looks: fresh, discoloured, dirty, foam, oil_film, split, slime;
    /// several with commas.
    #[arg(long, value_name = "LOOK", value_delimiter = ',')]
    look: Vec<String>,
    /// Many entries at once, as JSON lines or as CSV with a header of the
    /// fields' names.
    #[arg(long, value_name = "FILE", conflicts_with = "words")]
    file: Option<PathBuf>,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

impl What {
    /// Whether a program reads what is said.
    pub(super) fn prints_json(&self) -> bool {
        self.json
    }
}

/// What came of it.
#[derive(Debug)]
pub(super) enum Told {
    /// It is in the journal; this is to be said.
    Taken(String),
    /// Some of it, or all, is not taken; this is to be said.
    Refused(String),
    /// The words make no entry.
    Wrong(String),
}

/// Hands over what is to be written down.
pub(super) fn enter(settings: &Settings, what: &What) -> anyhow::Result<Told> {
    let zone = TimeZone::system();
    let now = jiff::Timestamp::now();
    let folder = &settings.store.folder;
    if let Some(path) = &what.file {
        let mut client = Client::connect(folder)?;
        return file::enter(&mut client, path, &zone, what.json);
    }
    let entry = match words::entry(what, now, &zone) {
        Ok(entry) => entry,
        Err(wrong) => return Ok(Told::Wrong(wrong.to_string())),
    };
    let mut client = Client::connect(folder)?;
    let answer = client.ask(Request::Entry {
        entry: entry.clone(),
    });
    told(&entry, answer, &zone, what.json)
}

fn told(
    entry: &Value,
    answer: Result<Answer, ClientError>,
    zone: &TimeZone,
    as_json: bool,
) -> anyhow::Result<Told> {
    match answer {
        Ok(Answer::Taken {
            sump,
            id,
            known,
            note,
        }) => {
            let time = entry["time"].as_str().unwrap_or_default();
            let time = Timestamp::parse(time).context("the daemon takes no other times")?;
            let text = if as_json {
                let taken = json!({
                    "answer": if known { "known" } else { "taken" },
                    "sump": sump, "id": id, "time": time, "note": note,
                });
                taken.to_string()
            } else {
                let how = if known { "known before" } else { "taken" };
                let note = note.map(|note| format!("\n{note}")).unwrap_or_default();
                let read = reading(entry).map(|read| format!(", {read}"));
                format!(
                    "{how}: {sump}, {}{}, id {id}{note}",
                    shown(time, zone),
                    read.unwrap_or_default()
                )
            };
            Ok(Told::Taken(text))
        }
        Ok(_) => Err(ClientError::Unasked.into()),
        Err(ClientError::Refused(why)) if as_json => {
            let refused = json!({"answer": "refused", "why": why});
            Ok(Told::Refused(refused.to_string()))
        }
        Err(ClientError::Refused(why)) => Ok(Told::Refused(format!("refused: {why}"))),
        Err(error) => Err(error.into()),
    }
}

/// A hand reading with the unit that it is taken in: a number without one is in
/// that of its quantity, which may not be what its writer had in mind.
fn reading(entry: &Value) -> Option<String> {
    let (name, value) = (entry["quantity"].as_str()?, entry["value"].as_f64()?);
    let quantity = Quantity::ALL.into_iter().find(|one| one.name() == name)?;
    let unit = entry["unit"].as_str().unwrap_or(quantity.unit());
    Some(format!("{name} {value} {unit}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reading_is_said_with_the_unit_that_it_is_taken_in() {
        let said = |entry: Value| reading(&entry);
        let bare = json!({"quantity": "conductivity", "value": 3.1});
        assert_eq!(said(bare).unwrap(), "conductivity 3.1 µS/cm");
        let full = json!({"quantity": "conductivity", "value": 3.1, "unit": "mS/cm"});
        assert_eq!(said(full).unwrap(), "conductivity 3.1 mS/cm");
        assert_eq!(said(json!({"text": "foam"})), None);
    }
}
