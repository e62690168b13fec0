//! Series and journal as files, read back by DuckDB and compared with what went
//! into the store.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::{Value, json};
use sumpward::engine::{Quality, Sample, SeriesIx};
use sumpward::ingest::decode::encode_quality;
use sumpward::store::{Batch, JournalRow, Limits, SeriesKind, SeriesRow, Store, Writer};
use sumpward::units::{Quantity, Span, Timestamp};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted};

/// Values of the longest series: more than are read at once.
const MANY: usize = 45_000;

/// What DuckDB reads in a file.
pub fn read_by_duckdb(file: &Path) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    let output = Command::new(&python)
        .arg(root.join("tests/peers/exported.py"))
        .arg(file)
        .output()
        .unwrap_or_else(|why| panic!("{}: {why}; run tests/all once", python.display()));
    let told = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{told}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn export(plant: &Plant, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["export", "--config"])
        .arg(plant.config())
        .args(arguments)
        .current_dir(plant.folder())
        .output()
        .unwrap()
}

fn exported(plant: &Plant, arguments: &[&str]) -> (Value, PathBuf) {
    let done = export(plant, arguments);
    assert!(done.status.success(), "{done:?}");
    let told: Value = serde_json::from_slice(&done.stdout).unwrap();
    let file = plant.folder().join(told["file"].as_str().unwrap());
    let bytes = std::fs::metadata(&file).unwrap().len();
    assert_eq!(told["bytes"], bytes);
    (told, file)
}

fn at(text: &str) -> Timestamp {
    Timestamp::parse(text).unwrap()
}

fn series(sump: &str, channel: &str, quantity: Quantity, kind: SeriesKind) -> SeriesRow {
    SeriesRow {
        sump: sump.into(),
        channel: channel.into(),
        quantity,
        kind,
    }
}

/// The series of the invented plant, by sump, channel and kind.
fn all_series() -> Vec<SeriesRow> {
    vec![
        series("s0", "brix", Quantity::Brix, SeriesKind::Reading),
        series(
            "s0",
            "concentration",
            Quantity::Concentration,
            SeriesKind::Estimate,
        ),
        series("s0", "level", Quantity::Level, SeriesKind::Reading),
        series("s0", "volume", Quantity::Volume, SeriesKind::Estimate),
        series("s1", "brix", Quantity::Brix, SeriesKind::Reading),
        series(
            "s1",
            "concentration",
            Quantity::Concentration,
            SeriesKind::Estimate,
        ),
        series("s1", "level", Quantity::Level, SeriesKind::Reading),
        series("s1", "volume", Quantity::Volume, SeriesKind::Estimate),
    ]
}

/// Values of every kind: long and short ones, with each mark, late ones.
fn samples() -> Vec<Sample> {
    let start = at("2025-12-31T23:00:00Z");
    let odd = [
        0.1 + 0.2,
        -0.0,
        1e300,
        5e-324,
        -273.15,
        6.2,
        123_456_789.123_456_78,
    ];
    let mut samples: Vec<Sample> = (0..MANY)
        .map(|n| Sample {
            series: SeriesIx(0),
            time: start + Span::from_millis(60_000 * n as i64 + (n % 7) as i64),
            value: 6.0 + (n as f64 * 0.01).sin(),
            quality: Quality::from_bits((n % 128) as u8),
            delay: Span::from_millis((n % 1000) as i64 - 3),
        })
        .collect();
    for (n, value) in odd.into_iter().enumerate() {
        for series in [3, 4] {
            samples.push(Sample {
                series: SeriesIx(series),
                time: start + Span::from_hours(n as i64),
                value,
                quality: Quality::GOOD,
                delay: Span::ZERO,
            });
        }
    }
    samples
}

/// Texts as people might write them, some of them to harm.
const TEXTS: [&str; 6] = [
    "tramp oil; skimmed",
    "=HYPERLINK(\"http://x\")",
    "a;=1+1",
    "line one\r\nline two\t@SUM(1)",
    "\"quoted\", with commas; and \u{fc}mlauts \u{1f6e2}",
    "",
];

fn lines() -> Vec<JournalRow> {
    let start = at("2026-01-01T06:00:00Z");
    let line = |n: usize, sump: &str, kind| {
        let text = TEXTS[n % TEXTS.len()];
        let time = start + Span::from_hours(n as i64 / 2);
        JournalRow {
            time,
            sump: sump.into(),
            seq: n as u64 + 1,
            kind,
            body: json!({"time": time, "kind": kind, "entry": {"text": text}}).to_string(),
        }
    };
    let kinds = ["entry", "alarm", "advice"];
    (0..2500)
        .flat_map(|n| {
            let kind = kinds[n % 3];
            let sumps = ["plant", "s0", "s1"];
            sumps.map(|sump| line(n, sump, kind))
        })
        .collect()
}

