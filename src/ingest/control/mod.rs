//! The control socket: how the programs of the machine itself talk to the
//! running daemon, and nobody else does.
//!
//! `control.sock` lies in the store's folder, which only the daemon's user and
//! root may enter; its mode is 0600. One JSON object a line goes in, one comes
//! back for each, in order. Both carry the version of their shape, `"v": 1`:
//!
//! ```text
//! {"v":1,"ask":"who"}
//! {"v":1,"answer":"who","program":"0.1.0","plant":"north-works",
//!  "sumps":[{"name":"turning-cell","title":"…","channels":[{"name":"brix","quantity":"brix","unit":"°Bx"}]}]}
//!
//! {"v":1,"ask":"entry","entry":{"kind":"note","time":"2026-03-02T09:15:00Z","sump":"turning-cell","text":"…"}}
//! {"v":1,"answer":"taken","sump":"turning-cell","id":"52a1…","known":false}
//!
//! {"v":1,"ask":"import_position","file":"a1b2…-9120"}
//! {"v":1,"answer":"import_position","rows":0}
//!
//! {"v":1,"ask":"import_readings","file":"a1b2…-9120","done":1000,"last":false,
//!  "rows":[{"time":"2026-01-01T00:00:00Z","sump":"turning-cell","channel":"brix","value":7.1}]}
//! {"v":1,"answer":"imported","stored":999,"known":1,"conflicts":0,"refused":[]}
//!
//! {"v":1,"ask":"entries","history":true,"entries":[{"kind":"note",…}]}
//! {"v":1,"answer":"imported","stored":0,"known":0,"conflicts":0,"refused":[{"row":0,"why":"there is no sump …"}]}
//! ```
//!
//! What cannot be read or taken as a whole is answered by
//! `{"v":1,"answer":"refused","why":"…"}`.
//!
//! Promises:
//! - "taken" and "imported" are said only once everything that they speak of
//!   is committed. Without an answer nothing is known: send it again, it is
//!   taken once.
//! - Imported readings go to the store at their own time, marked late, and
//!   past the engine: they raise no alarm, now or after a restart, and never
//!   replace what is there. Entries of history go to the journal, marked late,
//!   and change nothing else; others are as those that come over MQTT.
//! - A row may say its marks in words, `"quality":"fault unsure"`, as the
//!   store's view `readings_plain` writes them.
//! - `done` counts the rows of the file that have been dealt with; it is kept
//!   in the transaction of the rows, until the `last` ones.
//! - A line is at most [`LONGEST_LINE`] long, at most [`CONNECTIONS`] peers
//!   are heard at once, and a peer that is slow in writing or reading is cut.
//!
//! Refuses: to be reached over a network; to drop anything untold.

mod client;
mod door;
mod entries;
mod history;
mod listen;
mod pending;
mod requests;
mod shape;

use std::path::PathBuf;
use std::sync::Arc;

use tokio::sync::Mutex;

use super::intake::{Ack, Intake};
use super::refusals::IngestCounters;
use crate::engine::{AdmissionSetup, SumpSetup};
use crate::store::WriterHandle;
use crate::units::Timestamp;

pub use client::{Client, ClientError};
pub use door::EntryDoor;
pub use history::channels_digest;
pub use listen::{CONNECTIONS, LONGEST_LINE, SOCKET_NAME, SocketError};
pub use pending::{Pending, answer_committed};
pub use shape::{
    Answer, ChannelShape, HistoryRow, Imported, Message, Request, RowRefused, SumpShape, VERSION,
    Who,
};

/// The control socket as a source.
pub struct Control {
    /// Its place among the sources.
    pub ix: u16,
    /// The plant's name.
    pub plant: Arc<str>,
    /// The plant's sumps, which everything is checked against.
    pub sumps: Arc<[Arc<SumpSetup>]>,
    /// Which times are believed.
    pub admission: AdmissionSetup,
    /// The store's folder; the socket is made in it.
    pub folder: PathBuf,
    /// The doors of the shards.
    pub intake: Intake,
    /// Takes imported readings.
    pub writer: WriterHandle<Ack>,
    /// What waits for its commit.
    pub pending: Arc<Pending>,
    /// Held while entries are looked up and put in, so that two files with the
    /// same ones do not both find them missing.
    pub entering: Mutex<()>,
    /// What it counts.
    pub counters: Arc<IngestCounters>,
    /// The clock.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
}
