//! History into the store of a running daemon.

use std::fmt::Write;
use std::ops::ControlFlow;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use sumpward::engine::Quality;
use sumpward::store::{Reader, StoredReading};
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

const ROWS: usize = 200_000;
const LIVE: usize = 3_000;

fn command(plant: &Plant, files: &[&Path]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_sumpward"));
    command
        .args(["import", "--json", "--config"])
        .arg(plant.config())
        .args(files)
        .current_dir(plant.folder())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    command
}

fn import(plant: &Plant, files: &[&Path]) -> Output {
    command(plant, files).output().unwrap()
}

/// What the import says of its first file.
fn counts(done: &Output) -> serde_json::Value {
    let text = String::from_utf8_lossy(&done.stdout);
    let told: serde_json::Value =
        serde_json::from_str(&text).unwrap_or_else(|error| panic!("{error}: {text}"));
    told["files"][0].clone()
}

fn words(done: &Output) -> String {
    String::from_utf8_lossy(&done.stderr).into_owned()
}

fn plant(broker: &Mosquitto) -> Plant {
    Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "0 s",
        broker: "",
    })
}

fn file(plant: &Plant, name: &str, text: &str) -> PathBuf {
    let path = plant.folder().join(name);
    std::fs::write(&path, text).unwrap();
    path
}

/// A lean second after the other, until yesterday, each with a value of its
/// own: live it would raise an alarm at once.
fn lean_history() -> String {
    let begun = now() - Span::from_hours(24) - Span::from_secs(ROWS as i64 / 2);
    let mut csv = String::from("time,sump,channel,value\n");
    for n in 0..ROWS {
        let time = begun + Span::from_secs(n as i64 / 2);
        let _ = writeln!(csv, "{time},s{},brix,{}", n % 2, 1.0 + n as f64 / 1e6);
    }
    csv
}

/// Waits until so many rows are stored, while the import still runs.
fn imported(plant: &Plant, import: &mut Child, rows: usize) {
    until(&format!("{rows} rows are stored"), || {
        let ended = import.try_wait().unwrap();
        assert!(ended.is_none(), "the import ended before it was killed");
        (stored(plant) > rows as u64).then_some(())
    });
}

#[test]
fn killed_on_either_side_an_import_goes_on_and_live_readings_are_all_there() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = plant(&broker);
    let csv = file(&plant, "history.csv", &lean_history());
    let daemon = Daemon::start(&plant);
    let port = broker.port;
    let live = std::thread::spawn(move || {
        let client = TestClient::connect(port, "live", &[]);
        let begun = now();
        for n in 0..LIVE {
            let time = begun + Span::from_millis(n as i64);
            client.publish(&format!("in/s{}/brix", n % 2), brix(4.0, time));
        }
    });

    let mut first = command(&plant, &[&csv]).spawn().unwrap();
    imported(&plant, &mut first, ROWS / 5);
    first.kill().unwrap();
    first.wait().unwrap();

    let mut second = command(&plant, &[&csv]).spawn().unwrap();
    imported(&plant, &mut second, ROWS / 2);
    daemon.kill();
    let second = second.wait_with_output().unwrap();
    assert_eq!(second.status.code(), Some(1));
    assert!(
        words(&second).contains("do the same again"),
        "{}",
        words(&second)
    );

    let daemon = Daemon::start(&plant);
    let third = import(&plant, &[&csv]);
    assert!(third.status.success(), "{}", words(&third));
    let told = counts(&third);
    assert_eq!(told["rows"], ROWS as u64);
    assert!(told["earlier"].as_u64() > Some(ROWS as u64 / 4), "{told}");
    live.join()
        .expect("every live reading was confirmed by the broker");
    let all = (ROWS + LIVE) as u64;
    until("everything is stored", || {
        (stored(&plant) >= all).then_some(())
    });

    // Once more: every row is known, none is stored.
    let again = import(&plant, &[&csv]);
    assert!(again.status.success(), "{}", words(&again));
    let told = counts(&again);
    assert_eq!(
        (&told["known"], &told["stored"], &told["conflicts"]),
        (&(ROWS as u64).into(), &0.into(), &0.into())
    );
    assert_eq!(stored(&plant), all);
    assert_eq!(late_and_distinct(&plant), (ROWS as u64, ROWS as u64));
    // Neither the import nor the start after it raised an alarm.
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    assert_eq!(journal(&plant), Vec::<String>::new());
}

