//! `/metrics`, read by a parser of others and collected by a real server.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::Value;
use tempfile::TempDir;

use crate::broker::{Keeps, Mosquitto, TestClient, free_port};
use crate::daemon::Daemon;
use crate::pages::{Answer, ask, with_pages};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

/// Asks for a path as a collector does that can read this.
fn get(port: u16, path: &str, accept: &str) -> Answer {
    let head = "HTTP/1.0\r\nhost: test\r\nconnection: close";
    ask(
        port,
        &format!("GET {path} {head}\r\naccept: {accept}\r\n\r\n"),
    )
}

/// What the parser of others finds in a text; what it says where it refuses it.
fn read(text: &str) -> Result<Vec<Value>, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    let mut child = Command::new(&python)
        .arg(root.join("tests/peers/openmetrics.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap_or_else(|why| panic!("{}: {why}; run tests/all once", python.display()));
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(text.as_bytes()).unwrap();
    drop(stdin);
    let done = child.wait_with_output().unwrap();
    if !done.status.success() {
        return Err(String::from_utf8_lossy(&done.stderr).into_owned());
    }
    Ok(serde_json::from_slice(&done.stdout).expect("the parser writes JSON"))
}

/// All values of a name that have these labels.
fn values(families: &[Value], name: &str, labels: &[(&str, &str)]) -> Vec<f64> {
    let all = families
        .iter()
        .flat_map(|family| family["values"].as_array().unwrap());
    let has = |one: &Value, (key, value): &(&str, &str)| one["labels"][*key] == *value;
    all.filter(|one| one["name"] == name && labels.iter().all(|label| has(one, label)))
        .map(|one| one["value"].as_f64().unwrap())
        .collect()
}

/// A plant whose mix stands at 8 %, told to a daemon that serves pages.
fn running(broker: &Mosquitto) -> (Plant, Daemon, u16) {
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "0 s",
        broker: "",
    });
    let port = with_pages(&plant, "");
    let client = TestClient::connect(broker.port, "test", &[]);
    let daemon = Daemon::start(&plant);
    client.publish("in/s0/brix", brix(4.0, now()));
    client.publish("in/s0/level", "900");
    // Far too lean: an alarm at once.
    client.publish("in/s1/brix", brix(1.0, now()));
    client.publish("in/s1/brix", "no number");
    (plant, daemon, port)
}

