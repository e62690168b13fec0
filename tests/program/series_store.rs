//! A real victoria-metrics, and what it holds.

use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use crate::broker::free_port;
use crate::wait::until;

/// A running victoria-metrics with a folder of its own; killed when dropped.
pub struct SeriesStore {
    pub port: u16,
    folder: TempDir,
    child: Child,
    more: Vec<String>,
}

/// One point: its series, by name and labels, and its time in milliseconds.
pub type Point = (String, i64);

impl SeriesStore {
    pub fn start() -> Self {
        Self::start_with(Vec::new())
    }

    /// With further arguments.
    pub fn start_with(more: Vec<String>) -> Self {
        let (port, folder) = (free_port(), tempfile::tempdir().unwrap());
        let child = spawn(port, folder.path(), &more);
        let store = SeriesStore {
            port,
            folder,
            child,
            more,
        };
        store.wait();
        store
    }

    /// Ends it in good order: it writes down what it has.
    pub fn stop(&mut self) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args(["-s", "INT", &pid]).status();
        assert!(sent.unwrap().success());
        self.child.wait().unwrap();
    }

    /// Starts it again on the same port and folder.
    pub fn start_again(&mut self) {
        self.child = spawn(self.port, self.folder.path(), &self.more);
        self.wait();
    }

    /// Every point of the measurement's field, `reading_value`. Of a point that
    /// came twice it holds the value once.
    pub fn points(&self, name: &str) -> BTreeMap<Point, f64> {
        self.flush();
        let text = self.get(&format!("/api/v1/export?match[]={name}"));
        let mut points = BTreeMap::new();
        for line in text.lines() {
            let series: Value = serde_json::from_str(line).unwrap();
            let labels: BTreeMap<String, String> =
                serde_json::from_value(series["metric"].clone()).unwrap();
            let label = |(name, word): (&String, &String)| format!("{name}={word}");
            let named: Vec<_> = labels.iter().map(label).collect();
            let named = named.join(",");
            let (times, values) = (&series["timestamps"], &series["values"]);
            let both = times
                .as_array()
                .unwrap()
                .iter()
                .zip(values.as_array().unwrap());
            for (time, value) in both {
                let point = (named.clone(), time.as_i64().unwrap());
                let known = points.insert(point, value.as_f64().unwrap());
                assert!(known.is_none_or(|known| Some(known) == value.as_f64()));
            }
        }
        points
    }

    /// Makes everything that it has taken to be found.
    pub fn flush(&self) {
        self.get("/internal/force_flush");
    }

    fn get(&self, path: &str) -> String {
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        // In version 1.0 the answer comes in one piece.
        write!(stream, "GET {path} HTTP/1.0\r\n\r\n").unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        let (head, body) = answer.split_once("\r\n\r\n").unwrap();
        assert!(head.contains(" 200 "), "{head}");
        body.to_owned()
    }

    fn wait(&self) {
        let address = ("127.0.0.1", self.port);
        until("victoria-metrics listens", || {
            TcpStream::connect(address).ok()
        });
    }
}

impl Drop for SeriesStore {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn spawn(port: u16, folder: &Path, more: &[String]) -> Child {
    Command::new("victoria-metrics")
        .arg(format!("-httpListenAddr=127.0.0.1:{port}"))
        .arg(format!("-storageDataPath={}", folder.display()))
        .args(["-retentionPeriod=100y", "-dedup.minScrapeInterval=1ms"])
        .args(["-memory.allowedPercent=10", "-loggerLevel=ERROR"])
        .args(more)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("victoria-metrics is installed (tests/all installs it)")
}
