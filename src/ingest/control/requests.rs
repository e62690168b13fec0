//! What is done for each request.

use std::collections::HashSet;
use std::sync::{Arc, OnceLock};

use tokio::sync::oneshot;
use tokio::task::spawn_blocking;

use super::shape::{Answer, ChannelShape, Imported, Request, RowRefused, SumpShape, VERSION, Who};
use super::{Control, history};
use crate::engine::{Entry, SumpSetup};
use crate::ingest::answer::{AnswerTo, EntryOutcome};
use crate::ingest::decode::decode_entry;
use crate::ingest::intake::{Ack, Arrived, Batch, Content};
use crate::ingest::refusals::IngestCounters;
use crate::store::{self, CursorRow, Reader, StoreError, Tally};
use crate::units::Timestamp;

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

/// Where entries come from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Origin {
    /// Somebody writes them down now.
    Present,
    /// They are out of old files.
    History,
}

impl Origin {
    fn content(self, entry: Entry, answer: AnswerTo) -> Content {
        let entry = Box::new(entry);
        match self {
            Origin::Present => Content::Entry { entry, answer },
            Origin::History => Content::PastEntry(entry),
        }
    }
}

impl Imported {
    fn refuse(&mut self, row: usize, why: String) {
        self.refused.push(RowRefused { row, why });
    }
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
            sumps: self.sumps.iter().map(sump_shape).collect(),
        }
    }

    async fn entry(&self, written: serde_json::Value) -> Result<Answer, RequestError> {
        let (place, entry) = self.read_entry(&written)?;
        let (sump, id) = key(&entry);
        let one = vec![(place, entry)];
        let outcome = self.take(one, Origin::Present).await?.pop();
        match outcome.unwrap_or(EntryOutcome::Known) {
            EntryOutcome::Refused { why } => Err(RequestError::Correction(why)),
            EntryOutcome::Known => Ok(Answer::Taken {
                sump,
                id,
                known: true,
                note: None,
            }),
            EntryOutcome::Taken { note } => Ok(Answer::Taken {
                sump,
                id,
                known: false,
                note,
            }),
        }
    }

    fn read_entry(&self, written: &serde_json::Value) -> Result<(u32, Entry), RequestError> {
        let (place, entry) = decode_entry(written.to_string().as_bytes(), &self.sumps)?;
        Ok((place as u32, entry))
    }

    async fn entries(
        &self,
        written: &[serde_json::Value],
        origin: Origin,
    ) -> Result<Answer, RequestError> {
        let mut imported = Imported::default();
        let (mut read, mut rows) = (Vec::new(), Vec::new());
        for (row, written) in written.iter().enumerate() {
            match self.read_entry(written) {
                Ok(entry) => {
                    read.push(entry);
                    rows.push(row);
                }
                Err(why) => imported.refuse(row, why.to_string()),
            }
        }
        let outcomes = self.take(read, origin).await?;
        for (row, outcome) in rows.into_iter().zip(outcomes) {
            match outcome {
                EntryOutcome::Taken { .. } => imported.stored += 1,
                EntryOutcome::Known => imported.known += 1,
                EntryOutcome::Refused { why } => imported.refuse(row, why),
            }
        }
        imported.refused.sort_by_key(|refused| refused.row);
        Ok(Answer::Imported(imported))
    }

    /// Has entries taken that the store does not know, and says what became of
    /// each, in their order.
    async fn take(
        &self,
        entries: Vec<(u32, Entry)>,
        origin: Origin,
    ) -> Result<Vec<EntryOutcome>, RequestError> {
        let _one_at_a_time = self.entering.lock().await;
        let keys = entries.iter().map(|(_, entry)| key(entry)).collect();
        let mut known = self.known(keys).await?;
        let mut askers = Vec::with_capacity(entries.len());
        let mut contents = Vec::with_capacity(entries.len());
        for (place, entry) in entries {
            let asker = Arc::new(OnceLock::new());
            if known.insert(key(&entry)) {
                let answer = AnswerTo::Asker(Arc::clone(&asker));
                contents.push((place, origin.content(entry, answer)));
            } else {
                // It is the first to say so.
                let _ = asker.set(EntryOutcome::Known);
            }
            askers.push(asker);
        }
        self.put(contents).await?;
        let plainly = EntryOutcome::Taken { note: None };
        Ok(askers
            .iter()
            .map(|asker| asker.get().unwrap_or(&plainly).clone())
            .collect())
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

    /// Which of these entries, by sump and id, the store has.
    async fn known(
        &self,
        keys: Vec<(String, String)>,
    ) -> Result<HashSet<(String, String)>, RequestError> {
        self.read_store(move |reader| {
            let mut known = HashSet::new();
            for (sump, id) in keys {
                if reader.has_entry(&sump, &id)? {
                    known.insert((sump, id));
                }
            }
            Ok(known)
        })
        .await
    }

    async fn read_store<T: Send + 'static>(
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

    /// Hands what was read to the shards and waits until it is on the disk.
    async fn put(&self, contents: Vec<(u32, Content)>) -> Result<(), RequestError> {
        if contents.is_empty() {
            return Ok(());
        }
        let arrival: Timestamp = (self.clock)();
        let (ack, committed) = self.pending.expect(self.ix, contents.len() as u32);
        let mut batches: Vec<Batch> = (0..self.intake.shards())
            .map(|_| Batch::default())
            .collect();
        for (sump, content) in contents {
            let (shard, _) = self.intake.place(sump);
            batches[shard].arrived.push(Arrived {
                sump,
                arrival,
                content,
                ack: Some(ack.clone()),
            });
        }
        for (shard, batch) in batches.into_iter().enumerate() {
            if !batch.arrived.is_empty() && self.intake.send(shard, batch).await.is_err() {
                self.pending.forget(&ack);
                return Err(RequestError::Stopping);
            }
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

fn key(entry: &Entry) -> (String, String) {
    (entry.sump.clone(), entry.id.clone())
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

async fn wait(committed: oneshot::Receiver<()>) -> Result<(), RequestError> {
    committed.await.map_err(|_| RequestError::Stopping)
}