#[test]
fn a_parser_of_others_finds_the_plants_values_and_the_daemons_own() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let (_plant, _daemon, port) = running(&broker);
    let families = until("the alarm is told", || {
        let answer = get(
            port,
            "/metrics",
            "application/openmetrics-text; version=1.0.0",
        );
        assert_eq!(
            (answer.status, answer.header("content-type")),
            (
                200,
                Some("application/openmetrics-text; version=1.0.0; charset=utf-8")
            )
        );
        let families = read(&answer.body).unwrap();
        let alarms = values(
            &families,
            "sumpward_sump_alarms",
            &[("sump", "s1"), ("state", "unacknowledged")],
        );
        let messages = values(
            &families,
            "sumpward_source_messages_total",
            &[("source", "main")],
        );
        (!alarms.is_empty() && messages == [4.0]).then_some(families)
    });
    for (name, labels, wanted) in [
        (
            "sumpward_sump_concentration_ratio",
            &[("sump", "s0")][..],
            0.08,
        ),
        (
            "sumpward_sump_concentration_window_ratio",
            &[("sump", "s0"), ("bound", "highest")],
            0.1,
        ),
        (
            "sumpward_sump_volume_litres",
            &[("plant", "test"), ("sump", "s0")],
            900.0,
        ),
        (
            "sumpward_channel_value",
            &[("sump", "s0"), ("channel", "level"), ("unit", "m")],
            0.9,
        ),
        (
            "sumpward_channel_value",
            &[("sump", "s1"), ("channel", "brix"), ("unit", "°Bx")],
            1.0,
        ),
        (
            "sumpward_channel_instrument_class",
            &[("sump", "s0"), ("channel", "brix")],
            0.0,
        ),
        (
            "sumpward_source_connected",
            &[("source", "main"), ("kind", "broker")],
            1.0,
        ),
        ("sumpward_source_messages_total", &[("source", "main")], 4.0),
        ("sumpward_source_readings_total", &[("source", "main")], 3.0),
        (
            "sumpward_source_messages_refused_total",
            &[("source", "main"), ("reason", "unreadable")],
            1.0,
        ),
        ("sumpward_scrape_fresh", &[], 1.0),
        ("sumpward_store_failing", &[], 0.0),
        ("sumpward_store_short_of_room", &[], 0.0),
        (
            "sumpward_store_values_deleted_for_room_total",
            &[("forwarded", "no")],
            0.0,
        ),
        (
            "sumpward_store_values_total",
            &[("became", "duplicate")],
            0.0,
        ),
    ] {
        let found = values(&families, name, labels);
        assert_eq!(found.len(), 1, "{name} {labels:?}");
        assert!((found[0] - wanted).abs() < 1e-9, "{name}: {found:?}");
    }
    let ages = values(
        &families,
        "sumpward_channel_age_seconds",
        &[("channel", "brix")],
    );
    assert!(
        ages.len() == 2 && ages.iter().all(|age| (0.0..60.0).contains(age)),
        "{ages:?}"
    );
    let commits = values(&families, "sumpward_store_commit_seconds_count", &[]);
    assert!(commits[0] >= 1.0, "{commits:?}");
    let wal = values(&families, "sumpward_store_file_bytes", &[("file", "wal")]);
    assert!(wal[0] > 0.0, "{wal:?}");
    for family in &families {
        let (name, unit) = (
            family["name"].as_str().unwrap(),
            family["unit"].as_str().unwrap(),
        );
        assert!(name.starts_with("sumpward_"), "{name}");
        assert!(
            unit.is_empty() || name.ends_with(&format!("_{unit}")),
            "{name}: {unit}"
        );
        assert!(family["help"].as_str().unwrap().len() > 10, "{name}");
    }
}

#[test]
fn the_parser_of_others_refuses_what_is_no_open_metrics() {
    assert!(read("sumpward_x 1\n").unwrap_err().contains("EOF"));
    assert!(read("# TYPE a counter\na 1\n# EOF\n").is_err());
    assert!(read("# TYPE a gauge\na{b=\"c\" 1\n# EOF\n").is_err());
}

#[test]
fn a_browser_and_older_collectors_get_plain_text() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let (_plant, _daemon, port) = running(&broker);
    let answer = get(port, "/metrics", "text/html,*/*;q=0.8");
    let kind = answer.header("content-type");
    assert_eq!(kind, Some("text/plain; version=0.0.4; charset=utf-8"));
    assert!(
        answer.body.contains("\nsumpward_source_connected{"),
        "{}",
        answer.body
    );
    assert!(!answer.body.contains("# EOF"));
}

#[test]
fn sumps_beyond_the_limit_are_left_out() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 200,
        on_delay: "0 s",
        broker: "",
    });
    let port = with_pages(&plant, "metrics_max_series = 500\n");
    let _daemon = Daemon::start(&plant);
    let answer = get(port, "/metrics", "*/*");
    let families = read(&answer.body).unwrap();
    let left_out = values(&families, "sumpward_scrape_sumps_left_out", &[]);
    let told = values(&families, "sumpward_sump_working_volume_litres", &[]);
    assert_eq!(told.len() + left_out[0] as usize, 200);
    assert!(told.len() >= 10, "{}", told.len());
    let lines = answer.body.lines().filter(|line| !line.starts_with('#'));
    assert!(lines.count() < 500 + 150);
}

/// A real server that collects values; killed when dropped.
struct Prometheus {
    port: u16,
    child: Child,
    _folder: TempDir,
}

