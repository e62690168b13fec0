//! What a person wrote, as JSON: read and checked against the plant.
//!
//! Whatever is wrong is told with the field, what was found, what is allowed,
//! and the nearest right word.

mod error;
mod fields;
mod plausible;
#[cfg(test)]
mod tests;

use serde_json::{Map, Value};
use std::sync::Arc;

use super::super::recent::fnv1a;
use crate::engine::{
    AdditionKind, Entry, EntryKind, HappeningKind, Look, Method, PLANT, Smell, SumpSetup,
};
use crate::settings::nearest;
use crate::units::{Quantity, Timestamp};

pub use error::EntryError;

use error::{listed, missing, wrong};
use fields::Fields;

/// Longest entry, in bytes.
const LONGEST: usize = 16 * 1024;
/// Longest id, name of an alarm or of an advice, in characters.
const LONGEST_NAME: usize = 200;
/// Longest name of a person or of a water.
const LONGEST_WORD: usize = 64;
/// Longest free words.
const LONGEST_TEXT: usize = 2000;

/// The kinds by the names that people write, with what reads the fields that
/// are particular to each.
const KINDS: [(&str, Kind); 12] = [
    kind("hand_reading", Read::Sump(hand_reading)),
    kind("impression", Read::Sump(impression)),
    kind("addition", Read::Sump(addition)),
    kind("event", Read::Sump(event)),
    kind("note", Read::Any(note)),
    kind("acknowledge", Read::Any(acknowledge)),
    kind("shelve", Read::Any(shelve)),
    kind("unshelve", Read::Any(unshelve)),
    kind("out_of_service", Read::Any(out_of_service)),
    kind("in_service", Read::Any(in_service)),
    kind("reset", Read::Any(reset)),
    kind("withdrawn", Read::Any(withdrawn)),
];

/// What reads the fields that are particular to a kind.
#[derive(Clone, Copy)]
enum Read {
    /// Of a sump, and checked against it.
    Sump(fn(&mut Fields, &SumpSetup) -> Result<EntryKind, EntryError>),
    /// Of a sump or of the plant.
    Any(fn(&mut Fields) -> Result<EntryKind, EntryError>),
}

#[derive(Clone, Copy)]
struct Kind {
    name: &'static str,
    read: Read,
}

const fn kind(name: &'static str, read: Read) -> (&'static str, Kind) {
    (name, Kind { name, read })
}

const ADDITIONS: [(&str, AdditionKind); 3] = [
    ("water", AdditionKind::Water),
    ("concentrate", AdditionKind::Concentrate),
    ("premix", AdditionKind::Premix),
];
const HAPPENINGS: [(&str, HappeningKind); 9] = [
    ("drained", HappeningKind::Drained),
    ("cleaned", HappeningKind::Cleaned),
    ("recharged", HappeningKind::Recharged),
    ("skimmed", HappeningKind::Skimmed),
    ("probe_cleaned", HappeningKind::ProbeCleaned),
    ("probe_calibrated", HappeningKind::ProbeCalibrated),
    ("pumps_on", HappeningKind::PumpsOn),
    ("pumps_off", HappeningKind::PumpsOff),
    ("water_measured", HappeningKind::WaterMeasured),
];
const METHODS: [(&str, Method); 6] = [
    ("refractometer", Method::Refractometer),
    ("titration", Method::Titration),
    ("laboratory", Method::Laboratory),
    ("test_strip", Method::TestStrip),
    ("meter", Method::Meter),
    ("dip_slide", Method::DipSlide),
];
const SMELLS: [(&str, Smell); 4] = [
    ("fresh", Smell::Fresh),
    ("stale", Smell::Stale),
    ("bad", Smell::Bad),
    ("rotten", Smell::Rotten),
];
const LOOKS: [(&str, Look); 7] = [
    ("fresh", Look::Fresh),
    ("discoloured", Look::Discoloured),
    ("dirty", Look::Dirty),
    ("foam", Look::Foam),
    ("oil_film", Look::OilFilm),
    ("split", Look::Split),
    ("slime", Look::Slime),
];

/// Reads an entry; returns it with the place of its sump, or the one behind the
/// last sump for an entry of the plant. An entry without an
/// id gets one made from its content, in which neither the order of the fields
/// nor white space counts.
///
/// # Errors
/// When it is not an entry or does not fit the plant.
pub fn decode_entry(
    payload: &[u8],
    sumps: &[Arc<SumpSetup>],
) -> Result<(usize, Entry), EntryError> {
    if payload.len() > LONGEST {
        return Err(EntryError::TooLong(payload.len()));
    }
    let written: Map<String, Value> = serde_json::from_slice(payload)
        .map_err(|error| EntryError::NotAnEntry(error.to_string()))?;
    let made = content_id(&written);
    let mut fields = Fields::new(written);
    let kind = fields.needed_word("kind", &KINDS)?;

    let id = fields.text("id", LONGEST_NAME)?.unwrap_or(made);
    let sump = fields.needed_text("sump", LONGEST_NAME, "the name of a sump")?;
    let place = match sumps.iter().position(|one| *one.name == *sump) {
        None if sump == PLANT => sumps.len(),
        place => place.ok_or_else(|| unknown_sump(&sump, sumps))?,
    };
    let entry = Entry {
        id,
        time: time(&mut fields)?,
        sump,
        by: fields.text("by", LONGEST_WORD)?,
        supersedes: fields.text("supersedes", LONGEST_NAME)?,
        kind: particular(kind, &mut fields, sumps.get(place).map(|sump| &**sump))?,
    };
    fields.nothing_left(kind.name)?;
    supersedes_another(&entry)?;
    Ok((place, entry))
}

