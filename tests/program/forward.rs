//! What is stored goes on to servers of series: to a real one, whose content is read
//! back, and to one that misbehaves.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write;
use std::os::unix::fs::PermissionsExt;
use std::process::Command;

use serde_json::Value;
use sumpward::store::{Reader, SeriesKind};
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::rough_server::{Does, RoughServer, TOKEN};
use crate::series_store::{Point, SeriesStore};
use crate::wait::until;

const ROWS: usize = 20_000;

pub fn plant(broker: &Mosquitto, targets: &str) -> Plant {
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "0 s",
        broker: "",
    });
    std::fs::write(plant.config().join("rough.token"), format!("{TOKEN}\n")).unwrap();
    forward_to(&plant, targets);
    plant
}

fn forward_to(plant: &Plant, targets: &str) {
    std::fs::write(plant.config().join("forward.toml"), targets).unwrap();
}

fn target(store: &SeriesStore, history: &str) -> String {
    format!(
        "[forward.series]\nurl = \"http://127.0.0.1:{}\"\nhistory = \"{history}\"\nbatch = 1000\n",
        store.port
    )
}

/// Imports so many rows of both sumps, two a second, the last ones yesterday.
pub fn import(plant: &Plant, rows: usize) {
    let begun = now() - Span::from_hours(24) - Span::from_secs(rows as i64 / 2);
    let mut csv = String::from("time,sump,channel,value\n");
    for n in 0..rows {
        let time = begun + Span::from_millis(500 * n as i64);
        let value = 3.0 + (n % 1000) as f64 / 1000.0;
        let _ = writeln!(csv, "{time},s{},brix,{value}", n % 2);
    }
    let file = plant.folder().join("history.csv");
    std::fs::write(&file, csv).unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["import", "--config"])
        .arg(plant.config())
        .arg(&file)
        .current_dir(plant.folder())
        .output()
        .unwrap();
    let words = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{words}");
}

/// Sends live readings, a millisecond apart, some of them of the seconds before, and
/// waits until the broker has them.
pub fn send(client: &TestClient, count: usize) {
    let begun = now() - Span::from_secs(5);
    for n in 0..count {
        let time = begun + Span::from_millis((n / 2) as i64);
        let value = 4.0 + (n % 500) as f64 / 1000.0;
        client.send(&format!("in/s{}/brix", n % 2), brix(value, time));
        if n % 500 == 499 {
            client.confirmed(500);
        }
    }
    client.confirmed(count % 500);
}

/// What the plant's store has, named as the server names it.
fn kept(plant: &Plant, kind: SeriesKind) -> BTreeMap<Point, f64> {
    let reader = Reader::open(&plant.store()).unwrap();
    let name = match kind {
        SeriesKind::Reading => "reading_value",
        SeriesKind::Estimate => "estimate_value",
    };
    let series = reader.all_series().unwrap().into_iter();
    let series = series.filter(|series| series.kind == kind);
    let named: HashMap<_, _> = series
        .map(|series| {
            let named = format!(
                "__name__={name},channel={},plant=test,quantity={},sump={},unit={}",
                series.channel, series.quantity, series.sump, series.unit
            );
            (series.id, named)
        })
        .collect();
    let all = reader
        .values_between(Timestamp::MIN, Timestamp::MAX, usize::MAX)
        .unwrap();
    let of_kind = all.rows.iter().filter_map(|row| {
        let named = named.get(&row.series)?.clone();
        Some(((named, row.time.millis()), row.value))
    });
    of_kind.collect()
}

/// Waits until the server has what the store has, and holds every value of both
/// against the other's.
fn all_arrive(plant: &Plant, server: &SeriesStore) {
    for (kind, name) in [
        (SeriesKind::Reading, "reading_value"),
        (SeriesKind::Estimate, "estimate_value"),
    ] {
        let (wanted, there) = until(&format!("all of {name} are there"), || {
            let (wanted, there) = (kept(plant, kind), server.points(name));
            (there.len() == wanted.len()).then_some((wanted, there))
        });
        assert!(!wanted.is_empty());
        for ((one, kept), (other, value)) in wanted.iter().zip(&there) {
            assert_eq!(one, other);
            // It keeps fifteen digits or so.
            assert!(
                (kept - value).abs() <= 1e-12 * kept.abs(),
                "{one:?}: {kept} {value}"
            );
        }
    }
}

