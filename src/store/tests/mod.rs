//! The store as a whole: opened, written to, read from, and mistreated.

mod backups;
mod damage;
mod following;
mod letters;
mod migrating;
mod opening;
mod packing;
mod reading;
mod rolling;
mod writing;

use std::path::Path;
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use tempfile::TempDir;

use super::*;
use crate::engine::{Quality, Sample, SeriesIx};
use crate::units::{Quantity, Span, Timestamp};

/// Nothing in these tests takes as long on any machine.
const DEADLINE: Duration = Duration::from_secs(30);

/// A running writer on a folder of its own; acknowledgements are numbers.
struct Plant {
    folder: TempDir,
    series: SeriesMap,
    writer: Writer<u32>,
    receipts: Receiver<Receipt<u32>>,
}

/// Limits under which nothing is committed before it is asked for.
fn patient() -> Limits {
    Limits {
        linger: DEADLINE,
        ..Limits::default()
    }
}

/// Series 0 and 1 are readings of sump m1, 2 its estimate, 3 a reading of m2.
fn series_rows() -> Vec<SeriesRow> {
    [
        ("m1", "brix", Quantity::Brix, SeriesKind::Reading),
        ("m1", "level", Quantity::Level, SeriesKind::Reading),
        ("m1", "volume", Quantity::Volume, SeriesKind::Estimate),
        ("m2", "brix", Quantity::Brix, SeriesKind::Reading),
    ]
    .map(|(sump, channel, quantity, kind)| SeriesRow {
        sump: sump.into(),
        channel: channel.into(),
        quantity,
        kind,
    })
    .to_vec()
}

impl Plant {
    fn start(limits: Limits) -> Plant {
        Plant::start_in(tempfile::tempdir().unwrap(), limits)
    }

    fn start_in(folder: TempDir, limits: Limits) -> Plant {
        Plant::start_with(&series_rows(), folder, limits)
    }

    fn start_with(rows: &[SeriesRow], folder: TempDir, limits: Limits) -> Plant {
        let mut store = Store::open(folder.path()).unwrap();
        let series = store.register(rows).unwrap();
        let (sender, receipts) = mpsc::channel();
        let after_commit = Box::new(move |receipt| {
            // A test that is over has no use for it.
            let _ = sender.send(receipt);
        });
        let writer = Writer::start(store, series.clone(), limits, after_commit).unwrap();
        Plant {
            folder,
            series,
            writer,
            receipts,
        }
    }

    fn submit(&self, batch: Batch<u32>) {
        self.writer.handle().submit(batch).unwrap();
    }

    /// Commits what was submitted and gives what became of it.
    fn commit(&self, batch: Batch<u32>) -> Receipt<u32> {
        self.submit(batch);
        self.writer.handle().flush().unwrap();
        self.receipts.recv_timeout(DEADLINE).unwrap()
    }

    fn reader(&self) -> Reader {
        Reader::open(self.folder.path()).unwrap()
    }

    /// Everything of one series.
    fn all(&self, series: u32) -> Vec<StoredReading> {
        let id = self.series.id(SeriesIx(series)).unwrap();
        self.reader()
            .readings(id, Timestamp::MIN, Timestamp::MAX, usize::MAX >> 1)
            .unwrap()
    }

    /// Runs SQL on a connection of its own, as another program might.
    fn meddle(&self, sql: &str) {
        rusqlite::Connection::open(self.folder.path().join(FILE_NAME))
            .and_then(|other| other.execute_batch(sql))
            .unwrap();
    }
}

fn at(millis: i64) -> Timestamp {
    Timestamp::from_millis(millis)
}

fn sample(series: u32, millis: i64, value: f64) -> Sample {
    Sample {
        series: SeriesIx(series),
        time: at(millis),
        value,
        quality: Quality::GOOD,
        delay: Span::ZERO,
    }
}

fn samples(samples: Vec<Sample>) -> Batch<u32> {
    Batch {
        samples,
        ..Batch::default()
    }
}

fn message(payload: &str, slot: Option<&str>) -> OutboxRow {
    OutboxRow {
        receiver: BROKER.to_owned(),
        message: None,
        expires: None,
        topic: "plant/m1/state".to_owned(),
        payload: payload.to_owned(),
        retain: slot.is_some(),
        slot: slot.map(str::to_owned),
        created: at(1),
    }
}

fn messages(outbox: Vec<OutboxRow>) -> Batch<u32> {
    Batch {
        outbox,
        ..Batch::default()
    }
}

fn line(time: i64, sump: &str, seq: u64, kind: &'static str, body: &str) -> JournalRow {
    JournalRow {
        time: at(time),
        sump: sump.into(),
        seq,
        kind,
        body: body.to_owned(),
    }
}

fn journal(journal: Vec<JournalRow>) -> Batch<u32> {
    Batch {
        journal,
        ..Batch::default()
    }
}

/// Asks again until the answer is yes.
fn wait_until(what: &str, mut condition: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !condition() {
        assert!(begun.elapsed() < DEADLINE, "in vain: {what}");
        std::thread::yield_now();
    }
}

/// Copies the file and its log as they are now: what a power cut would leave.
fn as_if_cut_off(folder: &Path) -> TempDir {
    let copy = tempfile::tempdir().unwrap();
    for name in [FILE_NAME.to_owned(), format!("{FILE_NAME}-wal")] {
        std::fs::copy(folder.join(&name), copy.path().join(&name)).unwrap();
    }
    copy
}

fn cursor(name: &str, position: Option<u64>) -> CursorRow {
    CursorRow {
        name: name.to_owned(),
        position,
        moved_at: at(1),
    }
}
