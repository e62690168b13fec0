//! An edge node of Sparkplug B, by a library of others, and its channels.

use std::cell::RefCell;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

use serde_json::Value;
use sumpward::engine::Quality;
use sumpward::store::FILE_NAME;
use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::plant::{Plant, Wanted, now};
use crate::wait::{PATIENCE, until};

/// Channels of the sump `s0` beside the usual ones.
const CHANNELS: &str = r#"
[sump.s0.channel.ph]
quantity = "ph"
payload = "sparkplug"
node = "Hall 3/gateway-1"
device = "tank"
metric = "Fluid/pH"
despike = false
smooth = "0 s"
[sump.s0.channel.conductivity]
quantity = "conductivity"
payload = "sparkplug"
node = "Hall 3/gateway-1"
device = "tank"
metric = "Fluid/Conductivity"
unit = "mS/cm"
despike = false
smooth = "0 s"
[sump.s0.channel.pump]
quantity = "state"
payload = "sparkplug"
node = "Hall 3/gateway-1"
device = "tank"
metric = "Pump/Running"
"#;

/// `tests/peers/sparkplug_node.py`; killed when dropped, so that the broker
/// publishes its will.
struct EdgeNode {
    child: Child,
    commands: ChildStdin,
    said: mpsc::Receiver<String>,
}

impl EdgeNode {
    fn start(broker: &Mosquitto, bd_seq: u32) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let python = root.join("target/peers/bin/python");
        assert!(
            python.exists(),
            "{} is missing; run tests/all once, which installs it",
            python.display()
        );
        let mut child = Command::new(python)
            .arg(root.join("tests/peers/sparkplug_node.py"))
            .args([broker.port.to_string(), bd_seq.to_string()])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let commands = child.stdin.take().unwrap();
        let lines = BufReader::new(child.stdout.take().unwrap());
        let (say, said) = mpsc::channel();
        std::thread::spawn(move || {
            for line in lines.lines().map_while(Result::ok) {
                if say.send(line).is_err() {
                    return;
                }
            }
        });
        let node = EdgeNode {
            child,
            commands,
            said,
        };
        node.says("connected");
        node
    }

    fn says(&self, what: &str) {
        let line = self.said.recv_timeout(PATIENCE);
        assert_eq!(line.as_deref(), Ok(what));
    }

    fn obey(&mut self, command: &str) {
        writeln!(self.commands, "{command}").unwrap();
    }
}

impl Drop for EdgeNode {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

struct Scene {
    plant: Plant,
    broker: Mosquitto,
    client: TestClient,
    /// The newest state that was published.
    state: RefCell<Value>,
}

impl Scene {
    fn new(broker_keys: &str) -> Self {
        let broker = Mosquitto::start(Keeps::Sessions);
        let plant = Plant::write(&Wanted {
            port: broker.port,
            sumps: 1,
            on_delay: "0 s",
            broker: broker_keys,
        });
        std::fs::write(plant.config().join("node.toml"), CHANNELS).unwrap();
        let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/state"]);
        Scene {
            plant,
            broker,
            client,
            state: RefCell::default(),
        }
    }

    /// Waits until the store has a reading of the channel with this value;
    /// gives its time and marks.
    fn stored(&self, channel: &str, value: f64) -> (i64, Quality) {
        let found = until(&format!("{channel} {value} is stored"), || {
            let file = self.plant.store().join(FILE_NAME);
            let store = rusqlite::Connection::open(file).unwrap();
            let row = store.query_row(
                "SELECT r.time, r.quality FROM readings r JOIN series s ON s.id = r.series
                 WHERE s.sump = 's0' AND s.channel = ?1 AND s.kind = 'reading' AND r.value = ?2
                 ORDER BY r.time DESC LIMIT 1",
                (channel, value),
                |row| Ok((row.get(0)?, row.get(1)?)),
            );
            row.ok()
        });
        let (time, marks): (i64, u8) = found;
        (time, Quality::from_bits(marks))
    }