fn wait_stored(plant: &Plant, count: usize) {
    until(&format!("{count} are stored"), || {
        (stored(plant) >= count as u64).then_some(())
    });
}

#[test]
fn a_new_server_is_filled_from_history_and_has_every_value_and_step() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker, "");
    let daemon = Daemon::start(&plant);
    import(&plant, ROWS);
    drop(daemon);
    let mut server = SeriesStore::start();
    forward_to(&plant, &target(&server, "all"));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    let _daemon = Daemon::start(&plant);
    client.publish("in/s0/level", "900");
    client.publish("in/s0/brix", brix(2.8, now()));
    let alarm = client.next("/alarm");
    assert_eq!(alarm["transition"], "raised");
    let entry = serde_json::json!({
        "kind": "addition", "time": now().to_string(), "sump": "s0", "what": "water", "litres": 20,
    });
    client.publish("sumpward/test/entry", entry.to_string());
    send(&client, 400);
    wait_stored(&plant, ROWS + 402);
    all_arrive(&plant, &server);
    let has = |name: &str, labels: &[String], wanted: f64| {
        until(&format!("{name} with {labels:?} is there"), || {
            let is_it = |((series, _), value): &(Point, f64)| {
                *value == wanted && labels.iter().all(|label| series.contains(label))
            };
            server.points(name).into_iter().find(is_it).map(drop)
        });
    };
    let labels = ["condition", "priority", "sump"]
        .map(|name| format!("{name}={}", alarm[name].as_str().unwrap()));
    has("alarm_active", &labels, 1.0);
    has("alarm_unacknowledged", &labels, 1.0);
    let labels = ["kind=addition", "what=water", "sump=s0"].map(str::to_owned);
    has("entry_volume_l", &labels, 20.0);
    server.stop();
}

#[test]
fn history_that_is_imported_behind_the_cursor_arrives_too() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let server = SeriesStore::start();
    let plant = plant(&broker, &target(&server, "from_now"));
    let client = TestClient::connect(broker.port, "test", &[]);
    let _daemon = Daemon::start(&plant);
    client.publish("in/s0/level", "900");
    until("it has begun", || {
        let points = server.points("reading_value");
        (!points.is_empty()).then_some(())
    });
    import(&plant, ROWS);
    send(&client, 100);
    wait_stored(&plant, ROWS + 101);
    all_arrive(&plant, &server);
}

#[test]
fn with_the_server_away_and_the_daemon_killed_nothing_is_lost() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let mut server = SeriesStore::start();
    let plant = plant(&broker, &target(&server, "from_now"));
    let daemon = Daemon::start(&plant);
    let port = broker.port;
    let sending = std::thread::spawn(move || {
        send(&TestClient::connect(port, "publisher", &[]), ROWS);
    });
    wait_stored(&plant, ROWS / 5);
    server.stop();
    wait_stored(&plant, ROWS / 3);
    daemon.kill();
    let daemon = Daemon::start(&plant);
    wait_stored(&plant, ROWS / 2);
    server.start_again();
    daemon.logged("takes lines");
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    sending
        .join()
        .expect("every reading was confirmed by the broker");
    wait_stored(&plant, ROWS);
    all_arrive(&plant, &server);
}

/// A server that did as it was told and has everything, and those who were there.
struct Played {
    server: RoughServer,
    daemon: Daemon,
    client: TestClient,
    _plant: Plant,
    _broker: Mosquitto,
}

/// Lets a server do these things with what is sent, until it has everything; no
/// secret is in the log.
fn played(script: &[Does], more: &str) -> Played {
    let server = RoughServer::start(script, &[]);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker, &server.settings(more));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/forward/rough"]);
    let daemon = Daemon::start(&plant);
    send(&client, 300);
    has_all_readings(&server, &plant, 300);
    assert_eq!(daemon.count_logged(TOKEN), 0);
    Played {
        server,
        daemon,
        client,
        _plant: plant,
        _broker: broker,
    }
}