/// What is particular to the kind; of the plant there is no `sump`.
fn particular(
    kind: Kind,
    fields: &mut Fields,
    sump: Option<&SumpSetup>,
) -> Result<EntryKind, EntryError> {
    match (kind.read, sump) {
        (Read::Any(read), _) => read(fields),
        (Read::Sump(read), Some(sump)) => read(fields, sump),
        (Read::Sump(_), None) => {
            let allowed = "an entry of this kind is about one sump; for the plant there are note, withdrawn, and what is done about alarms";
            Err(wrong("sump", format!("\"{PLANT}\""), allowed))
        }
    }
}

/// The id of an entry that was given none.
fn content_id(written: &Map<String, Value>) -> String {
    // The fields of a map stand in the order of their names.
    let content = Value::Object(written.clone()).to_string();
    format!("{:016x}", fnv1a(content.bytes()))
}

fn time(fields: &mut Fields) -> Result<Timestamp, EntryError> {
    const ALLOWED: &str = "a time after RFC 3339 is needed, as 2026-03-02T06:10:00Z";
    let text = fields.needed_text("time", LONGEST_WORD, ALLOWED)?;
    Timestamp::parse(&text).map_err(|_| wrong("time", format!("\"{text}\""), ALLOWED))
}

fn supersedes_another(entry: &Entry) -> Result<(), EntryError> {
    let withdrawn = matches!(entry.kind, EntryKind::Withdrawn { .. });
    match &entry.supersedes {
        None if withdrawn => Err(missing(
            "supersedes",
            "the id of the entry that is taken back",
        )),
        Some(id) if *id == entry.id => Err(wrong(
            "supersedes",
            "the entry's own id".to_owned(),
            "the id of an earlier entry is needed, and another one for this",
        )),
        _ => Ok(()),
    }
}

fn hand_reading(fields: &mut Fields, sump: &SumpSetup) -> Result<EntryKind, EntryError> {
    let quantity = fields.needed_word("quantity", &plausible::BY_HAND)?;
    let number = fields.needed_number("value", "a number is needed")?;
    let unit = fields.text("unit", LONGEST_WORD)?;
    let value = match &unit {
        None => number,
        Some(unit) => in_own_unit(quantity, number, unit)?,
    };
    plausible::check(quantity, value)?;
    let written = unit.filter(|unit| *unit != quantity.unit());
    Ok(EntryKind::HandReading {
        quantity,
        value,
        method: fields.word("method", &METHODS)?,
        mixer: mixer(fields, quantity, sump)?,
        written: written.map(|unit| format!("{number} {unit}")),
    })
}

/// The mixer at whose outlet something was read: one of the sump's, and a
/// strength.
fn mixer(
    fields: &mut Fields,
    quantity: Quantity,
    sump: &SumpSetup,
) -> Result<Option<String>, EntryError> {
    let Some(name) = fields.text("mixer", LONGEST_NAME)? else {
        return Ok(None);
    };
    let names = || sump.mixers.iter().map(|mixer| &*mixer.name);
    if !names().any(|known| known == name) {
        return Err(EntryError::Wrong {
            field: "mixer",
            found: format!("\"{name}\""),
            allowed: format!("sump {} has these mixers: {}", sump.name, listed(names())),
            near: nearest(&name, names()).map(str::to_owned),
        });
    }
    if !matches!(quantity, Quantity::Brix | Quantity::Concentration) {
        let allowed = "it goes with brix and concentration only";
        return Err(wrong("mixer", format!("\"{name}\""), allowed));
    }
    Ok(Some(name))
}

fn in_own_unit(quantity: Quantity, number: f64, unit: &str) -> Result<f64, EntryError> {
    let units = quantity.units();
    let line = quantity
        .unit_conversion(unit)
        .map_err(|_| EntryError::Wrong {
            field: "unit",
            found: format!("\"{unit}\""),
            allowed: format!("of {quantity} these are allowed: {}", units.join(", ")),
            near: nearest(unit, units.iter().copied()).map(str::to_owned),
        })?;
    Ok(line.apply(number))
}

fn impression(fields: &mut Fields, _: &SumpSetup) -> Result<EntryKind, EntryError> {
    let smell = fields.word("smell", &SMELLS)?;
    let look = fields.words("look", &LOOKS)?;
    let text = fields.text("text", LONGEST_TEXT)?;
    if smell.is_none() && look.is_empty() && text.is_none() {
        return Err(missing("smell", "one of smell, look and text is needed"));
    }
    Ok(EntryKind::Impression { smell, look, text })
}

