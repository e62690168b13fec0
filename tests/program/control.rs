//! The control socket, as a program that knows nothing of the client sees it.

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::time::Duration;

use serde_json::{Value, json};

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::{Daemon, journal};
use crate::plant::{Plant, Wanted, now};
use crate::wait::{PATIENCE, until};

fn plant(broker: &Mosquitto) -> Plant {
    Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    })
}

struct Peer(BufReader<UnixStream>);

impl Peer {
    fn call(plant: &Plant) -> Self {
        let path = plant.store().join("control.sock");
        let peer = until("the socket answers", || UnixStream::connect(&path).ok());
        peer.set_read_timeout(Some(PATIENCE)).unwrap();
        Peer(BufReader::new(peer))
    }

    fn answer(&mut self) -> Value {
        let mut line = String::new();
        self.0.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap_or_else(|error| panic!("{error}: {line:?}"))
    }

    fn ask(&mut self, request: &Value) -> Value {
        // Who is turned away may be told so before it has asked.
        let _ = writeln!(self.0.get_mut(), "{request}");
        self.answer()
    }
}

#[test]
fn it_is_for_its_own_user_only_and_outlives_a_kill() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let daemon = Daemon::start(&plant);
    let mut peer = Peer::call(&plant);
    let who = peer.ask(&json!({"v": 1, "ask": "who"}));
    assert_eq!((&who["v"], &who["answer"]), (&1.into(), &"who".into()));
    assert_eq!(who["plant"], "test");
    assert_eq!(who["sumps"][0]["channels"][0]["unit"], "°Bx");
    let path = plant.store().join("control.sock");
    let mode = std::fs::metadata(&path).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    daemon.kill();
    assert!(path.exists(), "nobody could take it away");
    let daemon = Daemon::start(&plant);
    Peer::call(&plant).ask(&json!({"v": 1, "ask": "who"}));
    daemon.signal("TERM");
    assert!(daemon.ended().success());
    assert!(!path.exists(), "taken away on a stop in good order");
}

#[test]
fn taken_means_that_it_is_on_the_disk_and_twice_is_once() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let daemon = Daemon::start(&plant);
    let mut peer = Peer::call(&plant);
    let entry = json!({"kind": "note", "time": now().to_string(), "sump": "s0", "text": "foam"});
    let request = json!({"v": 1, "ask": "entry", "entry": entry});
    let first = peer.ask(&request);
    // Whatever happens now, it is there.
    daemon.kill();
    assert_eq!(
        (&first["answer"], &first["known"]),
        (&"taken".into(), &false.into())
    );
    assert!(journal(&plant)[0].contains("foam"));
    let _daemon = Daemon::start(&plant);
    let second = Peer::call(&plant).ask(&request);
    assert_eq!(
        (&second["known"], &second["id"]),
        (&true.into(), &first["id"])
    );
    assert_eq!(journal(&plant).len(), 1);
}

#[test]
fn what_is_no_request_is_answered_with_the_reason() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let _daemon = Daemon::start(&plant);
    let mut peer = Peer::call(&plant);
    for (request, words) in [
        (json!({"v": 1, "ask": "everything"}), "unknown variant"),
        (json!({"ask": "who"}), "missing field `v`"),
        (json!({"v": 2, "ask": "who"}), "version 2"),
        (
            json!({"v": 1, "ask": "import_position", "file": ""}),
            "name of a file",
        ),
        (
            json!({"v": 1, "ask": "entry", "entry": {"kind": "note", "time": "2026-03-02T00:00:00Z", "sump": "s9", "text": ""}}),
            "no sump \"s9\"",
        ),
    ] {
        let answer = peer.ask(&request);
        assert_eq!(answer["answer"], "refused", "{request}");
        let why = answer["why"].as_str().unwrap();
        assert!(why.contains(words), "{request}: {why}");
    }
    writeln!(peer.0.get_mut(), "hello").unwrap();
    assert_eq!(peer.answer()["answer"], "refused");
    // After all that it still listens.
    assert_eq!(peer.ask(&json!({"v": 1, "ask": "who"}))["answer"], "who");
}

#[test]
fn long_lines_and_too_many_peers_are_cut_and_the_others_are_heard() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let daemon = Daemon::start(&plant);
    let mut long = Peer::call(&plant);
    let mut write = long.0.get_ref().try_clone().unwrap();
    // The daemon stops reading in the middle of it.
    let writing = std::thread::spawn(move || write.write_all(&vec![b' '; 4 << 20]));
    assert!(
        long.answer()["why"]
            .as_str()
            .unwrap()
            .contains("longer than")
    );
    let _ = writing.join().unwrap();
    daemon.logged("a peer of the control socket was cut");
    drop(long);

    let mut heard: Vec<Peer> = Vec::new();
    let turned_away = until("one is turned away", || {
        let mut peer = Peer::call(&plant);
        let answer = peer.ask(&json!({"v": 1, "ask": "who"}));
        let turned_away = answer["answer"] == "refused";
        heard.push(peer);
        turned_away.then(|| answer["why"].as_str().unwrap().to_owned())
    });
    assert!(turned_away.contains("8 others"), "{turned_away}");
    let mut last = heard.pop().unwrap();
    last.0
        .get_ref()
        .set_read_timeout(Some(Duration::from_secs(30)))
        .unwrap();
    let end = last.0.read(&mut [0]);
    let cut = matches!(&end, Ok(0))
        || end
            .as_ref()
            .is_err_and(|e| e.kind() == ErrorKind::ConnectionReset);
    assert!(cut, "{end:?}");
    assert_eq!(
        heard[0].ask(&json!({"v": 1, "ask": "who"}))["answer"],
        "who"
    );
    heard.clear();
    until("there is room again", || {
        let answer = Peer::call(&plant).ask(&json!({"v": 1, "ask": "who"}));
        (answer["answer"] == "who").then_some(())
    });
}

#[test]
fn where_no_socket_can_be_the_daemon_says_so_and_runs_on() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write_with_store(
        &Wanted {
            port: broker.port,
            sumps: 1,
            on_delay: "0 s",
            broker: "",
        },
        &"deep/".repeat(20),
    );
    let daemon = Daemon::start(&plant);
    let told = daemon.logged("the control socket's path");
    assert!(
        told.contains("at most 107 fit") && told.contains("shorter store.folder"),
        "{told}"
    );
    daemon.signal("TERM");
    assert!(daemon.ended().success());
}

#[test]
fn of_many_imports_that_were_broken_off_the_oldest_are_forgotten() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker);
    let _daemon = Daemon::start(&plant);
    let mut peer = Peer::call(&plant);
    let broken_off = |n: usize| json!({"v": 1, "ask": "import_readings", "file": format!("f{n}"), "done": n + 1, "last": false, "rows": []});
    for n in 0..105 {
        assert_eq!(peer.ask(&broken_off(n))["answer"], "imported");
    }
    let mut position = |n: usize| {
        let request = json!({"v": 1, "ask": "import_position", "file": format!("f{n}")});
        peer.ask(&request)["rows"].as_u64().unwrap()
    };
    assert_eq!(position(104), 105);
    let forgotten = (0..105).filter(|n| position(*n) == 0).count();
    assert_eq!(forgotten, 5);
}