/// Waits until the server has every reading of the store.
fn has_all_readings(server: &RoughServer, plant: &Plant, count: usize) {
    until(&format!("{count} readings have come"), || {
        let lines = server.lines();
        let distinct: BTreeSet<_> = lines
            .iter()
            .filter(|line| line.starts_with("reading,"))
            .collect();
        (distinct.len() >= count).then_some(())
    });
    assert_eq!(stored(plant), count as u64);
}

#[test]
fn a_server_that_is_busy_gets_the_same_again() {
    let played = played(&[Does::Answers(429), Does::Answers(500)], "");
    let heads = played.server.heads();
    assert!(
        heads[0].contains("bucket=fluids&org=north+works&precision=ms"),
        "{}",
        heads[0]
    );
    assert!(
        heads[0]
            .to_lowercase()
            .contains(&format!("authorization: token {TOKEN}"))
    );
    played
        .daemon
        .logged("nothing is taken, it is sent again: status 429: no, (not shown)");
}

#[test]
fn a_server_that_hangs_or_breaks_off_gets_the_same_again() {
    let played = played(&[Does::Hangs, Does::BreaksOff], "timeout = \"1 s\"");
    played.daemon.logged("no answer in time");
}

#[test]
fn a_server_that_refuses_us_is_told_and_asked_again_later() {
    let played = played(&[Does::Answers(401)], "");
    played
        .daemon
        .logged("refuses us until a person mends it: status 401");
    let told = |stand: &str| -> Value {
        loop {
            let status = played.client.next("/forward/rough");
            if status["stand"] == stand {
                return status;
            }
        }
    };
    let refused = told("refused");
    assert!(
        refused["text"]
            .as_str()
            .unwrap()
            .contains("look at url, org, bucket and token")
    );
    let sending = told("sending");
    assert_eq!(sending["counts"]["dead_letters"], 0);
    assert!(played.server.requests() >= 2);
}

#[test]
fn one_bad_line_of_many_is_put_aside_with_the_servers_words() {
    let server = RoughServer::start(&[], &["value=3.333,marks"]);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker, "");
    let daemon = Daemon::start(&plant);
    import(&plant, 1000);
    drop(daemon);
    let more = "history = \"all\"\nwhat = [\"readings\"]";
    forward_to(&plant, &server.settings(more));
    let daemon = Daemon::start(&plant);
    let lines = server.has(999);
    daemon.logged("lines are refused for good and put aside");
    assert_eq!(lines.len(), 999, "each once");
    let times: Vec<i64> = lines
        .iter()
        .map(|line| line.rsplit_once(' ').unwrap().1.parse().unwrap())
        .collect();
    assert!(times.is_sorted(), "in the order of time");
    let file = plant.store().join("dead-letters-rough.jsonl");
    let text = until("the dead letter is written", || {
        std::fs::read_to_string(&file)
            .ok()
            .filter(|text| text.ends_with('\n'))
    });
    let letters: Vec<Value> = text
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(letters.len(), 1);
    assert_eq!(letters[0]["target"], "rough");
    assert_eq!(
        letters[0]["words"],
        "status 400: unable to parse 'value=3.333,marks'"
    );
    let line = letters[0]["line"].as_str().unwrap();
    assert!(
        line.starts_with("reading,plant=test,sump=s1,channel=brix,")
            && line.contains("value=3.333,marks=1.0 ")
    );
    let mode = std::fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
}

#[test]
fn a_server_that_is_slow_or_never_answers_keeps_neither_readings_nor_others_waiting() {
    let (hanging, slow) = (
        RoughServer::start_always(Does::Hangs),
        RoughServer::start_always(Does::TakesSlowly(300)),
    );
    let broker = Mosquitto::start(Keeps::Nothing);
    let targets = hanging.settings("").replace("rough]", "hanging]") + &slow.settings("");
    let plant = plant(&broker, &targets);
    let client = TestClient::connect(broker.port, "test", &[]);
    let daemon = Daemon::start(&plant);
    send(&client, 3000);
    wait_stored(&plant, 3000);
    has_all_readings(&slow, &plant, 3000);
    until("the other one was asked", || {
        (hanging.requests() > 0).then_some(())
    });
    assert_eq!(hanging.lines().len(), 0);
    daemon.signal("TERM");
    assert!(daemon.ended().success(), "it ends though one of them hangs");
}