fn addition(fields: &mut Fields, sump: &SumpSetup) -> Result<EntryKind, EntryError> {
    let what = fields.needed_word("what", &ADDITIONS)?;
    let litres = fields.needed_number("litres", "a number of litres is needed")?;
    plausible::litres(litres, sump)?;
    let strength_pct = fields.number("strength_pct")?;
    check_strength(what, strength_pct)?;
    let water = fields.text("water", LONGEST_WORD)?;
    if let (AdditionKind::Concentrate, Some(water)) = (what, &water) {
        let allowed = "it goes with water and premix only";
        return Err(wrong("water", format!("\"{water}\""), allowed));
    }
    Ok(EntryKind::Addition {
        what,
        litres,
        strength_pct,
        water,
        advice: fields.text("advice", LONGEST_NAME)?,
    })
}

fn check_strength(what: AdditionKind, strength: Option<f64>) -> Result<(), EntryError> {
    match (what, strength) {
        (AdditionKind::Premix, None) => Err(missing(
            "strength_pct",
            "a premix needs it, its concentration in % by volume",
        )),
        (AdditionKind::Premix, Some(found)) if !(0.0..=100.0).contains(&found) => Err(wrong(
            "strength_pct",
            found.to_string(),
            "0 to 100 are allowed",
        )),
        (AdditionKind::Water | AdditionKind::Concentrate, Some(found)) => Err(wrong(
            "strength_pct",
            found.to_string(),
            "it goes with a premix only; water is 0 % and concentrate 100 %",
        )),
        _ => Ok(()),
    }
}

fn event(fields: &mut Fields, sump: &SumpSetup) -> Result<EntryKind, EntryError> {
    let what = fields.needed_word("what", &HAPPENINGS)?;
    let litres = fields.number("litres")?;
    if let Some(litres) = litres {
        plausible::litres(litres, sump)?;
    }
    let channel = fields.text("channel", LONGEST_NAME)?;
    if let Some(name) = &channel {
        check_channel(name, sump)?;
    }
    Ok(EntryKind::Event {
        what,
        litres,
        channel,
        advice: fields.text("advice", LONGEST_NAME)?,
    })
}

fn note(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let text = fields.needed_text("text", LONGEST_TEXT, "the words of the note")?;
    Ok(EntryKind::Note { text })
}

fn acknowledge(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let alarm = fields.needed_text("alarm", LONGEST_NAME, "the id of the alarm")?;
    Ok(EntryKind::Acknowledge { alarm })
}

/// An alarm may be shelved for so long at most, h: a shelf is for hours or days;
/// what lasts longer is out of service. Choice.
const LONGEST_SHELF_HOURS: f64 = 168.0;

fn shelve(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let alarm = called(fields)?;
    let hours = fields.needed_number("hours", "for how many hours")?;
    if !(hours > 0.0 && hours <= LONGEST_SHELF_HOURS) {
        let allowed =
            format!("above 0 and up to {LONGEST_SHELF_HOURS}; for longer, out_of_service is meant");
        return Err(wrong("hours", hours.to_string(), &allowed));
    }
    let reason = reason(fields)?;
    Ok(EntryKind::Shelve {
        alarm,
        hours,
        reason,
    })
}

fn unshelve(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let alarm = called(fields)?;
    Ok(EntryKind::Unshelve { alarm })
}

fn out_of_service(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let alarm = called(fields)?;
    let reason = reason(fields)?;
    Ok(EntryKind::OutOfService { alarm, reason })
}

fn in_service(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let alarm = called(fields)?;
    Ok(EntryKind::InService { alarm })
}

fn reset(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let alarm = called(fields)?;
    Ok(EntryKind::Reset { alarm })
}

fn called(fields: &mut Fields) -> Result<String, EntryError> {
    let what = "the id of the alarm, or its name: concentration.low";
    fields.needed_text("alarm", LONGEST_NAME, what)
}

fn reason(fields: &mut Fields) -> Result<String, EntryError> {
    fields.needed_text("reason", LONGEST_TEXT, "why, in your words")
}

fn withdrawn(fields: &mut Fields) -> Result<EntryKind, EntryError> {
    let text = fields.text("text", LONGEST_TEXT)?;
    Ok(EntryKind::Withdrawn { text })
}

fn unknown_sump(found: &str, sumps: &[Arc<SumpSetup>]) -> EntryError {
    let names = || sumps.iter().map(|sump| &*sump.name);
    EntryError::UnknownSump {
        found: found.to_owned(),
        known: listed(names()),
        near: nearest(found, names()).map(str::to_owned),
    }
}

fn check_channel(name: &str, sump: &SumpSetup) -> Result<(), EntryError> {
    let names = || sump.channels.iter().map(|channel| &*channel.name);
    if names().any(|channel| channel == name) {
        return Ok(());
    }
    Err(EntryError::UnknownChannel {
        sump: sump.name.to_string(),
        found: name.to_owned(),
        known: listed(names()),
        near: nearest(name, names()).map(str::to_owned),
    })
}
