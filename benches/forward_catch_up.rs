//! How fast a server of series that was away is caught up with:
//! `cargo bench --bench forward_catch_up`, or with `-- ROWS BATCH` for another number
//! of rows in the store, and of lines a request.
//!
//! The floor is measured in the same run: curl posts the same lines, ready-made, in
//! as large portions over one connection, to a victoria-metrics of its own.

#![allow(clippy::disallowed_methods)] // it measures real time

use std::fmt::Write as _;
use std::fs;
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use sumpward::engine::{Quality, Sample, SeriesIx};
use sumpward::forward::{Target, TargetReport, ValuePoints};
use sumpward::settings::{Forwarded, History, TargetSettings};
use sumpward::store::{Batch, Limits, Reader, SeriesKind, SeriesRow, Store, Writer};
use sumpward::units::{Quantity, Span, Timestamp};
use tokio_util::sync::CancellationToken;

const SERIES: usize = 600;
const FIRST: Timestamp = Timestamp::from_millis(1_772_431_800_000);

fn main() {
    let given: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let (rows, batch) = match given[..] {
        [rows, batch] => (rows, batch),
        _ => (1_000_000, 10_000),
    };
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let mut store = Store::open(folder.path()).expect("an empty folder takes a store");
    let map = store.register(&list()).expect("names differ");
    let writer =
        Writer::<()>::start(store, map, Limits::default(), Box::new(|_| ())).expect("a thread");
    fill(&writer, rows);

    let portions = ready_made(folder.path(), batch);
    let floor = SeriesStore::start();
    let begun = Instant::now();
    post_with_curl(folder.path(), portions, floor.port);
    let curl = begun.elapsed();
    let of_floor = floor.rows();
    drop(floor);

    let server = SeriesStore::start();
    let begun = Instant::now();
    let counts = forward(folder.path(), &writer, server.port, batch, rows as u64);
    let forwarded = begun.elapsed();
    let of_ours = server.rows();
    writer.stop().expect("the store closes");
    assert_eq!(
        (of_floor, of_ours),
        (rows as u64, rows as u64),
        "all arrived"
    );

    let rate = |took: Duration| rows as f64 / took.as_secs_f64();
    println!(
        "{rows} rows of {SERIES} series, {batch} lines a request ({} requests): \
         forwarded {:.0} lines/s, curl with ready-made lines {:.0} lines/s, ratio {:.2}",
        counts,
        rate(forwarded),
        rate(curl),
        rate(forwarded) / rate(curl),
    );
}

fn list() -> Vec<SeriesRow> {
    let row = |n: usize| SeriesRow {
        sump: format!("sump-{}", n / 6).into(),
        channel: format!("channel-{}", n % 6).into(),
        quantity: Quantity::Temperature,
        kind: SeriesKind::Reading,
    };
    (0..SERIES).map(row).collect()
}

/// About a reading a second of each series, three decimals.
fn fill(writer: &Writer<()>, rows: usize) {
    let handle = writer.handle();
    for first in (0..rows).step_by(10_000) {
        let samples = (first..rows.min(first + 10_000)).map(|n| {
            let (round, jitter) = ((n / SERIES) as i64, (n * 7919 % 40) as i64);
            Sample {
                series: SeriesIx((n % SERIES) as u32),
                time: FIRST + Span::from_millis(1000 * round + jitter),
                value: (n * 31 % 10_000) as f64 / 1000.0,
                quality: Quality::GOOD,
                delay: Span::ZERO,
            }
        });
        let batch = Batch {
            samples: samples.collect(),
            ..Batch::default()
        };
        handle.submit(batch).expect("the writer runs");
    }
    handle.flush().expect("the writer runs");
}

/// The same lines in files of a request each; gives their number.
fn ready_made(folder: &Path, batch: usize) -> usize {
    let reader = Reader::open(folder).expect("the store can be read");
    let series = reader.all_series().expect("the store can be read");
    let points = ValuePoints::new("north", &series, |_| true);
    let (mut after, mut count, mut not_finite) = (Timestamp::MIN, 0, 0);
    loop {
        let window = reader
            .values_between(after, Timestamp::MAX, batch)
            .expect("the store can be read");
        let lines = points.lines(&window.rows, &mut not_finite);
        let file = folder.join(format!("lines-{count}"));
        fs::write(file, lines.text(0..lines.len())).expect("the disk has room");
        (after, count) = (window.through, count + 1);
        if window.is_all {
            return count;
        }
    }
}

