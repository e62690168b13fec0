//! What alarms of the plant tell of the store's disk and of servers of series.

use serde::{Deserialize, Serialize};

use crate::units::Timestamp;

/// A disk that is too full for the store, and what that has cost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DiskFull {
    /// What the store uses of its file, in millions of bytes.
    pub used_mb: f64,
    /// What it may use.
    pub most_mb: f64,
    /// What is free on its disk; none where the disk does not tell.
    pub free_mb: Option<f64>,
    /// What is to stay free.
    pub least_free_mb: f64,
    /// Readings and estimates deleted before their time since the daemon was
    /// started.
    pub values_deleted: u64,
    /// Of these, those that a server of series had not got yet.
    pub values_not_forwarded: u64,
    /// Minutes and hours, rolled up, deleted before their time.
    pub rollups_deleted: u64,
    /// Readings up to this time were deleted; none where none were.
    pub gone_to: Option<Timestamp>,
}

/// A server of series that does not get what it is to get.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ForwardStuck {
    /// In what way.
    pub kind: StuckKind,
    /// Where it is.
    pub address: String,
    /// The server's words, or why there is no answer: short, on one line, and
    /// without secrets.
    pub why: String,
    /// Readings and estimates that wait for it.
    pub waiting: u64,
    /// Whether there may be more: they are not counted to the end.
    pub waiting_or_more: bool,
    /// Lines that it refused for good since the daemon was started.
    pub dead_letters: u64,
}

/// In what way a server does not get what it is to get.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StuckKind {
    /// It will take nothing until a person has mended something.
    Refused,
    /// It is away or busy.
    Away,
    /// It takes lines, and refuses some for good.
    DeadLetters,
}