pub fn keep(plant: &Plant) {
    let mut store = Store::open(&plant.store()).unwrap();
    let series = store.register(&all_series()).unwrap();
    let after = Box::new(|_| ());
    let writer: Writer<()> = Writer::start(store, series, Limits::default(), after).unwrap();
    let batch = Batch {
        samples: samples(),
        journal: lines(),
        ..Batch::default()
    };
    writer.handle().submit(batch).unwrap();
    writer.stop().unwrap();
}

/// A plant whose broker is at this port; without a daemon none is needed.
pub fn plant(port: u16) -> Plant {
    Plant::write(&Wanted {
        port,
        sumps: 2,
        on_delay: "10 min",
        broker: "",
    })
}

/// The rows that are to be in a file of values, by series and time.
fn expected_rows(wants: impl Fn(&SeriesRow, Timestamp) -> bool) -> Vec<Value> {
    let all = all_series();
    let mut samples = samples();
    samples.sort_by_key(|sample| (sample.series.0, sample.time));
    let wanted = samples
        .iter()
        .filter(|sample| wants(&all[sample.series.0 as usize], sample.time));
    let row = |sample: &Sample| {
        let series = &all[sample.series.0 as usize];
        json!([
            sample.time.millis(),
            "test",
            *series.sump,
            *series.channel,
            series.quantity.name(),
            series.quantity.unit(),
            series.kind.name(),
            sample.value,
            encode_quality(sample.quality),
            sample.delay.millis(),
        ])
    };
    wanted.map(row).collect()
}

fn expected_lines(wants: impl Fn(&JournalRow) -> bool) -> Vec<JournalRow> {
    let mut lines: Vec<JournalRow> = lines().into_iter().filter(|line| wants(line)).collect();
    lines.sort_by(|a, b| (a.time, &a.sump, a.seq).cmp(&(b.time, &b.sump, b.seq)));
    lines
}

/// The rows of a file of lines, their bodies read as JSON.
fn lines_read(read: &Value) -> Vec<Value> {
    let rows = read["rows"].as_array().unwrap().iter();
    let parsed = |row: &Value| {
        let body: Value = serde_json::from_str(row[4].as_str().unwrap()).unwrap();
        json!([row[0], row[1], row[2], row[3], body])
    };
    rows.map(parsed).collect()
}

fn lines_expected(lines: &[JournalRow]) -> Vec<Value> {
    let row = |line: &JournalRow| {
        let body: Value = serde_json::from_str(&line.body).unwrap();
        json!([line.time.millis(), *line.sump, line.seq, line.kind, body])
    };
    lines.iter().map(row).collect()
}

fn assert_same(found: &[Value], expected: &[Value]) {
    assert_eq!(found.len(), expected.len());
    for (place, (one, other)) in found.iter().zip(expected).enumerate() {
        assert_eq!(one, other, "row {place}");
    }
}

#[test]
fn every_value_comes_back_out_of_both_formats() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(broker.port);
    keep(&plant);
    let expected = expected_rows(|_, _| true);
    let _daemon = Daemon::start(&plant);
    for file in ["all.csv", "all.parquet"] {
        let (told, path) = exported(&plant, &["series", file, "--json"]);
        assert_eq!(told["rows"], expected.len(), "{told}");
        let read = read_by_duckdb(&path);
        assert_same(read["rows"].as_array().unwrap(), &expected);
        // And DuckDB's own sums over them.
        let sums = read["sums"].as_array().unwrap();
        let brix = samples()
            .into_iter()
            .filter(|one| one.series == SeriesIx(0));
        let values: Vec<f64> = brix.map(|one| one.value).collect();
        let (low, high) = values
            .iter()
            .fold((f64::MAX, f64::MIN), |(low, high), value| {
                (low.min(*value), high.max(*value))
            });
        assert_eq!(sums.len(), 3);
        assert_eq!(sums[0][3], MANY);
        assert_eq!((&sums[0][4], &sums[0][5]), (&json!(low), &json!(high)));
        if file.ends_with("parquet") {
            let kinds: Vec<&str> = read["columns"]
                .as_array()
                .unwrap()
                .iter()
                .map(|column| column[1].as_str().unwrap())
                .collect();
            let name = "VARCHAR";
            let expected = [
                "TIMESTAMP WITH TIME ZONE",
                name,
                name,
                name,
                name,
                name,
                name,
                "DOUBLE",
                name,
                "BIGINT",
            ];
            assert_eq!(kinds, expected);
        }
    }
    // RFC 4180 to the byte.
    let csv = std::fs::read(plant.folder().join("all.csv")).unwrap();
    assert!(csv.starts_with(
        b"time,plant,sump,channel,quantity,unit,kind,value,quality,delay_ms\r\n2025-12-31T23:00:00.000Z,test,s0,brix,brix,"
    ));
    assert!(csv.ends_with(b"\r\n"));
    assert_eq!(
        csv.iter().filter(|byte| **byte == b'\n').count(),
        expected.len() + 1
    );
}

