//! Killed at random instants while it packs, the daemon has every value once, and
//! exactly as it was.

use std::collections::hash_map::RandomState;
use std::hash::{BuildHasher, Hasher};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};
use sumpward::engine::{Quality, Sample, SeriesIx};
use sumpward::store::{
    Batch, FILE_NAME, Limits, Reader, SeriesId, SeriesKind, SeriesRow, Store, Writer,
};
use sumpward::units::{Quantity, Span, Timestamp};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, now};
use crate::wait::until;

/// Readings of one channel; of all together more than are packed at once.
const EACH: usize = 90_000;
const CHANNELS: usize = 4;

/// A kill each; the daemon then packs on from where it was.
const KILLS: usize = 6;

/// A kill of the first half comes after fewer transactions of packing than this, as
/// they are seen, while blocks are added; one of the second half may come at the end
/// of all, too.
const COMMITS: (u64, u64) = (8, 30);

/// And so much later at most: longer than one of them takes.
const LATER: Duration = Duration::from_millis(15);

fn series_rows() -> [SeriesRow; CHANNELS] {
    let row = |sump: &str, channel: &str, quantity| SeriesRow {
        sump: sump.into(),
        channel: channel.into(),
        quantity,
        kind: SeriesKind::Reading,
    };
    [
        row("s0", "brix", Quantity::Brix),
        row("s0", "level", Quantity::Level),
        row("s1", "brix", Quantity::Brix),
        row("s1", "level", Quantity::Level),
    ]
}

/// Readings about every half a second, three days old, with marks, delays and values
/// that are hardly ever the same.
fn readings() -> Vec<Sample> {
    let begun = now() - Span::from_hours(72);
    let all = (0..EACH).flat_map(|n| (0..CHANNELS).map(move |series| (n, series)));
    all.map(|(n, series)| Sample {
        series: SeriesIx(series as u32),
        time: begun + Span::from_millis((500 * n + n % 7) as i64),
        value: (series + 3) as f64 + ((n * 7_919) % 100_003) as f64 / 997.0,
        quality: match n % 1_000 {
            0 => Quality::LATE.with(Quality::SPIKE),
            _ => Quality::LATE,
        },
        delay: Span::from_millis((n % 50) as i64),
    })
    .collect()
}

/// A reading as it is compared: time, series, value, quality and delay.
type Row = (i64, SeriesId, u64, u8, i64);

/// Stores them in rows, as the daemon would; gives what is to be there.
fn store_rows(plant: &Plant) -> Vec<Row> {
    let mut store = Store::open(&plant.store()).unwrap();
    let series = store.register(&series_rows()).unwrap();
    let samples = readings();
    let row = |one: &Sample| {
        let id = series.id(one.series).unwrap();
        let (bits, delay) = (one.value.to_bits(), one.delay.millis());
        (one.time.millis(), id, bits, one.quality.bits(), delay)
    };
    let mut rows: Vec<Row> = samples.iter().map(row).collect();
    rows.sort_unstable();
    let after = Box::new(|_| ());
    let writer: Writer<()> = Writer::start(store, series, Limits::default(), after).unwrap();
    for some in samples.chunks(10_000) {
        let batch = Batch {
            samples: some.to_vec(),
            ..Batch::default()
        };
        writer.handle().submit(batch).unwrap();
    }
    writer.stop().unwrap();
    rows
}

fn opened(plant: &Plant) -> Connection {
    let file = plant.store().join(FILE_NAME);
    Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).unwrap()
}

fn ask(store: &Connection, sql: &str) -> i64 {
    store.query_row(sql, (), |row| row.get(0)).unwrap()
}

/// Rows that are not packed yet.
fn rows_left(store: &Connection) -> i64 {
    ask(store, "SELECT count(*) FROM readings")
}

/// Waits until packing has begun, and some transactions of it are over, or all.
fn somewhere_in_packing(plant: &Plant, commits: u64, later: Duration) {
    let store = opened(plant);
    until("it packs", || {
        let is_packing = ask(
            &store,
            "SELECT (SELECT value FROM meta WHERE name = 'settling_to')
                  > (SELECT value FROM meta WHERE name = 'packed_to')
                 OR EXISTS (SELECT 1 FROM readings
                    WHERE time < (SELECT value FROM meta WHERE name = 'packed_to'))
                 OR NOT EXISTS (SELECT 1 FROM readings)",
        );
        (is_packing == 1).then_some(())
    });
    let version = || ask(&store, "PRAGMA data_version");
    let (mut seen, mut count) = (version(), 0);
    until("it has packed a little", || {
        while count < commits {
            let now = version();
            if now == seen {
                return (rows_left(&store) == 0).then_some(());
            }
            (seen, count) = (now, count + 1);
        }
        Some(())
    });
    std::thread::park_timeout(later);
}

/// Below this, by chance.
fn below(end: u64) -> u64 {
    RandomState::new().build_hasher().finish() % end
}

#[test]
fn killed_anywhere_while_it_packs_every_value_is_there_once_and_exact() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "10 min",
        broker: "",
    });
    let wanted = store_rows(&plant);
    let mut unfinished = 0;
    for kill in 0..KILLS {
        let most = match kill < KILLS / 2 {
            true => COMMITS.0,
            false => COMMITS.1,
        };
        let (commits, later) = (below(most), LATER.mul_f64(below(1_000) as f64 / 1e3));
        let daemon = Daemon::start(&plant);
        somewhere_in_packing(&plant, commits, later);
        daemon.kill();
        let rows = rows_left(&opened(&plant));
        unfinished += usize::from(rows > 0);
        eprintln!("killed after {commits} transactions and {later:?}: {rows} rows are left");
        compare(&plant, &wanted);
    }
    assert!(
        unfinished >= KILLS / 2,
        "the first kills come before the end"
    );
    let daemon = Daemon::start(&plant);
    let store = opened(&plant);
    until("all is packed", || (rows_left(&store) == 0).then_some(()));
    daemon.signal("TERM");
    assert!(daemon.ended().success());
    compare(&plant, &wanted);
    let packed = ask(&store, "SELECT sum(count) FROM blocks");
    assert_eq!(packed, wanted.len() as i64);
}

/// Holds every value of the channels against what is to be there.
fn compare(plant: &Plant, wanted: &[Row]) {
    let reader = Reader::open(&plant.store()).unwrap();
    let all = reader.values_between(Timestamp::MIN, Timestamp::MAX, usize::MAX);
    let rows = all.unwrap().rows;
    let mut found: Vec<Row> = rows
        .iter()
        .map(|one| {
            let (bits, delay) = (one.value.to_bits(), one.delay.millis());
            (
                one.time.millis(),
                one.series,
                bits,
                one.quality.bits(),
                delay,
            )
        })
        .collect();
    found.sort_unstable();
    assert_eq!(found.len(), wanted.len(), "each is there once");
    for (found, wanted) in found.iter().zip(wanted) {
        assert_eq!(found, wanted);
    }
}
