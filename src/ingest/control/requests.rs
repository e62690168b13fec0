//! What is done for each request.

use std::sync::Arc;

use tokio::sync::oneshot;
use tokio::task::spawn_blocking;

use super::entries::Origin;
use super::shape::{Answer, ChannelShape, Imported, Request, SumpShape, VERSION, Who};
use super::{Control, history};
use crate::engine::SumpSetup;
use crate::ingest::intake::Ack;
use crate::ingest::refusals::IngestCounters;
use crate::store::{self, CursorRow, Reader, StoreError, Tally};

/// Before the name of the file in the name of an import's cursor.
const CURSOR: &str = "import/";
/// Imports that were broken off and may go on; of more, the one that stood
/// still longest begins anew.
const BROKEN_OFF: usize = 100;
/// Longest name of a file.
const LONGEST_FILE: usize = 64;

/// Why a request is not taken.
#[derive(Debug, thiserror::Error)]
pub(super) enum RequestError {
    #[error("not a request: {0}; the front of src/ingest/control shows what can be asked")]
    Shape(serde_json::Error),
    #[error(
        "the request is of version {0} and this daemon knows version {VERSION}; use the program of the daemon's own version"
    )]
    Version(u32),
    #[error("the name of a file has 1 to {LONGEST_FILE} letters")]
    File,
    #[error(transparent)]
    Entry(#[from] crate::ingest::decode::EntryError),
    #[error("{0}")]
    Correction(String),
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error("the daemon is stopping; send it again once it runs, it is taken once")]
    Stopping,
}

impl Control {
    /// Does what a line asks for.
    pub(super) async fn answer(&self, line: &[u8]) -> Answer {
        IngestCounters::add(&self.counters.received);
        let outcome = match read(line) {
            Ok(request) => self.act(request).await,
            Err(error) => Err(error),
        };
        outcome.unwrap_or_else(|error| {
            IngestCounters::add(&self.counters.refused);
            Answer::Refused {
                why: error.to_string(),
            }
        })
    }

    async fn act(&self, request: Request) -> Result<Answer, RequestError> {
        match request {
            Request::Who => Ok(Answer::Who(self.who())),
            Request::Entry { entry } => self.entry(entry).await,
            Request::ImportPosition { file } => self.position(cursor(&file)?).await,
            Request::ImportReadings {
                file,
                done,
                last,
                rows,
            } => {
                let cursor = CursorRow {
                    name: cursor(&file)?,
                    position: (!last).then_some(done),
                    moved_at: (self.clock)(),
                };
                self.import_readings(cursor, &rows).await
            }
            Request::Entries { history, entries } => {
                let origin = if history {
                    Origin::History
                } else {
                    Origin::Present
                };
                self.entries(&entries, origin).await
            }
        }
    }

    fn who(&self) -> Who {
        Who {
            program: env!("CARGO_PKG_VERSION").to_owned(),
            plant: self.plant.to_string(),
            sumps: self.sumps.iter().map(|sump| sump_shape(sump)).collect(),
        }
    }

    async fn position(&self, name: String) -> Result<Answer, RequestError> {
        let cursors = self.read_store(|reader| reader.cursors(CURSOR)).await?;
        let found = cursors.iter().find(|cursor| cursor.name == name);
        let rows = found.map_or(0, |cursor| cursor.position);
        let excess = cursors.len().saturating_sub(BROKEN_OFF);
        if excess > 0 {
            let forgotten = cursors.into_iter().filter(|cursor| cursor.name != name);
            let forgotten = forgotten.take(excess).map(|cursor| CursorRow {
                name: cursor.name,
                position: None,
                moved_at: cursor.moved_at,
            });
            let batch = store::Batch {
                cursors: forgotten.collect(),
                ..store::Batch::default()
            };
            self.keep(batch).await?;
        }
        Ok(Answer::ImportPosition { rows })
    }

    /// Puts rows of history into the store, past the engine, with the cursor.
    async fn import_readings(
        &self,
        cursor: CursorRow,
        rows: &[super::HistoryRow],
    ) -> Result<Answer, RequestError> {
        let (samples, refused) =
            history::samples(rows, &self.sumps, &self.admission, (self.clock)());
        let tally = Tally::default();
        self.keep(store::Batch {
            samples,
            cursors: vec![cursor],
            tally: Some(Arc::clone(&tally)),
            ..store::Batch::default()
        })
        .await?;
        let counts = tally.get().copied().unwrap_or_default();
        Ok(Answer::Imported(Imported {
            stored: counts.stored,
            known: counts.duplicates,
            conflicts: counts.conflicts,
            refused,
        }))
    }

    pub(super) async fn read_store<T: Send + 'static>(
        &self,
        read: impl FnOnce(&Reader) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, RequestError> {
        let folder = self.folder.clone();
        let read = spawn_blocking(move || Reader::open(&folder).and_then(|reader| read(&reader)));
        let read = read.await.map_err(|_| RequestError::Stopping)?;
        Ok(read?)
    }

    /// Hands a batch to the store and waits until it is on the disk.
    async fn keep(&self, mut batch: store::Batch<Ack>) -> Result<(), RequestError> {
        let (ack, committed) = self.pending.expect(self.ix, 1);
        batch.acks.push(ack.clone());
        let writer = self.writer.clone();
        let submitted = spawn_blocking(move || writer.submit(batch)).await;
        if !matches!(submitted, Ok(Ok(()))) {
            self.pending.forget(&ack);
            return Err(RequestError::Stopping);
        }
        wait(committed).await
    }
}

fn read(line: &[u8]) -> Result<Request, RequestError> {
    #[derive(serde::Deserialize)]
    struct Version {
        v: u32,
    }
    let Version { v } = serde_json::from_slice(line).map_err(RequestError::Shape)?;
    if v != VERSION {
        return Err(RequestError::Version(v));
    }
    serde_json::from_slice(line).map_err(RequestError::Shape)
}

fn cursor(file: &str) -> Result<String, RequestError> {
    if (1..=LONGEST_FILE).contains(&file.len()) {
        Ok(format!("{CURSOR}{file}"))
    } else {
        Err(RequestError::File)
    }
}

fn sump_shape(sump: &SumpSetup) -> SumpShape {
    let channels = sump.channels.iter().map(|channel| ChannelShape {
        name: channel.name.to_string(),
        quantity: channel.quantity.name().to_owned(),
        unit: channel.quantity.unit().to_owned(),
    });
    SumpShape {
        name: sump.name.to_string(),
        title: sump.title.clone(),
        channels: channels.collect(),
    }
}

pub(super) async fn wait(committed: oneshot::Receiver<()>) -> Result<(), RequestError> {
    committed.await.map_err(|_| RequestError::Stopping)
}
