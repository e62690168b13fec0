//! How good the alarms are, told from the store beside the daemon.

use std::process::{Command, Output};

use serde_json::Value;
use sumpward::store::{Batch, JournalRow, Limits, Store, Writer};
use sumpward::units::Timestamp;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

fn alarms(plant: &Plant, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["alarms", "--config"])
        .arg(plant.config())
        .args(arguments)
        .current_dir(plant.folder())
        .output()
        .unwrap()
}

fn json(plant: &Plant, arguments: &[&str]) -> Value {
    let done = alarms(plant, &[arguments, &["--json"]].concat());
    assert!(done.status.success(), "{done:?}");
    serde_json::from_slice(&done.stdout).unwrap()
}

fn value(told: &Value, name: &str) -> f64 {
    let mut figures = told["figures"].as_array().unwrap().iter();
    let figure = figures.find(|figure| figure["name"] == name).unwrap();
    figure["value"].as_f64().unwrap()
}

fn plant(port: u16) -> Plant {
    Plant::write(&Wanted {
        port,
        sumps: 2,
        on_delay: "0 s",
        broker: "",
    })
}

/// An alarm line of March 2026.
fn line(seq: u64, time: &str, sump: &str, what: &str, transition: &str, state: &str) -> JournalRow {
    let time = format!("2026-03-{time}Z");
    let body = serde_json::json!({
        "time": time, "sump": sump, "seq": seq, "kind": "alarm", "id": "x", "condition": what,
        "priority": if what == "silent.brix" { "low" } else { "high" },
        "transition": transition, "state": state, "since": time, "by": "anna",
        "reason": "bench test",
    });
    JournalRow {
        time: Timestamp::parse(&time).unwrap(),
        sump: sump.into(),
        seq,
        kind: "alarm",
        body: body.to_string(),
    }
}

fn keep(plant: &Plant, journal: Vec<JournalRow>) {
    let mut store = Store::open(&plant.store()).unwrap();
    let series = store.register(&[]).unwrap();
    let after = Box::new(|_| ());
    let writer: Writer<()> = Writer::start(store, series, Limits::default(), after).unwrap();
    let batch = Batch {
        journal,
        ..Batch::default()
    };
    writer.handle().submit(batch).unwrap();
    writer.stop().unwrap();
}

#[test]
fn a_journal_of_ten_days_gives_its_figures() {
    let plant = plant(1883);
    let none = alarms(&plant, &[]);
    assert_eq!(none.status.code(), Some(2));
    let told = String::from_utf8_lossy(&none.stderr).into_owned();
    assert!(told.contains("there is no store in"), "{told}");

    let (low, silent) = ("concentration.low", "silent.brix");
    keep(
        &plant,
        vec![
            line(1, "01T00:00:00", "s0", low, "raised", "unacknowledged"),
            line(2, "01T00:20:00", "s0", low, "acknowledged", "acknowledged"),
            line(3, "01T02:00:00", "s0", low, "returned", "normal"),
            line(1, "02T00:00:00", "s1", silent, "raised", "unacknowledged"),
            line(4, "03T00:00:00", "s0", low, "shelved", "shelved"),
            line(5, "03T06:00:00", "s0", low, "unshelved", "unacknowledged"),
            line(6, "04T00:00:00", "s0", low, "vanished", "normal"),
            line(
                7,
                "11T00:00:00",
                "s0",
                low,
                "taken_out_of_service",
                "out_of_service",
            ),
        ],
    );
    let whole = [
        "--from",
        "2026-02-01T00:00:00Z",
        "--to",
        "2026-04-01T00:00:00Z",
    ];
    let told = json(&plant, &whole);
    // Known are the ten days between the first line and the last.
    assert_eq!(told["from"], "2026-03-01T00:00:00Z");
    let near = |found: f64, expected: f64| {
        assert!((found - expected).abs() < 1e-6, "{found} {expected}");
    };
    near(told["days"].as_f64().unwrap(), 10.0);
    assert_eq!(told["enough_days"], false);
    assert_eq!(
        (&told["annunciations"], &told["unknown"]),
        (&3.into(), &1.into())
    );
    near(value(&told, "per_day"), 0.3);
    assert_eq!(value(&told, "median_time_to_acknowledge"), 20.0);
    assert_eq!(value(&told, "never_acknowledged"), 2.0);
    assert_eq!(told["most_frequent"][0]["condition"], low);
    assert_eq!(
        (&told["hidden"][0]["count"], &told["hidden"][0]["hours"]),
        (&1.into(), &6.0.into())
    );
    let present = told["present"].as_array().unwrap();
    assert_eq!(present.len(), 2);
    assert_eq!(present[0]["standing"], "out_of_service");
    assert_eq!(present[0]["reason"], "bench test");
    assert_eq!(present[1]["standing"], "unacknowledged");
    assert_eq!(present[1]["sump"], "s1");

    let scaled = json(
        &plant,
        &[&whole[..], &["--sumps-per-person", "300"]].concat(),
    );
    near(value(&scaled, "per_day"), 45.0);
    let text = alarms(&plant, &whole);
    let text = String::from_utf8(text.stdout).unwrap();
    for expected in [
        "Alarms of 2 sumps",
        "fewer than 30 days",
        "1 alarm lines of the journal are left out",
        "annunciations a day, mean",
        "out of service since 2026-03-11T00:00:00Z, by anna: bench test",
    ] {
        assert!(text.contains(expected), "{expected} is not in\n{text}");
    }
    // Before the journal begins there is nothing to tell.
    let before = alarms(&plant, &["--to", "2026-01-01"]);
    assert_eq!(before.status.code(), Some(1));
    let backwards = alarms(&plant, &["--from", "2026-02-01", "--to", "2026-01-01"]);
    assert_eq!(backwards.status.code(), Some(2));
}

#[test]
fn they_are_told_beside_the_daemon() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(broker.port);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/+/alarm"]);
    let _daemon = Daemon::start(&plant);
    let send = |value: f64| {
        let time = until("the clock moves on", || {
            Some(now()).filter(|now| now.millis() % 20 < 5)
        });
        client.publish("in/s0/brix", brix(value, time));
        until("the clock moves on", || {
            (now().millis() % 20 >= 5).then_some(())
        });
    };
    send(4.0);
    send(2.6);
    assert_eq!(client.next("/alarm")["transition"], "raised");
    let told = until("a snapshot covers the alarm", || {
        let done = alarms(&plant, &["--json"]);
        let told = serde_json::from_slice::<Value>(&done.stdout).ok()?;
        (told["annunciations"] == 1).then_some(told)
    });
    assert_eq!(told["present"][0]["sump"], "s0");
    assert_eq!(told["present"][0]["standing"], "unacknowledged");
    assert_eq!(told["unknown"], 0);
}
