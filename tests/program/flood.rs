//! Many alarms at once: each receiver gets a summary instead of a message each,
//! whatever kills the daemon in between.

use std::collections::BTreeMap;

use serde_json::Value;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::mail::{plant, reads};
use crate::plant::Plant;
use crate::wait::until;

const SUMPS: usize = 14;

/// What came to anna, by the id of the alarm: singly, and in summaries as held
/// back.
#[derive(Default)]
struct Came {
    single: BTreeMap<String, Value>,
    summed: BTreeMap<String, usize>,
    summaries: Vec<Value>,
}

impl Came {
    fn take(&mut self, message: Value) {
        if message.get("phase").is_none() {
            let key = format!("{} {}", message["id"], message["transition"]);
            // A message whose confirmation a kill cut off may come again, the same.
            let before = self.single.insert(key, message.clone());
            assert!(before.is_none_or(|before| before == message));
            return;
        }
        if self.summaries.contains(&message) {
            return;
        }
        for step in message["steps"].as_array().unwrap() {
            if step["told"] == false {
                let key = format!("{} {}", step["alarm"], step["transition"]);
                *self.summed.entry(key).or_default() += 1;
            }
        }
        self.summaries.push(message);
    }

    /// Until so many summaries are there.
    fn summaries(&mut self, client: &TestClient, count: usize) -> Value {
        while self.summaries.len() < count {
            self.take(client.next("people/anna"));
        }
        self.summaries[count - 1].clone()
    }
}

fn held(plant: &Plant) -> i64 {
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let sql = "SELECT count(*) FROM waiting WHERE subject = 'flood/anna'";
    store.query_row(sql, (), |row| row.get(0)).unwrap()
}

#[test]
fn a_flood_is_summed_up_and_nothing_is_lost_or_told_twice_over_kills() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let anna = "[contact.anna]\ntopic = \"people/anna\"\nlanguage = \"de\"\n";
    let plant = plant(&broker, SUMPS, anna);
    let client = TestClient::connect(broker.port, "anna", &["people/#"]);
    let machine = TestClient::connect(broker.port, "machine", &["sumpward/test/+/alarm"]);
    let daemon = Daemon::start(&plant);
    let mut came = Came::default();
    for sump in 0..12 {
        reads(&client, sump, 2.9);
    }
    let begin = came.summaries(&client, 1);
    assert_eq!(begin["phase"], "begin");
    assert_eq!(came.single.len(), 10);
    assert!(begin["count"].as_u64().unwrap() >= 11, "{begin}");
    assert_eq!(begin["cause"]["kind"], "alike");
    let text = begin["text"].as_str().unwrap();
    assert!(text.starts_with("test: FLUT von 1"), "{text}");
    assert!(
        text.contains("Überall dasselbe: Konzentration ZU NIEDRIG"),
        "{text}"
    );
    // Machines get each of them.
    for _ in 0..12 {
        assert_eq!(machine.next("/alarm")["transition"], "raised");
    }
    daemon.kill();

    // It goes on where it stood: the next ones are held back.
    let daemon = Daemon::start(&plant);
    let before = held(&plant);
    reads(&client, 12, 2.9);
    assert_eq!(machine_raised(&machine)["sump"], "s12");
    reads(&client, 0, 4.0);
    until("both are held back", || {
        (held(&plant) >= before + 2).then_some(())
    });
    daemon.kill();

    // Ten minutes later, as the clocks of the store say, it is over.
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    store
        .execute("UPDATE journal SET time = time - 700000", ())
        .unwrap();
    drop(store);
    let _daemon = Daemon::start(&plant);
    let end = came.summaries(&client, 2);
    assert_eq!(end["phase"], "end", "{end}");
    let returned = end["returned"].as_array().unwrap();
    assert_eq!(returned[0]["title"], "Sump 0", "{end}");
    until("nothing is held back", || (held(&plant) == 0).then_some(()));

    // And alarms come singly again.
    reads(&client, 13, 2.9);
    let single = loop {
        let message = client.next("people/anna");
        if message["sump"] == "s13" {
            break message;
        }
        came.take(message);
    };
    assert_eq!(single["transition"], "raised");
    assert_eq!(came.summaries.len(), 2);
    assert!(
        came.summed.values().all(|count| *count == 1),
        "{:?}",
        came.summed
    );
    for sump in 0..13 {
        let begins = format!("\"s{sump}/concentration.low/");
        let raised = |key: &&String| key.starts_with(&begins) && key.ends_with("\"raised\"");
        let single = came.single.keys().filter(raised).count();
        let summed = came.summed.keys().filter(raised).count();
        assert_eq!(single + summed, 1, "sump {sump}");
    }
}

/// The next alarm that is raised, as machines get it; the same may come again
/// after a kill.
fn machine_raised(machine: &TestClient) -> Value {
    loop {
        let message = machine.next("/alarm");
        if message["transition"] == "raised" && message["sump"] == "s12" {
            return message;
        }
    }
}
