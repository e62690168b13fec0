//! Packs of SenML that a library of others has written, through a real broker
//! into the store.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use serde_json::{Value, json};
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, now};
use crate::wait::until;

const TOPIC: &str = "in/s0/senml";
const NAME: &str = "urn:dev:ow:10e2073a01080063:";
const CHANNELS: &str = r#"
[sump.s0.channel.temperature]
quantity = "temperature"
topic = "in/s0/senml"
payload = "senml"
name = "urn:dev:ow:10e2073a01080063:temp"
[sump.s0.channel.ph]
quantity = "ph"
topic = "in/s0/senml"
payload = "senml"
name = "urn:dev:ow:10e2073a01080063:ph"
[sump.s0.channel.conductivity]
quantity = "conductivity"
topic = "in/s0/senml"
payload = "senml"
name = "urn:dev:ow:10e2073a01080063:cond"
unit = "mS/cm"
[sump.s0.channel.pump]
quantity = "state"
topic = "in/s0/senml"
payload = "senml"
name = "urn:dev:ow:10e2073a01080063:pump"
[sump.s0.channel.water]
quantity = "metered"
topic = "in/s0/senml"
payload = "senml"
name = "urn:dev:ow:10e2073a01080063:water"
per_pulse = "0.5 L"
"#;

/// A pack as JSON and as CBOR.
fn written(pack: &Value) -> [Vec<u8>; 2] {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    let mut child = Command::new(&python)
        .arg(root.join("tests/peers/senml.py"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|why| panic!("{}: {why}; run tests/all once", python.display()));
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(pack.to_string().as_bytes()).unwrap();
    drop(stdin);
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "run tests/all once");
    let written: Value = serde_json::from_slice(&output.stdout).unwrap();
    let hex = written["cbor"].as_str().unwrap();
    let byte = |at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
    let cbor = (0..hex.len()).step_by(2).map(byte).collect();
    [written["json"].as_str().unwrap().into(), cbor]
}

fn seconds(time: Timestamp) -> f64 {
    time.millis() as f64 / 1000.0
}

/// The readings of the plant without a mark but that they came late, by channel
/// and time.
fn stored(plant: &Plant) -> Vec<(String, Timestamp, f64)> {
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let mut select = store
        .prepare(
            "SELECT series.channel, readings.time, readings.value
             FROM readings JOIN series ON series.id = readings.series
             WHERE series.kind = 'reading' AND readings.quality & ~1 = 0
             ORDER BY series.channel, readings.time",
        )
        .unwrap();
    let rows = select.query_map([], |row| {
        let time = Timestamp::from_millis(row.get(1)?);
        Ok((row.get(0)?, time, row.get(2)?))
    });
    rows.unwrap().map(Result::unwrap).collect()
}

/// A plant with the channels above besides its own.
fn plant(broker: &Mosquitto) -> Plant {
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    });
    std::fs::write(plant.config().join("senml.toml"), CHANNELS).unwrap();
    plant
}

#[test]
fn packs_that_another_library_wrote_are_stored_value_by_value() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let client = TestClient::connect(broker.port, "test", &[]);
    let daemon = Daemon::start(&plant);
    let start = now() - Span::from_mins(10);
    let mut expected = Vec::new();
    // The same in both encodings, a minute apart.
    for (encoding, minute) in [(0, 0), (1, 1)] {
        let at = |secs: i64| start + Span::from_mins(minute) + Span::from_millis(secs * 1000 + 125);
        let pack = json!({
            "name": NAME,
            "time": seconds(start),
            "value": 0.25,
            "records": [
                {"name": "temp", "unit": "Cel", "value": 23.5, "time": seconds(at(0))},
                {"name": "temp", "unit": "K", "value": 297.15, "time": seconds(at(20))},
                {"name": "temp", "value": 24.5, "time": seconds(at(10)), "update_time": seconds(at(30))},
                {"name": "ph", "unit": "pH", "value": 9.125, "time": seconds(at(0))},
                {"name": "cond", "unit": "S/m", "value": 0.25, "time": seconds(at(0))},
                {"name": "cond", "value": 2.75, "time": seconds(at(5))},
                {"name": "pump", "value": minute == 0, "time": seconds(at(0))},
                {"name": "water", "unit": "count", "value": 1000 + minute, "time": seconds(at(0))},
                {"name": "nobody", "unit": "V", "value": 3.3, "time": seconds(at(0))},
            ],
        });
        client.publish(TOPIC, written(&pack)[encoding].clone());
        expected.extend([
            ("temperature", at(0), 23.5),
            ("temperature", at(10), 24.5),
            ("temperature", at(20), 24.0),
            ("ph", at(0), 9.125),
            ("conductivity", at(0), 2500.0),
            ("conductivity", at(5), 2750.0),
            ("pump", at(0), if minute == 0 { 1.0 } else { 0.0 }),
            ("water", at(0), 500.0 + minute as f64 / 2.0),
        ]);
    }
    expected.sort_by_key(|&(channel, time, _)| (channel, time));
    let found = until("every reading is stored", || {
        let found = stored(&plant);
        (found.len() >= expected.len()).then_some(found)
    });
    assert_eq!(found.len(), expected.len(), "{found:?}");
    for ((channel, time, value), (of, at, wanted)) in found.iter().zip(&expected) {
        assert_eq!((channel.as_str(), time), (*of, at));
        assert!((value - wanted).abs() < 1e-9, "{channel}: {value}");
    }
    assert_eq!(daemon.count_logged("message refused"), 0);
}

#[test]
fn times_from_now_are_counted_from_the_arrival_and_wrong_units_are_told() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let client = TestClient::connect(broker.port, "test", &[]);
    let daemon = Daemon::start(&plant);
    let before = now();
    let pack = json!({
        "name": NAME,
        "records": [
            {"name": "ph", "value": 9.0, "time": -90},
            {"name": "ph", "value": 9.25, "time": -30},
            {"name": "ph", "value": 9.5},
            {"name": "temp", "unit": "V", "value": 1.5},
        ],
    });
    let [_, cbor] = written(&pack);
    client.publish(TOPIC, cbor);
    let found = until("the readings are stored", || {
        let found = stored(&plant);
        (found.len() >= 3).then_some(found)
    });
    let after = now();
    let values: Vec<f64> = found.iter().map(|row| row.2).collect();
    assert_eq!(values, [9.0, 9.25, 9.5]);
    for ((_, time, _), age) in found.iter().zip([90, 30, 0]) {
        let sent = *time + Span::from_secs(age);
        assert!(before <= sent && sent <= after, "{found:?}");
    }
    assert_eq!(found[1].1 - found[0].1, Span::from_secs(60));
    let told = daemon.logged("cannot be a temperature");
    assert!(told.contains("let the sender give Cel, K"), "{told}");
}