/// Readings that are marked late, and values among them. History is soon packed.
fn late_and_distinct(plant: &Plant) -> (u64, u64) {
    let mut late: Vec<u64> = (all_readings(plant).iter())
        .filter(|one| one.quality == Quality::LATE)
        .map(|one| one.value.to_bits())
        .collect();
    let count = late.len();
    late.sort_unstable();
    late.dedup();
    (count as u64, late.len() as u64)
}

/// Every reading in the store, by time.
fn all_readings(plant: &Plant) -> Vec<StoredReading> {
    let mut all = Vec::new();
    Reader::open(&plant.store())
        .unwrap()
        .range(Timestamp::MIN, Timestamp::MAX, |one| {
            all.push(*one);
            ControlFlow::Continue(())
        })
        .unwrap();
    all
}

#[test]
fn rows_that_are_not_taken_are_told_with_their_lines_and_the_rest_is() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let _daemon = Daemon::start(&plant);
    let next_year = now() + Span::from_hours(365 * 24);
    let text = format!(
        "time,sump,channel,value\n\
         2026-03-02T00:00:00Z,s0,brix,4.0\n\
         yesterday,s0,brix,4.0\n\
         2026-03-02T00:01:00Z,s9,brix,4.0\n\
         2026-03-02T00:02:00Z,s0,birx,4.0\n\
         2026-03-02T00:03:00Z,s0,brix,much\n\
         {next_year},s0,brix,4.0\n\
         2026-03-02T00:00:00Z,s0,brix,4.5\n\
         2026-03-02T00:05:00Z,s1,level,0.9\n"
    );
    let csv = file(&plant, "history.csv", &text);
    let done = import(&plant, &[&csv]);
    assert_eq!(done.status.code(), Some(1));
    let told = words(&done);
    for (line, words) in [
        (3, "RFC 3339"),
        (4, "no sump \"s9\""),
        (5, "did you mean \"brix\""),
        (6, "\"much\""),
        (7, "yet to come"),
    ] {
        let found = told
            .lines()
            .any(|l| l.contains(&format!("history.csv:{line}: refused")) && l.contains(words));
        assert!(found, "line {line}: {words} in\n{told}");
    }
    let counts = counts(&done);
    assert_eq!(
        (
            &counts["rows"],
            &counts["stored"],
            &counts["conflicts"],
            &counts["refused"]
        ),
        (&8.into(), &2.into(), &1.into(), &5.into()),
        "{counts}"
    );
    assert_eq!(stored(&plant), 2);
}

#[test]
fn marks_of_rows_are_kept_beside_late_and_unknown_ones_refused() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let _daemon = Daemon::start(&plant);
    let text = "time,sump,channel,value,quality\n\
                2026-03-02T00:00:00Z,s0,brix,4.0,unsure fault out_of_range repeated clock spike\n\
                2026-03-02T00:01:00Z,s0,brix,4.0,good\n\
                2026-03-02T00:02:00Z,s0,brix,4.0,\n\
                2026-03-02T00:03:00Z,s0,brix,4.0,repeatd\n";
    let done = import(&plant, &[&file(&plant, "marked.csv", text)]);
    assert_eq!(done.status.code(), Some(1));
    let told = words(&done);
    assert!(
        told.contains("marked.csv:5: refused") && told.contains("did you mean \"repeated\"?"),
        "{told}"
    );
    let kept: Vec<Quality> = all_readings(&plant).iter().map(|one| one.quality).collect();
    let all = Quality::from_bits(0x7f);
    assert_eq!(kept, [all, Quality::LATE, Quality::LATE]);
}