fn post_with_curl(folder: &Path, portions: usize, port: u16) {
    let mut config = String::new();
    for portion in 0..portions {
        let file = folder.join(format!("lines-{portion}"));
        let _ = write!(
            config,
            "url = \"http://127.0.0.1:{port}/api/v2/write?org=&bucket=&precision=ms\"\n\
             data-binary = \"@{}\"\nheader = \"Expect:\"\nfail\nsilent\nshow-error\nnext\n",
            file.display()
        );
    }
    let config = config.trim_end().trim_end_matches("next");
    let path = folder.join("curl");
    fs::write(&path, config).expect("the disk has room");
    let done = Command::new("curl").arg("--config").arg(&path).status();
    assert!(done.expect("curl is installed").success());
}

/// Forwards everything; gives the number of requests.
fn forward(folder: &Path, writer: &Writer<()>, port: u16, batch: usize, rows: u64) -> u64 {
    let settings = TargetSettings {
        name: "history".into(),
        url: format!("http://127.0.0.1:{port}"),
        org: String::new(),
        bucket: String::new(),
        token: None,
        tls: None,
        what: Forwarded {
            readings: true,
            ..Forwarded::default()
        },
        sumps: None,
        history: History::All,
        batch,
        timeout: Span::from_secs(30),
        connect_timeout: Span::from_secs(5),
    };
    let now = || {
        let since = std::time::UNIX_EPOCH.elapsed().unwrap_or_default();
        Timestamp::from_millis(since.as_millis() as i64)
    };
    let address = settings.url.clone();
    let report = TargetReport::new("history".into(), address, Arc::default(), now());
    let report = Arc::new(report);
    let target = Target {
        settings: Arc::new(settings),
        plant: "north".into(),
        folder: folder.to_owned(),
        writer: writer.handle(),
        stats: writer.stats(),
        now: Arc::new(now),
        report: Arc::clone(&report),
    };
    let runtime = tokio::runtime::Runtime::new().expect("threads can be had");
    runtime.block_on(async {
        let stop = CancellationToken::new();
        let task = tokio::spawn(target.run(stop.clone()));
        while report.status(now()).counts.lines < rows {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        stop.cancel();
        task.await.expect("the target runs");
    });
    report.status(now()).counts.requests
}

/// A victoria-metrics with a folder of its own; killed when dropped.
struct SeriesStore {
    port: u16,
    child: Child,
    _folder: tempfile::TempDir,
}

impl SeriesStore {
    fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port is free");
        let port = listener.local_addr().expect("it is bound").port();
        drop(listener);
        let folder = tempfile::tempdir().expect("a temporary folder can be made");
        let child = Command::new("victoria-metrics")
            .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
            .arg(format!("-storageDataPath={}", folder.path().display()))
            .args(["-retentionPeriod=100y", "-loggerLevel=ERROR"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("victoria-metrics is installed");
        let begun = Instant::now();
        while TcpStream::connect(("127.0.0.1", port)).is_err() {
            assert!(
                begun.elapsed() < Duration::from_secs(30),
                "it does not listen"
            );
            std::thread::yield_now();
        }
        SeriesStore {
            port,
            child,
            _folder: folder,
        }
    }

    /// Rows of line protocol that it has taken.
    fn rows(&self) -> u64 {
        let address = format!("http://127.0.0.1:{}/metrics", self.port);
        let output = Command::new("curl").args(["--silent", &address]).output();
        let text = String::from_utf8(output.expect("curl is installed").stdout);
        let text = text.expect("metrics are text");
        let name = "vm_rows_inserted_total{type=\"influx\"} ";
        let line = text.lines().find_map(|line| line.strip_prefix(name));
        line.expect("it counts its rows").parse().expect("a number")
    }
}

impl Drop for SeriesStore {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
