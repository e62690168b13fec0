//! A first look at a broker, a port and a Modbus line, at peers of another
//! make.

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};

use serde_json::{Value, json};

use crate::broker::{Keeps, Mosquitto, TestClient, free_port};
use crate::wires::Peer;

/// A survey that is running.
struct Survey(Child);

impl Survey {
    fn start(arguments: &[&str]) -> Self {
        let child = Command::new(env!("CARGO_BIN_EXE_sumpward"))
            .arg("survey")
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        Survey(child)
    }

    fn output(self) -> Output {
        self.0.wait_with_output().unwrap()
    }

    /// Sends with `send` until the survey ends, which is when its time is over;
    /// gives its exit status and what it printed.
    fn fed(mut self, mut send: impl FnMut()) -> (i32, String) {
        while self.0.try_wait().unwrap().is_none() {
            send();
            std::thread::park_timeout(std::time::Duration::from_millis(100));
        }
        told(&self.output())
    }
}

fn told(output: &Output) -> (i32, String) {
    let text = String::from_utf8(output.stdout.clone()).unwrap();
    (output.status.code().unwrap(), text)
}

fn survey(arguments: &[&str]) -> (i32, String) {
    told(&Survey::start(arguments).output())
}

/// The row of this name.
fn row<'a>(report: &'a Value, name: &str) -> &'a Value {
    let rows = report["rows"].as_array().unwrap();
    let found = rows.iter().find(|row| row["name"] == name);
    found.unwrap_or_else(|| panic!("{name} is not among {rows:?}"))
}

fn value(row: &Value, place: &str) -> Value {
    let values = row["values"].as_array().unwrap();
    let found = values.iter().find(|value| value["place"] == place);
    found.map_or(Value::Null, |value| value["value"].clone())
}

/// A pack as JSON, written by another library.
fn pack() -> Vec<u8> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut child = Command::new(root.join("target/peers/bin/python"))
        .arg(root.join("tests/peers/senml.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("the peers are in target/peers; run tests/all once");
    let wanted = json!({"name": "urn:dev:ow:1:", "records": [
        {"name": "temp", "unit": "Cel", "value": 23.5},
        {"name": "pump", "value": true},
    ]});
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(wanted.to_string().as_bytes()).unwrap();
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    let written: Value = serde_json::from_slice(&output.stdout).unwrap();
    written["json"].as_str().unwrap().into()
}

/// An edge node of another make.
struct EdgeNode(Child);

impl EdgeNode {
    fn start(port: u16) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut child = Command::new(root.join("target/peers/bin/python"))
            .arg(root.join("tests/peers/sparkplug_node.py"))
            .args([&port.to_string(), "0"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the peers are in target/peers; run tests/all once");
        let mut said = String::new();
        let mut output = BufReader::new(child.stdout.take().unwrap());
        output.read_line(&mut said).unwrap();
        assert_eq!(said, "connected\n");
        EdgeNode(child)
    }

    fn obey(&mut self, command: &str) {
        let input = self.0.stdin.as_mut().unwrap();
        writeln!(input, "{command}").unwrap();
    }
}

impl Drop for EdgeNode {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

#[test]
fn a_broker_with_every_format() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let client = TestClient::connect(broker.port, "test", &[]);
    let mut node = EdgeNode::start(broker.port);
    let pack = pack();
    let address = format!("127.0.0.1:{}", broker.port);
    client.retain("cells/a/level", "480");
    let running = Survey::start(&["broker", &address, "--for", "4s", "--json"]);
    let (status, text) = running.fed(|| {
        client.send("cells/a/ph", "9.1");
        client.send("cells/b", r#"{"brix":7.4,"unit":"°Bx","status":"ok"}"#);
        client.send("cells/c", pack.clone());
        client.confirmed(3);
        node.obey("birth");
    });
    assert_eq!(status, 0, "{text}");
    let report: Value = serde_json::from_str(&text).unwrap();
    let heading = report["heading"].as_str().unwrap();
    assert!(
        heading.contains("4 topics, 1 node and 1 device"),
        "{heading}"
    );
    let ph = row(&report, "cells/a/ph");
    assert_eq!(ph["format"], "a number");
    assert!(ph["every_s"].as_f64().unwrap() < 2.0, "{ph}");
    assert_eq!(value(ph, ""), 9.1);
    assert_eq!(row(&report, "cells/a/level")["retained"], 1);
    let json = row(&report, "cells/b");
    assert_eq!(value(json, "/unit"), "°Bx");
    assert!(
        json["settings"]
            .as_str()
            .unwrap()
            .contains("#unit_from = \"/unit\"")
    );
    let senml = row(&report, "cells/c");
    assert_eq!(value(senml, "urn:dev:ow:1:temp"), 23.5);
    assert!(
        senml["settings"]
            .as_str()
            .unwrap()
            .contains("payload = \"senml\"")
    );
    let device = row(&report, "Hall 3/gateway-1 tank");
    assert_eq!(value(device, "Fluid/pH"), 9.25);
    assert!(
        device["settings"]
            .as_str()
            .unwrap()
            .contains("metric = \"Fluid/pH\"")
    );
}

#[test]
fn a_broker_without_anything_or_without_itself() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let address = format!("127.0.0.1:{}", broker.port);
    let (status, text) = survey(&["broker", &address, "--for", "1s"]);
    assert_eq!(status, 1);
    assert!(text.contains("0 topics, 0 messages"), "{text}");
    let nobody = format!("127.0.0.1:{}", free_port());
    assert_eq!(survey(&["broker", &nobody, "--for", "1s"]).0, 1);
    assert_eq!(survey(&["broker"]).0, 2);
}

#[test]
fn lines_on_a_port() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("line");
    let mut instrument = Peer::instrument(&link);
    let device = link.to_str().unwrap();
    let line = |text: &str| {
        let check = text.bytes().fold(0, |check, byte| check ^ byte);
        format!("${text}*{check:02X}\r\n")
    };
    let mut count = 0;
    let (status, text) = Survey::start(&["lines", device, "--for", "2s"]).fed(|| {
        count += 1;
        instrument.send(line(&format!("BX= 7.{:02} T=24.1 OK", count % 100)).as_bytes());
    });
    assert_eq!(status, 0, "{text}");
    for words in [
        "9600 bit/s 8N1, lines end in CR LF",
        "the check at the end is \"xor\"",
        "[serial.line]",
        "pattern = \"BX= {bx} T={t} OK\"",
        "checksum = { kind = \"xor\", mark = \"*\", start = \"$\" }",
        "field = \"bx\"",
    ] {
        assert!(text.contains(words), "want: {words}\n{text}");
    }
}

#[test]
fn a_port_that_is_silent_or_absent() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("line");
    let _instrument = Peer::instrument(&link);
    let device = link.to_str().unwrap();
    let (status, text) = survey(&["lines", device, "--baud", "9600", "--for", "1s"]);
    assert_eq!(status, 1);
    assert!(text.contains("Nothing came"), "{text}");
    assert_eq!(survey(&["lines", "/dev/not-there"]).0, 1);
    assert_eq!(survey(&["lines", device, "--parity", "some"]).0, 2);
}