impl Prometheus {
    fn start(target: u16) -> Self {
        let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
        let settings = folder.path().join("prometheus.yml");
        let text = format!(
            "global: {{ scrape_interval: 1s }}\nscrape_configs:\n  - job_name: sumpward\n    static_configs:\n      - targets: [\"127.0.0.1:{target}\"]\n"
        );
        std::fs::write(&settings, text).unwrap();
        let child = Command::new("prometheus")
            .arg(format!("--config.file={}", settings.display()))
            .arg(format!(
                "--storage.tsdb.path={}",
                folder.path().join("data").display()
            ))
            .arg(format!("--web.listen-address=127.0.0.1:{port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("prometheus is installed (tests/all installs it)");
        Prometheus {
            port,
            child,
            _folder: folder,
        }
    }

    /// What its API answers; nothing while it is not there yet.
    fn api(&self, path: &str) -> Option<Value> {
        std::net::TcpStream::connect(("127.0.0.1", self.port)).ok()?;
        let answer = get(self.port, path, "application/json");
        serde_json::from_str(&answer.body).ok()
    }

    /// The newest values of an expression, each with its labels.
    fn query(&self, expression: &str) -> Vec<Value> {
        let found = self.api(&format!("/api/v1/query?query={expression}"));
        let results = found.and_then(|found| found["data"]["result"].as_array().cloned());
        results.unwrap_or_default()
    }
}

impl Drop for Prometheus {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_real_server_collects_the_values() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let (_plant, _daemon, port) = running(&broker);
    let server = Prometheus::start(port);
    let found = until("the server has collected the concentration", || {
        let found = server.query("sumpward_sump_concentration_ratio");
        (found.len() == 2).then_some(found)
    });
    let lean = found
        .iter()
        .find(|one| one["metric"]["sump"] == "s1")
        .unwrap();
    assert_eq!(lean["metric"]["plant"], "test");
    assert_eq!(lean["value"][1], "0.02");
    let up = server.query("up");
    assert_eq!(up[0]["value"][1], "1", "{up:?}");
    let up_to = server.query("sumpward_store_commit_seconds_bucket");
    assert_eq!(up_to.len(), 14, "{up_to:?}");
    // It understood kinds and units too, which plain text does not have.
    let about = server.api("/api/v1/metadata").unwrap();
    let about = &about["data"]["sumpward_sump_volume_litres"][0];
    assert_eq!(
        (&about["type"], &about["unit"]),
        (&"gauge".into(), &"litres".into())
    );
    assert!(server.query("sumpward_scrape_fresh")[0]["value"][1] == "1");
}

/// Plays the demo with pages; killed when dropped.
struct Played(Child);

impl Drop for Played {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn the_demo_serves_its_values_too() {
    let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
    let child = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["demo", "--seconds", "120", "--speed", "20000", "--folder"])
        .arg(folder.path().join("store"))
        .env("SUMPWARD__WEB__LISTEN", format!("127.0.0.1:{port}"))
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let _played = Played(child);
    let families = until("the demo tells losses and alarms", || {
        std::net::TcpStream::connect(("127.0.0.1", port)).ok()?;
        let families = read(&get(port, "/metrics", "*/*").body).unwrap();
        let alarms = values(&families, "sumpward_sump_alarms", &[]);
        let classes = values(&families, "sumpward_channel_instrument_class", &[]);
        let failed = classes.iter().any(|class| *class > 0.0);
        (!alarms.is_empty() && failed).then_some(families)
    });
    let known = values(&families, "sumpward_sump_concentration_ratio", &[]);
    assert!(
        known.len() >= 5 && known.iter().all(|share| (0.005..0.25).contains(share)),
        "{known:?}"
    );
    let sumps = families
        .iter()
        .filter(|one| one["name"] == "sumpward_channel_value");
    let sumps: BTreeSet<_> = sumps
        .flat_map(|one| one["values"].as_array().unwrap())
        .map(|one| one["labels"]["sump"].to_string())
        .collect();
    assert_eq!(sumps.len(), 6, "{sumps:?}");
}
