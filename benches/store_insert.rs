//! How fast the store takes readings: `cargo bench --bench store_insert`, or
//! with `-- SERIES ROWS COMMIT` for another number of series, of rows in all,
//! and of rows a commit. Every series gets a reading in turn, as from a plant
//! whose channels all report at the same rate. The floor beside it is the least
//! that could be done: the same rows into the same table through rusqlite alone,
//! on one thread, with the same commits.

#![allow(clippy::disallowed_methods)] // it measures real time

use std::sync::atomic::Ordering::Relaxed;
use std::sync::mpsc;
use std::time::Instant;
use std::{env, fs};

use rusqlite::Connection;
use sumpward::engine::{Quality, Sample, SeriesIx};
use sumpward::store::{Batch, FILE_NAME, Limits, SeriesKind, SeriesRow, Store, Writer};
use sumpward::units::{Quantity, Span, Timestamp};

fn main() {
    let given: Vec<usize> = env::args().filter_map(|arg| arg.parse().ok()).collect();
    match given[..] {
        [series, rows, commit] => measure(series, rows, commit),
        _ => {
            measure(50, 1_000_000, 10_000);
            measure(6_000, 1_000_000, 10_000);
        }
    }
}

fn measure(series: usize, rows: usize, commit: usize) {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let mut store = Store::open(folder.path()).expect("an empty folder takes a store");
    let map = store.register(&list(series)).expect("names differ");
    let limits = Limits {
        queue: 4,
        group_rows: commit,
        ..Limits::default()
    };
    let (sender, receipts) = mpsc::channel();
    let after_commit = Box::new(move |receipt| {
        // Fails only once the measurement is over.
        let _ = sender.send(receipt);
    });
    let writer = Writer::<()>::start(store, map, limits, after_commit).expect("a thread");
    let (handle, stats) = (writer.handle(), writer.stats());

    let (begun, busy) = (Instant::now(), processor_seconds());
    let mut spare = Vec::new();
    for first in (0..rows).step_by(commit) {
        spare.extend(receipts.try_iter().flat_map(|receipt| receipt.emptied));
        let mut batch: Batch<()> = spare.pop().unwrap_or_default();
        let last = rows.min(first + commit);
        batch
            .samples
            .extend((first..last).map(|n| sample(n, series)));
        handle.submit(batch).expect("the writer runs");
    }
    handle.flush().expect("the writer runs");
    let (took, busy) = (begun.elapsed(), processor_seconds() - busy);

    let stored = stats.rows_stored.load(Relaxed);
    writer.stop().expect("the store closes");
    let size = fs::metadata(folder.path().join(FILE_NAME)).expect("the store has a file");
    println!(
        "{series} series, {commit} rows a commit: {:.0} rows/s, {:.2} µs of processor a row, {:.1} bytes a row",
        stored as f64 / took.as_secs_f64(),
        busy / stored as f64 * 1e6,
        size.len() as f64 / stored as f64,
    );
    let (floor, floor_busy) = bare(series, rows, commit);
    println!(
        "  rusqlite alone: {:.0} rows/s, {:.2} µs of processor a row; the store reaches {:.2} of its pace",
        rows as f64 / floor,
        floor_busy / rows as f64 * 1e6,
        floor / took.as_secs_f64()
    );
}

/// The same rows through rusqlite alone; gives the seconds and the processor's.
fn bare(series: usize, rows: usize, commit: usize) -> (f64, f64) {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let mut connection = Connection::open(folder.path().join("bare.db")).expect("a new file");
    connection
        .execute_batch(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA cache_size = -8192;
             PRAGMA wal_autocheckpoint = 8000;
             CREATE TABLE readings (
                 time INTEGER NOT NULL, series INTEGER NOT NULL, value REAL NOT NULL,
                 quality INTEGER NOT NULL, delay INTEGER NOT NULL,
                 PRIMARY KEY (time, series)
             ) WITHOUT ROWID, STRICT;",
        )
        .expect("a new file takes a table");
    let (begun, busy) = (Instant::now(), processor_seconds());
    for first in (0..rows).step_by(commit) {
        let transaction = connection.transaction().expect("nobody else writes");
        {
            let mut insert = transaction
                .prepare_cached("INSERT INTO readings VALUES (?1, ?2, ?3, ?4, ?5)")
                .expect("the table is there");
            let mut some: Vec<Sample> = (first..rows.min(first + commit))
                .map(|n| sample(n, series))
                .collect();
            some.sort_by_key(|one| (one.time, one.series));
            for one in some {
                let (time, delay) = (one.time.millis(), one.delay.millis());
                insert
                    .execute((time, one.series.0, one.value, one.quality.bits(), delay))
                    .expect("each key is there once");
            }
        }
        transaction.commit().expect("the disk takes it");
    }
    (begun.elapsed().as_secs_f64(), processor_seconds() - busy)
}

fn list(series: usize) -> Vec<SeriesRow> {
    (0..series)
        .map(|n| SeriesRow {
            sump: format!("sump-{}", n / 6).into(),
            channel: format!("channel-{}", n % 6).into(),
            quantity: Quantity::Temperature,
            kind: SeriesKind::Reading,
        })
        .collect()
}

/// The `n`-th reading of all: about one a second, three decimals.
fn sample(n: usize, series: usize) -> Sample {
    let (round, jitter) = ((n / series) as i64, (n * 7919 % 40) as i64);
    Sample {
        series: SeriesIx((n % series) as u32),
        time: Timestamp::from_millis(1_772_431_800_000 + 1000 * round + jitter),
        value: (n * 31 % 10_000) as f64 / 1000.0,
        quality: Quality::GOOD,
        delay: Span::from_millis(jitter),
    }
}

/// Processor time of this process so far, s; the kernel counts it in
/// hundredths.
fn processor_seconds() -> f64 {
    let stat = fs::read_to_string("/proc/self/stat").expect("Linux tells");
    let after_name = stat.rsplit(')').next().expect("rsplit gives one at least");
    let ticks = |n: usize| -> f64 {
        let field = after_name.split_whitespace().nth(n);
        field.and_then(|text| text.parse().ok()).unwrap_or(f64::NAN)
    };
    // Fields 14 and 15 of proc(5), utime and stime; the name is field 2.
    (ticks(11) + ticks(12)) / 100.0
}
