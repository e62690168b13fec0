//! Live and replayed, the same readings give the same journal.

use std::collections::BTreeSet;
use std::fmt::Write;
use std::path::Path;
use std::process::{Command, Output};

use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

fn replay(plant: &Plant, arguments: &[(&str, &Path)]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sumpward"));
    command
        .args(["replay", "--config"])
        .arg(plant.config())
        .current_dir(plant.folder());
    for (name, path) in arguments {
        command.arg(name).arg(path);
    }
    command.output().unwrap()
}

/// A day of two sumps, one of which goes lean and is topped up.
fn history(start: Timestamp) -> (String, String) {
    let mut csv = String::from("time,sump,channel,value\n");
    for minute in 0..1440 {
        let time = start + Span::from_mins(minute);
        let lean = if (300..600).contains(&minute) {
            2.6
        } else {
            4.0
        };
        for (sump, value) in [("s0", lean), ("s1", 4.1)] {
            let _ = writeln!(csv, "{time},{sump},brix,{value}");
            let _ = writeln!(csv, "{time},{sump},level,0.9");
        }
    }
    let entry = serde_json::json!({
        "time": (start + Span::from_mins(599)).to_string(), "sump": "s0", "by": "shift 2",
        "kind": "addition", "what": "premix", "litres": 150.0, "strength_pct": 20.0,
        "advice": "s0/advice/1",
    });
    (csv, format!("{entry}\n"))
}

/// Further channels of s0: a probe that needs a thermometer and says how it is,
/// a meter and a switch.
const INSTRUMENTS: &str = r#"
[sump.s0.limits.conductivity]
high = "4500 µS/cm"
on_delay = "300 ms"
off_delay = "0 s"
[sump.s0.channel.conductivity]
quantity = "conductivity"
broker = "main"
topic = "in/s0/conductivity"
payload = "json"
value = "/value"
time = "/time"
status = "/status"
status_good = ["ok"]
despike = false
smooth = "0 s"
[sump.s0.channel.conductivity.calibration]
compensation = "linear"
temperature_channel = "temperature"
[sump.s0.channel.temperature]
quantity = "temperature"
broker = "main"
topic = "in/s0/temperature"
[sump.s0.channel.make-up]
quantity = "metered"
broker = "main"
topic = "in/s0/meter"
[sump.s0.channel.pump]
quantity = "state"
broker = "main"
topic = "in/s0/pump"
"#;

/// The store's readings as the README exports them, and the marks among them.
fn exported(plant: &Plant) -> (String, BTreeSet<String>) {
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let mut select = store
        .prepare(
            "SELECT time, sump, channel, value, quality,
               strftime('%Y-%m-%dT%H:%M:%fZ', julianday(time) + delay_ms / 86400000.0) AS arrival
             FROM readings_plain WHERE kind = 'reading' ORDER BY arrival, time",
        )
        .unwrap();
    let mut csv = String::from("time,sump,channel,value,quality,arrival\n");
    let mut marks = BTreeSet::new();
    let mut rows = select.query(()).unwrap();
    while let Some(row) = rows.next().unwrap() {
        let text = |ix: usize| row.get::<_, String>(ix).unwrap();
        let value: f64 = row.get(3).unwrap();
        let (time, sump, channel, quality, arrival) = (text(0), text(1), text(2), text(4), text(5));
        marks.extend(quality.split(' ').map(str::to_owned));
        let _ = writeln!(csv, "{time},{sump},{channel},{value},{quality},{arrival}");
    }
    (csv, marks)
}

