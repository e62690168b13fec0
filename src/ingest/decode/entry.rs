//! What a person wrote, as JSON: read and checked against the plant.

use crate::engine::{AdditionKind, Entry, EntryKind, SumpSetup};

use super::super::recent::fnv1a;

/// Longest entry, in bytes.
const LONGEST: usize = 16 * 1024;

/// Why an entry is not taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EntryError {
    /// Too long.
    #[error("the entry has {0} bytes; at most {LONGEST} are taken")]
    TooLong(usize),
    /// Not the JSON of an entry.
    #[error("not an entry: {0}; see \"Entries\" in the README")]
    NotAnEntry(String),
    /// There is no such sump.
    #[error("there is no sump \"{found}\"; the plant has {known}")]
    UnknownSump {
        /// What was written.
        found: String,
        /// The sumps there are.
        known: String,
    },
    /// The sump has no such channel.
    #[error("sump {sump} has no channel \"{found}\"; it has {known}")]
    UnknownChannel {
        /// The sump.
        sump: String,
        /// What was written.
        found: String,
        /// The channels there are.
        known: String,
    },
    /// A number that cannot be.
    #[error("{field} is {found}; {allowed}")]
    Number {
        /// The field.
        field: &'static str,
        /// What was written.
        found: f64,
        /// What is allowed.
        allowed: &'static str,
    },
    /// A premix without its strength, or a strength where there is none.
    #[error("{0}")]
    Strength(&'static str),
}

/// Reads an entry; returns it with the place of its sump. An entry without an
/// id gets one made from its content.
///
/// # Errors
/// When it is not an entry or does not fit the plant.
pub fn decode_entry(payload: &[u8], sumps: &[SumpSetup]) -> Result<(usize, Entry), EntryError> {
    if payload.len() > LONGEST {
        return Err(EntryError::TooLong(payload.len()));
    }
    let mut entry: Entry = serde_json::from_slice(payload)
        .map_err(|error| EntryError::NotAnEntry(error.to_string()))?;
    let place = sumps.iter().position(|sump| *sump.name == *entry.sump);
    let Some(place) = place else {
        return Err(EntryError::UnknownSump {
            found: entry.sump,
            known: listed(sumps.iter().map(|sump| &*sump.name)),
        });
    };
    check(&entry.kind, &sumps[place])?;
    if entry.id.is_empty() {
        entry.id = format!("{:016x}", fnv1a(payload.iter().copied()));
    }
    Ok((place, entry))
}

fn check(kind: &EntryKind, sump: &SumpSetup) -> Result<(), EntryError> {
    match kind {
        EntryKind::HandReading { value, .. } => finite("value", *value),
        EntryKind::Addition {
            what,
            litres,
            strength_pct,
            ..
        } => {
            positive("litres", *litres)?;
            check_strength(*what, *strength_pct)
        }
        EntryKind::Event {
            litres, channel, ..
        } => {
            if let Some(litres) = litres {
                positive("litres", *litres)?;
            }
            channel
                .as_deref()
                .map_or(Ok(()), |name| check_channel(name, sump))
        }
        EntryKind::Note { .. } | EntryKind::Acknowledge { .. } => Ok(()),
    }
}

fn check_strength(what: AdditionKind, strength: Option<f64>) -> Result<(), EntryError> {
    match (what, strength) {
        (AdditionKind::Premix, None) => Err(EntryError::Strength(
            "a premix needs strength_pct, its concentration in % by volume",
        )),
        (AdditionKind::Premix, Some(found)) if !(0.0..=100.0).contains(&found) => {
            Err(EntryError::Number {
                field: "strength_pct",
                found,
                allowed: "0 to 100 are allowed",
            })
        }
        (AdditionKind::Water | AdditionKind::Concentrate, Some(_)) => Err(EntryError::Strength(
            "strength_pct goes with a premix only; water is 0 % and concentrate 100 %",
        )),
        _ => Ok(()),
    }
}

fn check_channel(name: &str, sump: &SumpSetup) -> Result<(), EntryError> {
    if sump.channels.iter().any(|channel| *channel.name == *name) {
        return Ok(());
    }
    Err(EntryError::UnknownChannel {
        sump: sump.name.to_string(),
        found: name.to_owned(),
        known: listed(sump.channels.iter().map(|channel| &*channel.name)),
    })
}

fn finite(field: &'static str, found: f64) -> Result<(), EntryError> {
    if found.is_finite() {
        Ok(())
    } else {
        Err(EntryError::Number {
            field,
            found,
            allowed: "a finite number is needed",
        })
    }
}

fn positive(field: &'static str, found: f64) -> Result<(), EntryError> {
    if found.is_finite() && found > 0.0 {
        Ok(())
    } else {
        Err(EntryError::Number {
            field,
            found,
            allowed: "more than 0 is needed",
        })
    }
}

fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    names.collect::<Vec<_>>().join(", ")
}