const NUMBERS: [&str; 4] = [
    "3:input:12:float32:CDAB:4.25",
    "3:input:14:float32:CDAB:24.125",
    "3:holding:4:uint16:AB:421",
    "7:holding:0:int16:AB:-2",
];

fn found(report: &Value, in_settings: &str) {
    let input = row(report, "slave 3, input registers");
    assert_eq!(value(input, "12, 13 as float32 CDAB"), 4.25);
    assert_eq!(value(input, "14, 15 as float32 CDAB"), 24.125);
    let settings = input["settings"].as_str().unwrap();
    assert!(settings.contains("register = 12"), "{settings}");
    assert!(settings.contains("order = \"CDAB\""), "{settings}");
    assert_eq!(value(row(report, "slave 3, holding registers"), "4"), 421.0);
    let other = row(report, "slave 7, holding registers");
    assert_eq!(value(other, "0 as int16"), -2.0);
    let notes = other["notes"].to_string();
    assert!(
        notes.contains("19 registers refused: exception 02"),
        "{notes}"
    );
    let source = report["settings"].as_str().unwrap();
    assert!(source.contains(in_settings), "{source}");
}

#[test]
fn slaves_on_a_line() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("line");
    let _slaves = Peer::slaves(&link, &NUMBERS);
    let device = link.to_str().unwrap();
    let more = [
        "--parity",
        "none",
        "--slaves",
        "3,5,7",
        "--registers",
        "0-19",
        "--json",
    ];
    let output = Survey::start(&[&["modbus", device], &more[..]].concat()).output();
    let (status, text) = told(&output);
    let warning = String::from_utf8(output.stderr).unwrap();
    assert!(warning.contains("Nothing else may be master"), "{warning}");
    assert_eq!(status, 0, "{text}");
    let report: Value = serde_json::from_str(&text).unwrap();
    let heading = report["heading"].as_str().unwrap();
    assert!(heading.contains("3 slaves asked"), "{heading}");
    assert!(heading.ends_with("2 slaves there"), "{heading}");
    found(&report, "[modbus.line]\ndevice = ");
}

#[test]
fn slaves_over_tcp() {
    let port = free_port();
    let _slaves = Peer::start(
        "modbus_slaves.py",
        &[&["--port", &port.to_string()], &NUMBERS[..]].concat(),
    );
    let address = format!("127.0.0.1:{port}");
    let more = ["--slaves", "3,7", "--registers", "0-19", "--json"];
    let (status, text) = survey(&[&["modbus", &address], &more[..]].concat());
    assert_eq!(status, 0, "{text}");
    found(
        &serde_json::from_str(&text).unwrap(),
        "host = \"127.0.0.1\"",
    );
    assert_eq!(survey(&["modbus", &address, "--baud", "9600"]).0, 2);
    assert_eq!(survey(&["modbus", "/dev/not-there", "--slaves", "0"]).0, 2);
    let nobody = format!("127.0.0.1:{}", free_port());
    assert_eq!(survey(&["modbus", &nobody]).0, 1);
}
