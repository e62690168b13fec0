//! The shapes of requests and answers, as the front of this room shows them.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

/// The version of the shapes.
pub const VERSION: u32 = 1;

/// A request or an answer with the version of its shape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Message<T> {
    /// The version, [`VERSION`].
    pub v: u32,
    /// What is said.
    #[serde(flatten)]
    pub body: T,
}

impl<T> Message<T> {
    /// In the present version.
    pub fn new(body: T) -> Self {
        Message { v: VERSION, body }
    }
}

/// What can be asked.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case")]
pub enum Request {
    /// Which plant is this?
    Who,
    /// Take this entry.
    Entry {
        /// The entry, in the shape that it has everywhere.
        entry: serde_json::Value,
    },
    /// How far did an import of this file come that was broken off?
    ImportPosition {
        /// Tells the file from any other; 1 to 64 letters.
        file: String,
    },
    /// Take these rows of a file of readings.
    ImportReadings {
        /// The file.
        file: String,
        /// Rows of the file that are dealt with once these are.
        done: u64,
        /// Nothing comes behind these.
        last: bool,
        /// The rows.
        rows: Vec<HistoryRow>,
    },
    /// Take these entries.
    Entries {
        /// They are out of history: kept as late, they change nothing.
        history: bool,
        /// The entries.
        entries: Vec<serde_json::Value>,
    },
}

/// One reading out of history.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HistoryRow {
    /// When it was taken.
    pub time: Timestamp,
    /// The sump.
    pub sump: String,
    /// The channel of the sump.
    pub channel: String,
    /// The value in the unit in which the channel is kept.
    pub value: f64,
    /// Its marks in words, as the store's view `readings_plain` writes them;
    /// good where they are left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quality: Option<String>,
}

/// What can be answered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "answer", rename_all = "snake_case")]
pub enum Answer {
    /// Who the daemon is.
    Who(Who),
    /// The entry is in the journal.
    Taken {
        /// Its sump.
        sump: String,
        /// Its id, the one that was given or the one that was made.
        id: String,
        /// It was there before.
        known: bool,
        /// What there is to say about it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        note: Option<String>,
    },
    /// How far an import came.
    ImportPosition {
        /// Rows of the file that were dealt with.
        rows: u64,
    },
    /// What became of imported rows or entries.
    Imported(Imported),
    /// The request was not taken.
    Refused {
        /// Why, and what to do.
        why: String,
    },
}

/// Which plant a daemon watches.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Who {
    /// The daemon's version.
    pub program: String,
    /// The plant's name.
    pub plant: String,
    /// Its sumps, by name.
    pub sumps: Vec<SumpShape>,
}

/// A sump of the plant.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SumpShape {
    /// Its name in entries and readings.
    pub name: String,
    /// Its name as people say it.
    pub title: String,
    /// Its channels.
    pub channels: Vec<ChannelShape>,
}

/// A channel of a sump.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChannelShape {
    /// Its name within the sump.
    pub name: String,
    /// What it measures.
    pub quantity: String,
    /// The unit in which it is kept.
    pub unit: String,
}

/// What became of imported rows or entries.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Imported {
    /// Newly stored.
    pub stored: u64,
    /// There before, the same.
    pub known: u64,
    /// There before with another value, which stays.
    pub conflicts: u64,
    /// Not taken.
    pub refused: Vec<RowRefused>,
}

/// A row that was not taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowRefused {
    /// Its place in the request, from 0.
    pub row: usize,
    /// Why.
    pub why: String,
}
