//! Why an entry is not taken: the field, what was found, what is allowed, and
//! the nearest right word.

use super::LONGEST;

/// So many names are listed.
const LISTED: usize = 12;

/// Why an entry is not taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum EntryError {
    /// Too long.
    #[error("the entry has {0} bytes; at most {LONGEST} are taken")]
    TooLong(usize),
    /// No JSON object.
    #[error("not an entry: {0}; see \"Entries\" in the README")]
    NotAnEntry(String),
    /// A field is not there that must be.
    #[error("{field} is missing; {allowed}")]
    Missing {
        /// The field.
        field: &'static str,
        /// What is wanted.
        allowed: String,
    },
    /// There is no such field.
    #[error(
        "there is no field \"{found}\" in an entry of the kind {kind}; allowed are {allowed}{}",
        meant(near)
    )]
    Field {
        /// What was written.
        found: String,
        /// The kind of the entry.
        kind: &'static str,
        /// The fields there are.
        allowed: String,
        /// The nearest one.
        near: Option<String>,
    },
    /// A field holds what it must not.
    #[error("{field} is {found}; {allowed}{}", meant(near))]
    Wrong {
        /// The field.
        field: &'static str,
        /// What was written.
        found: String,
        /// What is allowed.
        allowed: String,
        /// The nearest right word.
        near: Option<String>,
    },
    /// There is no such sump.
    #[error("there is no sump \"{found}\"; the plant has {known}{}", meant(near))]
    UnknownSump {
        /// What was written.
        found: String,
        /// The sumps there are.
        known: String,
        /// The nearest one.
        near: Option<String>,
    },
    /// The sump has no such channel.
    #[error(
        "channel: sump {sump} has no channel \"{found}\"; it has {known}{}",
        meant(near)
    )]
    UnknownChannel {
        /// The sump.
        sump: String,
        /// What was written.
        found: String,
        /// The channels there are.
        known: String,
        /// The nearest one.
        near: Option<String>,
    },
}

fn meant(near: &Option<String>) -> String {
    near.as_ref()
        .map(|near| format!("; did you mean \"{near}\"?"))
        .unwrap_or_default()
}

pub(super) fn missing(field: &'static str, allowed: &str) -> EntryError {
    EntryError::Missing {
        field,
        allowed: allowed.to_owned(),
    }
}

pub(super) fn wrong(field: &'static str, found: String, allowed: &str) -> EntryError {
    EntryError::Wrong {
        field,
        found,
        allowed: allowed.to_owned(),
        near: None,
    }
}

pub(super) fn listed<'a>(names: impl Iterator<Item = &'a str>) -> String {
    let mut names: Vec<&str> = names.collect();
    let more = names.len().saturating_sub(LISTED);
    names.truncate(LISTED);
    if names.is_empty() {
        "none".to_owned()
    } else if more > 0 {
        format!("{} and {more} more", names.join(", "))
    } else {
        names.join(", ")
    }
}