#[test]
fn the_journal_comes_back_too_and_harms_no_spreadsheet() {
    let plant = plant(1883);
    keep(&plant);
    let expected = lines_expected(&expected_lines(|_| true));
    for file in ["journal.csv", "journal.parquet"] {
        let (told, path) = exported(&plant, &["journal", file, "--json"]);
        assert_eq!(told["rows"], expected.len(), "{told}");
        assert_same(&lines_read(&read_by_duckdb(&path)), &expected);
    }
    let csv = std::fs::read_to_string(plant.folder().join("journal.csv")).unwrap();
    for separator in [b',', b';', b'\t'] {
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .flexible(true)
            .from_reader(csv.as_bytes());
        for cell in reader
            .records()
            .map(Result::unwrap)
            .flat_map(|record| record.iter().map(str::to_owned).collect::<Vec<_>>())
        {
            assert!(
                !cell.starts_with(['=', '+', '-', '@', '\t', '\r']),
                "{cell}"
            );
        }
    }
}

#[test]
fn time_sump_channel_and_kind_are_chosen() {
    let plant = plant(1883);
    keep(&plant);
    let (from, to) = ("2026-01-01T00:00:00Z", "2026-01-01T05:00:00+01:00");
    let within = |time: Timestamp| (at(from)..at(to)).contains(&time);
    let time = ["--from", from, "--to", to, "--json"];
    let ask = |what: &[&str]| {
        let arguments: Vec<&str> = what.iter().chain(&time).copied().collect();
        read_by_duckdb(&exported(&plant, &arguments).1)
    };
    let read = ask(&["series", "a.csv"]);
    let expected = expected_rows(|_, time| within(time));
    assert!(expected.len() > 200);
    assert_same(read["rows"].as_array().unwrap(), &expected);
    let read = ask(&[
        "series",
        "b.parquet",
        "--sump",
        "s1",
        "--channel",
        "brix",
        "--kind",
        "reading",
    ]);
    let expected = expected_rows(|one, time| &*one.sump == "s1" && within(time));
    assert_eq!(expected.len(), 4);
    assert_same(read["rows"].as_array().unwrap(), &expected);
    let read = ask(&["series", "c.csv", "--kind", "estimate"]);
    let expected = expected_rows(|one, time| one.kind == SeriesKind::Estimate && within(time));
    assert_same(read["rows"].as_array().unwrap(), &expected);

    let arguments = [
        "journal",
        "d.csv",
        "--sump",
        "plant,s1",
        "--kind",
        "entry,advice",
        "--from",
        "2026-01-02T00:00:00Z",
        "--to",
        "2026-01-20T00:00:00Z",
        "--json",
    ];
    let read = read_by_duckdb(&exported(&plant, &arguments).1);
    let wanted = expected_lines(|line| {
        let time = at("2026-01-02T00:00:00Z")..at("2026-01-20T00:00:00Z");
        &*line.sump != "s0" && line.kind != "alarm" && time.contains(&line.time)
    });
    assert!(wanted.len() > 1000);
    assert_same(&lines_read(&read), &lines_expected(&wanted));
}