    /// Waits until the newest published state has the channel as wanted.
    fn shown(&self, channel: &str, wanted: impl Fn(&Value) -> bool) {
        let is_so = |state: &Value| {
            let channels = state["channels"].as_array();
            let one = channels.and_then(|all| all.iter().find(|one| one["channel"] == channel));
            one.is_some_and(&wanted)
        };
        while !is_so(&self.state.borrow()) {
            self.state.replace(self.client.next("/state"));
        }
    }
}

#[test]
fn an_edge_node_is_read_from_birth_to_death() {
    let scene = Scene::new("");
    let mut node = EdgeNode::start(&scene.broker, 7);
    node.obey("birth");
    node.obey("data Fluid/pH 9.375");

    // Its births were before our time, so that it is asked for new ones.
    let _daemon = Daemon::start(&scene.plant);
    node.says("asked");
    assert_eq!(scene.stored("ph", 9.375).1, Quality::GOOD);
    assert_eq!(scene.stored("conductivity", 2500.0).1, Quality::GOOD);
    assert_eq!(scene.stored("pump", 1.0).1, Quality::GOOD);

    node.obey("data Fluid/pH 9.125");
    node.obey("data Pump/Running false");
    assert_eq!(scene.stored("ph", 9.125).1, Quality::GOOD);
    assert_eq!(scene.stored("pump", 0.0).1, Quality::GOOD);
    scene.shown("pump", |pump| {
        pump["value"] == 0.0 && pump["silent"] == false
    });

    // What it sends later of before changes nothing of now.
    let past = (now() - Span::from_mins(1)).millis();
    node.obey(&format!("past Fluid/pH 8.875 {past}"));
    assert_eq!(scene.stored("ph", 8.875), (past, Quality::LATE));

    node.obey("bad Fluid/Conductivity 3.5");
    assert_eq!(scene.stored("conductivity", 3500.0).1, Quality::FAULT);
    scene.shown("conductivity", |one| {
        one["quality"] == "bad" && one["silent"] == true
    });
    node.obey("data Fluid/Conductivity 2.75");
    scene.shown("conductivity", |one| {
        one["value"] == 2750.0 && one["silent"] == false
    });
    node.obey("null Fluid/pH");
    scene.shown("ph", |ph| ph["value"] == 9.125 && ph["silent"] == true);
    node.obey("data Fluid/pH 9");
    scene.shown("ph", |ph| ph["value"] == 9.0 && ph["silent"] == false);

    // The broker publishes the will.
    drop(node);
    for channel in ["ph", "conductivity", "pump"] {
        scene.shown(channel, |one| one["silent"] == true);
    }
    let mut node = EdgeNode::start(&scene.broker, 8);
    node.obey("birth");
    scene.shown("ph", |ph| ph["value"] == 9.25 && ph["silent"] == false);
    scene.shown("pump", |pump| pump["silent"] == false);
    node.obey("ddeath");
    scene.shown("pump", |pump| pump["silent"] == true);
}

#[test]
fn after_a_lost_message_values_are_unsure_until_the_birth_that_is_asked_for() {
    let scene = Scene::new("");
    let mut node = EdgeNode::start(&scene.broker, 0);
    let daemon = Daemon::start(&scene.plant);
    node.says("asked");
    scene.stored("ph", 9.25);
    node.obey("lose");
    node.obey("data Fluid/pH 9.5");
    assert_eq!(scene.stored("ph", 9.5).1, Quality::UNSURE);
    // Not asked again so soon after the last time, but as soon as it may be.
    let asked = until("it is asked again", || {
        node.obey("data Fluid/pH 9.625");
        node.said.recv_timeout(Duration::from_millis(200)).ok()
    });
    assert_eq!(asked, "asked");
    until("values by alias are sure again", || {
        node.obey("data Fluid/pH 9.75");
        (scene.stored("ph", 9.75).1 == Quality::GOOD).then_some(())
    });
    assert_eq!(daemon.count_logged("asked for a new birth"), 2);
}

#[test]
fn a_node_that_may_not_be_asked_is_read_once_it_is_born_by_itself() {
    let scene = Scene::new("ask_rebirth = false");
    let mut node = EdgeNode::start(&scene.broker, 0);
    node.obey("birth");
    let daemon = Daemon::start(&scene.plant);
    node.obey("data Fluid/pH 9.5");
    daemon.logged("came before a birth that says what it stands for");
    node.obey("birth");
    assert_eq!(scene.stored("ph", 9.5).1, Quality::GOOD);
    assert!(node.said.try_recv().is_err(), "it was never asked");
}