#[test]
fn what_the_daemon_stored_with_marks_replays_to_the_same_journal() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "300 ms",
        broker: "",
    });
    let settings = plant.config().join("plant.toml");
    let text = std::fs::read_to_string(&settings).unwrap() + INSTRUMENTS;
    std::fs::write(&settings, text).unwrap();
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/+/alarm"]);
    let daemon = Daemon::start(&plant);
    let send = |topic: &str, payload: &dyn Fn(Timestamp) -> String| {
        let time = until("the clock moves on", || {
            Some(now()).filter(|now| now.millis() % 20 < 5)
        });
        client.publish(topic, payload(time));
        until("the clock moves on", || {
            (now().millis() % 20 >= 5).then_some(())
        });
    };
    for step in 0..60u32 {
        // Broken it shows too much, and later it shows too much indeed.
        let (shown, status) = match step {
            10..25 => (9000.0, "broken"),
            35..50 => (9000.0, "ok"),
            _ => (2000.0, "ok"),
        };
        let conductivity = |time: Timestamp| {
            format!("{{\"value\":{shown},\"time\":\"{time}\",\"status\":\"{status}\"}}")
        };
        send("in/s0/conductivity", &conductivity);
        // Without a temperature in the beginning it is unsure.
        match step % 5 {
            0 if step >= 5 => send("in/s0/temperature", &|_| "31".to_owned()),
            1 => send("in/s0/brix", &|time| brix(4.0, time)),
            2 => send("in/s0/meter", &|_| format!("{}", 100 + step)),
            3 => send("in/s0/pump", &|_| {
                if step % 2 == 0 { "on" } else { "off" }.to_owned()
            }),
            _ => {}
        }
        match step {
            20 => send("in/s0/conductivity", &|time| {
                conductivity(time - Span::from_mins(10))
            }),
            30 => send("in/s0/brix", &|time| {
                brix(4.0, time - Span::from_hours(9_000))
            }),
            _ => {}
        }
    }
    assert_eq!(client.next("/alarm")["transition"], "raised");
    assert_eq!(client.next("/alarm")["transition"], "returned");
    let noted = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["entry", "s0", "note", "cleaned the probe", "--config"])
        .arg(plant.config())
        .current_dir(plant.folder())
        .output()
        .unwrap();
    assert!(noted.status.success(), "{noted:?}");
    daemon.signal("TERM");
    assert!(daemon.ended().success());
    let (csv, marks) = exported(&plant);
    for mark in ["good", "unsure", "fault", "late", "clock"] {
        assert!(marks.contains(mark), "{mark} is not among {marks:?}");
    }
    let path = plant.folder().join("readings.csv");
    std::fs::write(&path, csv).unwrap();
    let done = replay(&plant, &[("--readings", &path)]);
    let told = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{told}");
    let replayed = String::from_utf8(done.stdout).unwrap();
    let replayed: Vec<&str> = replayed.lines().collect();
    let lived = journal(&plant);
    let (entries, alarms): (Vec<&String>, Vec<&String>) = lived
        .iter()
        .partition(|line| line.contains("\"kind\":\"entry\""));
    assert_eq!(alarms, replayed);
    assert_eq!((entries.len(), replayed.len()), (1, 3), "{replayed:#?}");

    // And straight from the store, the entry too.
    let done = replay(&plant, &[("--from-store", Path::new("--from=2020-01-01"))]);
    let told = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{told}");
    let replayed = String::from_utf8(done.stdout).unwrap();
    assert_eq!(lived, replayed.lines().collect::<Vec<_>>());
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let plant = Plant::write(&Wanted {
        port: 1883,
        sumps: 2,
        on_delay: "10 min",
        broker: "",
    });
    let (csv, entries) = history(Timestamp::parse("2026-03-02T00:00:00Z").unwrap());
    let file = |name: &str| plant.folder().join(name);
    std::fs::write(file("readings.csv"), csv).unwrap();
    std::fs::write(file("entries.ndjson"), entries).unwrap();
    let mut outputs = Vec::new();
    for out in ["one.ndjson", "two.ndjson"] {
        let done = replay(
            &plant,
            &[
                ("--readings", &file("readings.csv")),
                ("--entries", &file("entries.ndjson")),
                ("--out", &file(out)),
            ],
        );
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        outputs.push(std::fs::read_to_string(file(out)).unwrap());
    }
    assert_eq!(outputs[0], outputs[1]);
    let kinds: Vec<String> = outputs[0]
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap())
        .map(|line| line["kind"].as_str().unwrap().to_owned())
        // What the balance makes of it is held against the truth in tests/estimates.
        .filter(|kind| kind != "movement")
        .collect();
    let (of_the_dose, after) = kinds.split_at(6.min(kinds.len()));
    assert_eq!(
        of_the_dose,
        [
            "advice",
            "alarm",
            "entry",
            "advice_followed",
            "alarm",
            "advice_outcome"
        ]
    );
    // The level never showed what was poured in: somebody is to look into that.
    assert!(!after.is_empty());
    assert!(
        after.chunks(2).all(|pair| pair == ["advice", "alarm"]),
        "{after:?}"
    );
    let times: Vec<&str> = outputs[0].lines().map(|line| &line[9..29]).collect();
    assert!(times.is_sorted(), "{times:?}");
}

#[test]
fn rows_that_are_no_readings_are_told_with_their_line_and_the_rest_is_replayed() {
    let plant = Plant::write(&Wanted {
        port: 1883,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    });
    let csv = "time,sump,channel,value\n\
               2026-03-02T00:00:00Z,s0,brix,4.0\n\
               yesterday,s0,brix,4.0\n\
               2026-03-02T00:01:00Z,s9,brix,4.0\n\
               2026-03-02T00:02:00Z,s0,salt,4.0\n\
               2026-03-02T00:03:00Z,s0,brix,much\n\
               2026-03-02T00:04:00Z,s0,brix\n\
               2026-03-02T00:05:00Z,s0,brix,4.0\n";
    let path = plant.folder().join("readings.csv");
    std::fs::write(&path, csv).unwrap();
    let done = replay(&plant, &[("--readings", &path)]);
    assert_eq!(done.status.code(), Some(1));
    let told = String::from_utf8_lossy(&done.stderr);
    for (line, words) in [
        (3, "RFC 3339"),
        (4, "no sump \"s9\""),
        (5, "no channel \"salt\""),
        (6, "\"much\""),
        (7, "no value"),
    ] {
        let found = told
            .lines()
            .any(|l| l.contains(&format!(":{line}: refused")) && l.contains(words));
        assert!(found, "line {line}: {words} in\n{told}");
    }
    assert!(told.contains("readings 2,"), "{told}");
}

