//! victoria-metrics, started for the measurement.

use std::fmt::Write as _;
use std::fs;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use super::data::Kind;

/// Values of one line that is posted.
const LINE: usize = 10_000;

/// Nothing here takes as long.
const DEADLINE: Duration = Duration::from_secs(300);

/// Ends the program it holds.
struct Server {
    child: Child,
    port: u16,
}

impl Server {
    /// Ends it in good order.
    fn end(mut self) {
        let id = self.child.id().to_string();
        let told = Command::new("kill").args(["-s", "INT", &id]).status();
        assert!(
            told.is_ok_and(|told| told.success()),
            "it can be told to end"
        );
        self.child.wait().expect("it ends");
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Gives it the values, and the bytes of one once it has merged them; nothing
/// where it is not installed.
pub(crate) fn measure(kind: Kind, series: usize, values: usize) -> Option<f64> {
    let folder = tempfile::tempdir().expect("a temporary folder can be made");
    let server = start(folder.path())?;
    wait_until("it answers", || get(server.port, "/health").is_some());
    for one in 0..series {
        for first in (0..values).step_by(LINE) {
            let body = line(kind, one, first..values.min(first + LINE));
            let answer = request(server.port, "POST", "/api/v1/import", body.as_bytes());
            let answer = answer.expect("it takes values");
            assert!(answer.starts_with("HTTP/1.1 204"), "{answer}");
        }
    }
    let total = (series * values) as u64;
    let data = folder.path().join("data");
    get(server.port, "/internal/force_flush").expect("it flushes");
    wait_until("it has written them", settled(server.port, &data, total));
    get(server.port, "/internal/force_merge").expect("it merges");
    wait_until("it has merged them", settled(server.port, &data, total));
    // What it still has in memory it writes when it ends.
    server.end();
    Some(bytes_of(&data) as f64 / total as f64)
}

/// Whether it has all of them, merges nothing, and writes nothing more.
fn settled(port: u16, data: &Path, total: u64) -> impl FnMut() -> bool {
    let mut size = 0;
    move || {
        let metrics = get(port, "/metrics").unwrap_or_default();
        let merging: f64 = figures(&metrics, "vm_active_merges").sum();
        let rows: f64 = figures(&metrics, "vm_rows{type=\"storage/").sum();
        let before = std::mem::replace(&mut size, bytes_of(data));
        std::thread::sleep(Duration::from_secs(2));
        merging == 0.0 && rows as u64 == total && size > 0 && size == before
    }
}

fn start(folder: &Path) -> Option<Server> {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port is free");
    let port = listener.local_addr().expect("it is bound").port();
    drop(listener);
    let child = Command::new("victoria-metrics")
        .arg(format!("-storageDataPath={}", folder.display()))
        .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
        .arg("-retentionPeriod=100y")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    Some(Server { child, port })
}

/// Some values of one series in its own format.
fn line(kind: Kind, series: usize, places: std::ops::Range<usize>) -> String {
    let (mut values, mut times) = (String::new(), String::new());
    for n in places {
        let sample = kind.sample(series, n);
        write!(values, "{},", sample.value).expect("memory takes it");
        write!(times, "{},", sample.time.millis()).expect("memory takes it");
    }
    format!(
        "{{\"metric\":{{\"__name__\":\"reading\",\"sump\":\"sump-{}\",\"channel\":\"channel-{}\"}},\
         \"values\":[{}],\"timestamps\":[{}]}}\n",
        series / 6,
        series % 6,
        values.trim_end_matches(','),
        times.trim_end_matches(',')
    )
}

fn get(port: u16, path: &str) -> Option<String> {
    request(port, "GET", path, b"")
}

fn request(port: u16, method: &str, path: &str, body: &[u8]) -> Option<String> {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).ok()?;
    let head = format!(
        "{method} {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\nContent-Length: {}\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes()).ok()?;
    stream.write_all(body).ok()?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).ok()?;
    Some(answer)
}

/// The figures whose names begin so.
fn figures<'m>(metrics: &'m str, name: &'m str) -> impl Iterator<Item = f64> + 'm {
    let lines = metrics.lines().filter(move |line| line.starts_with(name));
    lines.filter_map(|line| line.rsplit(' ').next()?.parse().ok())
}

fn bytes_of(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(|entry| match entry.metadata() {
            Ok(found) if found.is_dir() => bytes_of(&entry.path()),
            Ok(found) => found.len(),
            Err(_) => 0,
        })
        .sum()
}

fn wait_until(what: &str, mut condition: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !condition() {
        assert!(begun.elapsed() < DEADLINE, "in vain: {what}");
        std::thread::sleep(Duration::from_millis(100));
    }
}