#[test]
fn a_row_as_new_as_live_readings_is_refused_and_the_live_one_counts() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let client = TestClient::connect(broker.port, "live", &["sumpward/test/s0/alarm"]);
    let _daemon = Daemon::start(&plant);
    // The file is ahead of the wire with the same reading.
    let time = now();
    let text = format!("time,sump,channel,value\n{time},s0,brix,2.0\n");
    let csv = file(&plant, "ahead.csv", &text);
    let done = import(&plant, &[&csv]);
    assert_eq!(done.status.code(), Some(1));
    assert!(
        words(&done).contains("belong to the live readings"),
        "{}",
        words(&done)
    );
    assert_eq!(stored(&plant), 0);
    client.publish("in/s0/level", "900");
    client.publish("in/s0/brix", brix(2.0, time));
    assert_eq!(client.next("/alarm")["transition"], "raised");
    until("the live readings are stored", || {
        (stored(&plant) == 2).then_some(())
    });
}

#[test]
fn entries_of_history_go_to_the_journal_once_and_change_nothing() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let _daemon = Daemon::start(&plant);
    let at = |hour: i64| Timestamp::parse("2026-03-02T00:00:00Z").unwrap() + Span::from_hours(hour);
    let mut text = String::new();
    for hour in 0..200 {
        let time = at(hour);
        let _ = writeln!(
            text,
            "{{\"kind\":\"addition\",\"time\":\"{time}\",\"sump\":\"s0\",\"what\":\"water\",\"litres\":5}}"
        );
    }
    let _ = writeln!(
        text,
        "{{\"kind\":\"note\",\"time\":\"{}\",\"sump\":\"s7\",\"text\":\"x\"}}",
        at(0)
    );
    let entries = file(&plant, "entries.ndjson", &text);
    let done = import(&plant, &[&entries]);
    assert_eq!(done.status.code(), Some(1));
    assert!(
        words(&done).contains("entries.ndjson:201: refused: there is no sump \"s7\""),
        "{}",
        words(&done)
    );
    assert_eq!(counts(&done)["stored"], 200);
    // With one more line it is another file, whose entries are known all the same.
    let _ = writeln!(
        text,
        "{{\"kind\":\"note\",\"time\":\"{}\",\"sump\":\"s1\",\"text\":\"x\"}}",
        at(0)
    );
    let more = file(&plant, "more.ndjson", &text);
    let told = counts(&import(&plant, &[&more]));
    assert_eq!((&told["known"], &told["stored"]), (&200.into(), &1.into()));
    let lines = journal(&plant);
    assert_eq!(lines.len(), 201);
    assert!(lines.iter().all(|line| line.contains("\"late\":true")));

    // What is in the journal can be superseded, remembered or not.
    let first: serde_json::Value = serde_json::from_str(&lines[0]).unwrap();
    let id = first["entry"]["id"].as_str().unwrap();
    let withdrawn = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["entry", "s0", "withdrawn", "--supersedes", id, "--config"])
        .arg(plant.config())
        .current_dir(plant.folder())
        .output()
        .unwrap();
    assert!(withdrawn.status.success(), "{}", words(&withdrawn));
    let told = String::from_utf8_lossy(&withdrawn.stdout).into_owned();
    assert!(told.contains("too far back"), "{told}");
}

#[test]
fn without_a_daemon_it_says_what_to_do() {
    let plant = Plant::write(&Wanted {
        port: 1883,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    });
    let csv = file(&plant, "history.csv", "time,sump,channel,value\n");
    let done = import(&plant, &[&csv]);
    assert_eq!(done.status.code(), Some(1));
    let told = words(&done);
    assert!(
        told.contains("no daemon runs") && told.contains("sumpward run"),
        "{told}"
    );
}