#[test]
fn of_two_corrections_of_one_entry_the_second_is_refused_as_it_is_live() {
    let plant = Plant::write(&Wanted {
        port: 1883,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    });
    let entry = |id: &str, minute: u32, supersedes: &str| {
        format!(
            "{{\"kind\":\"note\",\"id\":\"{id}\",\"time\":\"2026-03-02T00:{minute:02}:00Z\",\"sump\":\"s0\",\"text\":\"x\"{supersedes}}}\n"
        )
    };
    let of_a = ",\"supersedes\":\"a\"";
    let text = entry("a", 1, "") + &entry("b", 2, of_a) + &entry("c", 3, of_a);
    // The same entry once more is known, however many lie between.
    let many: String = (0..70).map(|n| entry(&format!("n{n}"), 4, "")).collect();
    let text = text + &many + &entry("a", 1, "") + &entry("n0", 5, "");
    let file = |name: &str| plant.folder().join(name);
    std::fs::write(file("entries.ndjson"), text).unwrap();
    let csv = "time,sump,channel,value\n2026-03-02T00:00:00Z,s0,brix,4.0\n";
    std::fs::write(file("readings.csv"), csv).unwrap();
    let done = replay(
        &plant,
        &[
            ("--readings", &file("readings.csv")),
            ("--entries", &file("entries.ndjson")),
        ],
    );
    assert_eq!(done.status.code(), Some(1));
    let told = String::from_utf8_lossy(&done.stderr);
    assert!(
        told.contains("entries.ndjson:3: refused") && told.contains("superseded by \"b\""),
        "{told}"
    );
    assert!(told.contains("refused 1,"), "{told}");
    let lines = String::from_utf8(done.stdout).unwrap();
    assert_eq!(lines.lines().count(), 72, "{lines}");
}

/// Alarm conditions that a replay of these rows raises, in order.
fn raised(plant: &Plant, csv: &str) -> Vec<String> {
    let path = plant.folder().join("readings.csv");
    std::fs::write(&path, csv).unwrap();
    let done = replay(plant, &[("--readings", &path)]);
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let lines = String::from_utf8(done.stdout).unwrap();
    let lines = lines
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
    lines
        .filter(|line| line["transition"] == "raised")
        .map(|line| line["condition"].as_str().unwrap().to_owned())
        .collect()
}

#[test]
fn the_arrival_column_brings_late_readings_back_as_late() {
    let plant = Plant::write(&Wanted {
        port: 1883,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    });
    let start = Timestamp::parse("2026-03-02T00:00:00Z").unwrap();
    let at = |minute: i64| start + Span::from_mins(minute);
    // Half an hour of lean readings reached the daemon an hour late.
    let mut in_time = String::from("time,sump,channel,value\n");
    let mut as_they_came = String::from("time,sump,channel,value,arrival\n");
    for minute in 0..120 {
        let lean = (30..60).contains(&minute);
        let value = if lean { 2.6 } else { 4.0 };
        let _ = writeln!(in_time, "{},s0,brix,{value}", at(minute));
        let _ = writeln!(in_time, "{},s0,level,0.9", at(minute));
        if !lean {
            let _ = writeln!(as_they_came, "{},s0,brix,{value},", at(minute));
        }
        let _ = writeln!(as_they_came, "{},s0,level,0.9,", at(minute));
    }
    for minute in 30..60 {
        let _ = writeln!(as_they_came, "{},s0,brix,2.6,{}", at(minute), at(119));
    }
    assert_eq!(raised(&plant, &in_time), ["concentration.low"]);
    assert_eq!(raised(&plant, &as_they_came), ["silent.brix"]);
}

#[test]
fn live_and_replay_give_the_same_journal() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "300 ms",
        broker: "",
    });
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/+/alarm"]);
    let _daemon = Daemon::start(&plant);
    let mut csv = String::from("time,sump,channel,value\n");
    let mut sent = 0;
    // Lean for a while, rich for a while, on both sumps; each reading leaves
    // at the time that it bears.
    for step in 0..60u32 {
        let value = match step {
            10..25 => 2.5,
            35..50 => 5.6,
            _ => 4.0,
        };
        for sump in ["s0", "s1"] {
            let time = until("the clock moves on", || {
                Some(now()).filter(|now| now.millis() % 50 < 10)
            });
            client.publish(&format!("in/{sump}/brix"), brix(value, time));
            let _ = writeln!(csv, "{time},{sump},brix,{value}");
            sent += 1;
        }
        until("it is stored", || (stored(&plant) >= sent).then_some(()));
    }
    for _ in 0..8 {
        client.next("/alarm");
    }
    let path = plant.folder().join("readings.csv");
    std::fs::write(&path, csv).unwrap();
    let done = replay(&plant, &[("--readings", &path)]);
    assert!(done.status.success());
    let replayed: Vec<String> = String::from_utf8(done.stdout)
        .unwrap()
        .lines()
        .map(str::to_owned)
        .collect();
    assert_eq!(journal(&plant), replayed);
    assert!(replayed.len() >= 12, "{replayed:#?}");
}
