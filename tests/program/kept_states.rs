//! Alarms that are shelved, suppressed and out of service over kills at several
//! instants and a change of settings.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU64, Ordering};

use serde_json::{Value, json};
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::mail::{plant, reads};
use crate::plant::{Plant, now};
use crate::wait::until;

const ANNA: &str = "[contact.anna]\ntopic = \"people/anna\"\n";
const LOW: &str = "concentration.low";

/// Writes an entry and waits for its answer, which means that it is on the disk. A
/// broker delivers once more what a kill left without an acknowledgement, so that
/// earlier entries may be answered again.
fn enter(client: &TestClient, sump: &str, mut entry: Value) {
    static WRITTEN: AtomicU64 = AtomicU64::new(0);
    let id = format!("entry-{}", WRITTEN.fetch_add(1, Ordering::Relaxed));
    entry["id"] = id.as_str().into();
    entry["sump"] = sump.into();
    entry["time"] = now().to_string().into();
    entry["by"] = "shift 1".into();
    client.publish("sumpward/test/entry", entry.to_string());
    let answer = loop {
        let answer = client.next("sumpward/test/entry/answer");
        if answer["id"] == id.as_str() {
            break answer;
        }
    };
    assert_eq!(answer["answer"], "taken", "{answer}");
}

/// The steps of the alarm of a sump that the journal tells.
fn steps(plant: &Plant, sump: &str) -> Vec<Value> {
    let lines = journal(plant).into_iter();
    lines
        .map(|line| serde_json::from_str::<Value>(&line).unwrap())
        .filter(|line| line["kind"] == "alarm" && line["sump"] == sump && line["condition"] == LOW)
        .collect()
}

fn named(steps: &[Value]) -> Vec<&str> {
    let names = steps
        .iter()
        .map(|step| step["transition"].as_str().unwrap());
    names.collect()
}

/// The alarm as a sump's retained state shows it, once the daemon has shown it
/// anew.
fn shown(plant: &Plant, port: u16, sump: &str, wanted: &str) -> Value {
    let topic = format!("sumpward/test/{sump}/state");
    until(&format!("{sump} is shown {wanted}"), || {
        let client = TestClient::connect(port, "looker", &[&topic]);
        let state = client.next("/state");
        let alarms = state["alarms"].as_array().unwrap();
        let alarm = alarms.iter().find(|alarm| alarm["condition"] == LOW)?;
        (alarm["state"] == wanted).then(|| alarm.clone())
    })
    .as_object()
    .map(|alarm| json!(alarm))
    .unwrap_or_else(|| panic!("{:?}", steps(plant, sump)))
}

#[test]
fn what_is_hidden_stays_hidden_for_its_reason_and_its_time_over_kills_and_changed_settings() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = plant(&broker, 4, ANNA);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/entry/answer"]);
    let anna = TestClient::connect(broker.port, "anna", &["people/#"]);

    // One that stands is shelved; killed as soon as that is answered.
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let raised = anna.next("people/anna");
    assert_eq!(raised["transition"], "raised");
    let shelve = json!({
        "kind": "shelve", "alarm": raised["id"], "hours": 45.0 / 3600.0, "reason": "filter on order",
    });
    enter(&client, "s0", shelve);
    daemon.kill();

    // One is suppressed, as the pumps stand; another sump's settings are others.
    let other =
        "[sump.s3]\ntarget = \"7 %\"\n[sump.s3.limits.concentration]\non_delay = \"3 min\"\n";
    std::fs::write(plant.config().join("z.toml"), other).unwrap();
    let daemon = Daemon::start(&plant);
    let shelved = shown(&plant, broker.port, "s0", "shelved");
    enter(
        &client,
        "s1",
        json!({ "kind": "event", "what": "pumps_off" }),
    );
    reads(&client, 1, 2.9);
    until("it is suppressed", || {
        (named(&steps(&plant, "s1")) == ["suppressed"]).then_some(())
    });
    daemon.kill();

    // One is out of service before its condition holds.
    std::fs::write(plant.config().join("z.toml"), other.replace("7 %", "7.5 %")).unwrap();
    let daemon = Daemon::start(&plant);
    let out = json!({ "kind": "out_of_service", "alarm": LOW, "reason": "sump is emptied" });
    enter(&client, "s2", out);
    daemon.kill();
    let daemon = Daemon::start(&plant);
    reads(&client, 2, 2.9);
    reads(&client, 3, 4.0);
    daemon.kill();
    let daemon = Daemon::start(&plant);

    // Everything stands as it did.
    let again = shown(&plant, broker.port, "s0", "shelved");
    assert_eq!(again, shelved);
    let deadline = Timestamp::parse(again["until"].as_str().unwrap()).unwrap();
    shown(&plant, broker.port, "s1", "suppressed");
    shown(&plant, broker.port, "s2", "out_of_service");
    let of = |sump: &str| steps(&plant, sump);
    assert_eq!(named(&of("s0")), ["raised", "shelved"]);
    assert_eq!(of("s0")[1]["reason"], "filter on order");
    assert_eq!(of("s0")[1]["until"], again["until"]);
    assert_eq!(named(&of("s1")), ["suppressed"]);
    assert_eq!(of("s1")[0]["suppressed_by"], "pumps_stopped");
    assert_eq!(named(&of("s2")), ["taken_out_of_service"]);
    assert_eq!(of("s2")[0]["reason"], "sump is emptied");

    // The shelf ends by itself, at its time.
    until("its time is near", || {
        (now() + Span::from_secs(20) >= deadline).then_some(())
    });
    let last = until("the shelf is over", || {
        of("s0")
            .into_iter()
            .find(|step| step["transition"] == "unshelved")
    });
    let ended = Timestamp::parse(last["time"].as_str().unwrap()).unwrap();
    assert!(
        ended >= deadline && ended - deadline <= Span::from_secs(1),
        "{ended} {deadline}"
    );
    assert_eq!(last["state"], "unacknowledged");
    daemon.kill();

    // The others come forth when somebody says so, and tell what holds.
    let _daemon = Daemon::start(&plant);
    enter(
        &client,
        "s1",
        json!({ "kind": "event", "what": "pumps_on" }),
    );
    enter(&client, "s2", json!({ "kind": "in_service", "alarm": LOW }));
    reads(&client, 2, 2.9);
    until("it is back in service", || {
        let steps = of("s2");
        let back = steps
            .iter()
            .any(|step| step["transition"] == "put_into_service");
        back.then_some(())
    });

    // Nobody was told anything twice, or of anything that was hidden.
    let mut told: BTreeMap<String, Value> = BTreeMap::new();
    let wanted = "put_into_service";
    until("the last step is told", || {
        for (_, payload) in anna.so_far() {
            let message: Value = serde_json::from_str(&payload).unwrap();
            let key = format!("{} {}", message["sump"], message["transition"]);
            // A message whose confirmation a kill cut off may come again, the same.
            let before = told.insert(key.clone(), message.clone());
            assert!(before.is_none_or(|before| before == message), "{key}");
        }
        told.keys().any(|key| key.contains(wanted)).then_some(())
    });
    let of_s1: Vec<&String> = told
        .keys()
        .filter(|key| key.starts_with("\"s1\""))
        .collect();
    assert!(!of_s1.iter().any(|key| key.contains("raised")), "{of_s1:?}");
}