#[test]
fn what_cannot_be_leaves_everything_as_it_was() {
    let plant = plant(1883);
    let told = |arguments: &[&str], status: i32| {
        let done = export(&plant, arguments);
        assert_eq!(done.status.code(), Some(status), "{done:?}");
        String::from_utf8(done.stderr).unwrap()
    };
    assert!(told(&["series", "a.csv"], 2).contains("there is no store in"));
    keep(&plant);
    let file = plant.folder().join("a.csv");
    std::fs::write(&file, "theirs").unwrap();
    assert!(told(&["series", "a.csv"], 2).contains("--force"));
    assert!(told(&["series", "a.txt"], 2).contains("--format csv"));
    assert!(told(&["series", "b.csv", "--sump", "s9"], 2).contains("did you mean \"s0\"?"));
    assert!(told(&["series", "b.csv", "--channel", "birx"], 2).contains("did you mean \"brix\"?"));
    let backwards = [
        "journal",
        "b.csv",
        "--from",
        "2026-02-01",
        "--to",
        "2026-01-01",
    ];
    assert!(told(&backwards, 2).contains("give an earlier --from"));
    assert!(told(&["series", "b.csv", "--from", "2030-01-01"], 1).contains("keeps nothing"));
    let unknown = told(&["journal", "b.csv", "--kind", "alarms"], 1);
    assert!(
        unknown.contains("no line of the kind \"alarms\""),
        "{unknown}"
    );
    assert!(told(&["series", "nowhere/b.csv"], 1).contains("nowhere/b.csv"));
    assert!(told(&["series", ".", "--format", "csv", "--force"], 2).contains("is a folder"));
    // A disk that takes no more than this.
    let full = Command::new("bash")
        .args(["-c", "trap '' XFSZ; ulimit -f 100; exec \"$@\"", "bash"])
        .arg(env!("CARGO_BIN_EXE_sumpward"))
        .args(["export", "series", "b.csv", "--config"])
        .arg(plant.config())
        .current_dir(plant.folder())
        .output()
        .unwrap();
    assert_eq!(full.status.code(), Some(1), "{full:?}");
    let why = String::from_utf8_lossy(&full.stderr).into_owned();
    assert!(
        why.contains("File too large") && why.contains("no file was left"),
        "{why}"
    );
    assert_eq!(std::fs::read(&file).unwrap(), b"theirs");
    let left: Vec<_> = std::fs::read_dir(plant.folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("part") || name.starts_with("b."))
        .collect();
    assert_eq!(left, Vec::<String>::new());

    let done = export(&plant, &["series", "a.csv", "--force", "--progress"]);
    assert!(done.status.success(), "{done:?}");
    assert!(String::from_utf8_lossy(&done.stderr).contains("Exporting series: 100 %"));
    assert!(std::fs::metadata(&file).unwrap().len() > 1_000_000);
    let text = String::from_utf8(done.stdout).unwrap();
    assert!(text.starts_with("a.csv: 45014 rows, "), "{text}");
}

/// Rollups as the store keeps them: hours, a day, and the minutes of an hour, of
/// which one has no value, one a single good one, and one several.
pub const ROLLUPS: &str = "
    INSERT INTO rollups SELECT id, 3600000, 1767225600000, 5.5, 6.25, 7.125, 58, 60 FROM series WHERE sump = 's0' AND channel = 'brix';
    INSERT INTO rollups SELECT id, 3600000, 1767229200000, NULL, NULL, NULL, 0, 4 FROM series WHERE sump = 's0' AND channel = 'brix';
    INSERT INTO rollups SELECT id, 86400000, 1767225600000, 5.5, 6.3, 7.125, 1400, 1440 FROM series WHERE sump = 's0' AND channel = 'brix';
    INSERT INTO rollup_minutes (series, hour, body)
        SELECT id, 1767225600000, '[null,6.1,[6.0,6.15,6.3,5,6]]' FROM series WHERE sump = 's0' AND channel = 'brix';";

#[test]
fn rollups_come_out_as_the_store_has_them() {
    let plant = plant(1883);
    keep(&plant);
    let none = export(&plant, &["rollups", "none.csv"]);
    assert_eq!(none.status.code(), Some(1), "{none:?}");
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    store.execute_batch(ROLLUPS).unwrap();
    drop(store);
    let row = |start: i64, step: &str, values: Value| {
        let mut row = vec![json!(start)];
        let names = ["test", "s0", "brix", "brix", "\u{b0}Bx", "reading", step];
        row.extend(names.map(|name| json!(name)));
        row.extend(values.as_array().unwrap().clone());
        Value::Array(row)
    };
    let start = 1_767_225_600_000;
    let expected = [
        row(start + 60_000, "minute", json!([6.1, 6.1, 6.1, 1, 1])),
        row(start + 120_000, "minute", json!([6.0, 6.15, 6.3, 5, 6])),
        row(start, "hour", json!([5.5, 6.25, 7.125, 58, 60])),
        row(start + 3_600_000, "hour", json!([null, null, null, 0, 4])),
        row(start, "day", json!([5.5, 6.3, 7.125, 1400, 1440])),
    ];
    for file in ["rollups.csv", "rollups.parquet"] {
        let all = ["rollups", file, "--step", "minute,hour,day", "--json"];
        let read = read_by_duckdb(&exported(&plant, &all).1);
        assert_same(read["rows"].as_array().unwrap(), &expected);
    }
    let from = [
        "rollups",
        "late.csv",
        "--from",
        "2026-01-01T00:30:00Z",
        "--json",
    ];
    let read = read_by_duckdb(&exported(&plant, &from).1);
    assert_same(read["rows"].as_array().unwrap(), &expected[3..4]);
}
