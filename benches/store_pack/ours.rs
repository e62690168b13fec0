//! The store.

use std::fmt::{self, Display, Formatter};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, mpsc};
use std::time::{Duration, Instant};

use sumpward::engine::{Sample, SeriesIx};
use sumpward::store::{
    Batch, FILE_NAME, Keeper, KeeperSetup, Limits, Reader, SeriesKind, SeriesMap, SeriesRow, Store,
    Writer, WriterHandle,
};
use sumpward::units::{Quantity, Timestamp};

use super::data::{Kind, START, STEP};

/// Rows of a commit while the store is filled.
const COMMIT: usize = 10_000;

/// The series that somebody writes while the others are packed.
fn rows(series: usize) -> Vec<SeriesRow> {
    (0..=series)
        .map(|n| SeriesRow {
            sump: format!("sump-{}", n / 6).into(),
            channel: format!("channel-{}", n % 6).into(),
            quantity: Quantity::Concentration,
            kind: SeriesKind::Reading,
        })
        .collect()
}

/// A store that is filled with these values.
fn filled(folder: &Path, kind: Kind, series: usize, values: usize) -> (Writer<()>, SeriesMap) {
    let mut store = Store::open(folder).expect("an empty folder takes a store");
    let map = store.register(&rows(series)).expect("names differ");
    let limits = Limits {
        queue: 4,
        group_rows: COMMIT,
        ..Limits::default()
    };
    let (sender, receipts) = mpsc::channel();
    let after_commit = Box::new(move |receipt| {
        // Fails only once the measurement is over.
        let _ = sender.send(receipt);
    });
    let writer = Writer::<()>::start(store, map.clone(), limits, after_commit).expect("a thread");
    let handle = writer.handle();
    let total = series * values;
    let mut spare = Vec::new();
    for first in (0..total).step_by(COMMIT) {
        spare.extend(receipts.try_iter().flat_map(|receipt| receipt.emptied));
        let mut batch: Batch<()> = spare.pop().unwrap_or_default();
        let places = first..total.min(first + COMMIT);
        let samples = places.map(|n| kind.sample(n % series, n / series));
        batch.samples.extend(samples);
        handle.submit(batch).expect("the writer runs");
    }
    handle.flush().expect("the writer runs");
    (writer, map)
}

/// Packs everything, tells what it took, and gives the bytes of a packed value.
pub(crate) fn measure(kind: Kind, series: usize, values: usize) -> f64 {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let begun = Instant::now();
    let (writer, _) = filled(folder.path(), kind, series, values);
    let total = (series * values) as f64;
    println!(
        "  written: {:.0} rows/s, {:.1} bytes a row",
        total / begun.elapsed().as_secs_f64(),
        used(folder.path(), "readings") / total
    );
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(folder.path(), writer.handle(), setup).expect("a store");
    let now = Timestamp::from_millis(START + STEP * values as i64 + 48 * 3_600_000);
    let begun = Instant::now();
    let beside = commits_during(&writer.handle(), series, 0, || {
        while keeper.round(now).expect("the writer runs") {}
    });
    let took = begun.elapsed();
    println!(
        "  packed and rolled up: {:.0} rows/s",
        total / took.as_secs_f64()
    );
    println!("  commits of others meanwhile: {beside}");
    // As long, so that the disk has as many occasions to be slow.
    let alone = commits_during(&writer.handle(), series, beside.0.len(), || {
        std::thread::sleep(took);
    });
    println!("  commits without packing: {alone}");
    let packed = used(folder.path(), "blocks") + used(folder.path(), "blocks_by_series");
    let rolled = used(folder.path(), "rollups");
    let minutes = used(folder.path(), "rollup_minutes")
        + used(folder.path(), "sqlite_autoindex_rollup_minutes_1");
    let reader = Reader::open(folder.path()).expect("a store");
    let kept = reader.count_readings(SeriesKind::Reading).expect("a store");
    assert!(kept >= total as u64, "{kept} values are left");
    println!(
        "  {:.3} bytes a packed value, with its index; rollups besides: minutes {:.3}, hours and days {:.3}",
        packed / total,
        minutes / total,
        rolled / total
    );
    writer.stop().expect("the store closes");
    packed / total
}

/// How long each commit took, from its being handed over, the shortest first.
struct Commits(Vec<Duration>);

impl Display for Commits {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        let count = self.0.len();
        let at = |share: f64| {
            let place = (share * (count - 1) as f64) as usize;
            self.0[place].as_secs_f64() * 1e3
        };
        write!(
            f,
            "{count}, median {:.1} ms, 99 % within {:.1} ms, 99.9 % within {:.1} ms, longest {:.1} ms",
            at(0.5),
            at(0.99),
            at(0.999),
            at(1.0)
        )
    }
}

/// Commits a row again and again while `work` is done; `before` of them were committed
/// earlier.
fn commits_during(
    handle: &WriterHandle<()>,
    series: usize,
    before: usize,
    work: impl FnOnce(),
) -> Commits {
    let over = Arc::new(AtomicBool::new(false));
    let (done, handle) = (Arc::clone(&over), handle.clone());
    let thread = std::thread::spawn(move || {
        let mut took = Vec::new();
        while took.is_empty() || !done.load(Ordering::Relaxed) {
            let sample = Sample {
                series: SeriesIx(series as u32),
                ..Kind::Smooth.sample(0, 100_000_000 + before + took.len())
            };
            let batch = Batch {
                samples: vec![sample],
                urgent: true,
                ..Batch::default()
            };
            let begun = Instant::now();
            handle.submit(batch).expect("the writer runs");
            handle.flush().expect("the writer runs");
            took.push(begun.elapsed());
            std::thread::sleep(Duration::from_millis(5));
        }
        took
    });
    work();
    over.store(true, Ordering::Relaxed);
    let mut took = thread.join().expect("it does not panic");
    took.sort_unstable();
    Commits(took)
}

/// Bytes of the pages of a table or an index.
fn used(folder: &Path, name: &str) -> f64 {
    let other = rusqlite::Connection::open(folder.join(FILE_NAME)).expect("a store");
    let sql = "SELECT coalesce(sum(pgsize), 0) FROM dbstat WHERE name = ?1 AND aggregate = TRUE";
    other
        .query_row(sql, [name], |row| row.get(0))
        .expect("SQLite tells")
}

/// One series of a year, drawn.
pub(crate) fn draw_a_year() {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let minutes = 365 * 24 * 60;
    let (writer, map) = filled(folder.path(), Kind::Noisy, 10, minutes);
    let end = START + STEP * minutes as i64;
    let now = Timestamp::from_millis(end + 48 * 3_600_000);
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(folder.path(), writer.handle(), setup).expect("a store");
    while keeper.round(now).expect("the writer runs") {}
    let reader = Reader::open(folder.path()).expect("a store");
    let id = map.id(SeriesIx(3)).expect("it is registered");
    let (from, to) = (Timestamp::from_millis(START), Timestamp::from_millis(end));
    let mut took: Vec<f64> = (0..21)
        .map(|_| {
            let begun = Instant::now();
            let drawn = reader.draw(id, from, to, 1_000).expect("a store");
            assert_eq!(drawn.len(), 1_000);
            begun.elapsed().as_secs_f64() * 1e3
        })
        .collect();
    took.sort_by(f64::total_cmp);
    println!(
        "a year of one series, {minutes} values, in 1,000 points: {:.1} ms (median of 21, longest {:.1} ms)",
        took[10], took[20]
    );
    writer.stop().expect("the store closes");
}
