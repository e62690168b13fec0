//! A source that goes for longer than its channels may be silent: one alarm, of
//! the plant, whatever happens to the daemon in between.

use serde_json::Value;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

const SUMPS: usize = 3;
const CHANNELS: usize = 2 * SUMPS;

/// Readings come over one broker, messages go out over another.
fn plant(readings: u16, messages: u16) -> Plant {
    let more = format!(
        "[broker.people]\nhost = \"127.0.0.1\"\nport = {messages}\n\
         [messages]\nbroker = \"people\"\n\
         [plant.rules.source]\non_delay = \"1 s\"\noff_delay = \"0 s\"\n\
         [contact.anna]\ntopic = \"people/anna\"\nsumps = [\"s0\"]\n"
    );
    let plant = Plant::write(&Wanted {
        port: readings,
        sumps: SUMPS,
        on_delay: "0 s",
        broker: &more,
    });
    let mut silent = String::new();
    for sump in 0..SUMPS {
        for channel in ["brix", "level"] {
            silent += &format!("[sump.s{sump}.channel.{channel}]\nsilent_after = \"3 s\"\n");
        }
    }
    std::fs::write(plant.config().join("z.toml"), silent).unwrap();
    plant
}

fn alarms(plant: &Plant) -> Vec<Value> {
    let lines = journal(plant).into_iter();
    lines
        .map(|line| serde_json::from_str::<Value>(&line).unwrap())
        .filter(|line| line["kind"] == "alarm")
        .collect()
}

/// Steps of the alarms whose condition begins so.
fn steps(plant: &Plant, condition: &str, transition: &str) -> Vec<Value> {
    let begins = |line: &Value| line["condition"].as_str().unwrap().starts_with(condition);
    let lines = alarms(plant).into_iter();
    lines
        .filter(|line| begins(line) && line["transition"] == transition)
        .collect()
}

fn all_report(port: u16) {
    let field = TestClient::connect(port, "field", &[]);
    for sump in 0..SUMPS {
        field.publish(&format!("in/s{sump}/brix"), brix(4.0, now()));
        field.publish(&format!("in/s{sump}/level"), "900");
    }
}

#[test]
fn a_broker_that_is_gone_is_one_alarm_over_a_kill_of_the_daemon() {
    let (mut readings, messages) = (
        Mosquitto::start(Keeps::Nothing),
        Mosquitto::start(Keeps::Nothing),
    );
    let plant = plant(readings.port, messages.port);
    let people = TestClient::connect(messages.port, "people", &["people/anna", "sumpward/#"]);
    let daemon = Daemon::launch(&plant);
    until("both brokers are subscribed to", || {
        (daemon.count_logged("subscribed") >= 2).then_some(())
    });
    all_report(readings.port);

    readings.kill();
    let raised = people.next("test/plant/alarm");
    assert_eq!(raised["condition"], "source.main");
    assert_eq!(raised["transition"], "raised");
    assert_eq!(
        (&raised["sump"], &raised["title"]),
        (&"plant".into(), &"test".into())
    );
    assert_eq!(raised["source"]["channels"], CHANNELS);
    assert_eq!(raised["source"]["sumps"], SUMPS);
    let text = raised["text"].as_str().unwrap();
    assert!(text.starts_with("test: SOURCE main GONE"), "{text}");
    until("every channel would be told silent by now", || {
        let suppressed = steps(&plant, "silent.", "suppressed");
        (suppressed.len() >= CHANNELS).then_some(())
    });

    daemon.kill();
    let daemon = Daemon::launch(&plant);
    daemon.logged("subscribed");
    let id = raised["id"].as_str().unwrap();
    let acknowledge = serde_json::json!({
        "kind": "acknowledge", "time": now().to_string(), "sump": "plant", "by": "anna", "alarm": id,
    });
    people.publish("sumpward/test/entry", acknowledge.to_string());
    let taken_on = people.next("test/plant/alarm");
    assert_eq!(taken_on["transition"], "acknowledged");
    assert_eq!(taken_on["id"], id);

    readings.start_again();
    let returned = people.next("test/plant/alarm");
    assert_eq!(returned["transition"], "returned");
    assert_eq!(returned["id"], id);
    assert_eq!(steps(&plant, "source.", "raised").len(), 1);
    let silent = steps(&plant, "silent.", "raised");
    let before = |line: &&Value| line["time"].as_str() <= returned["time"].as_str();
    assert_eq!(silent.iter().filter(before).count(), 0, "{silent:?}");
    let back = people.so_far();
    let told = back.iter().filter(|(topic, text)| {
        topic == "people/anna" && text.contains("\"silent.") && text.contains("\"suppressed\"")
    });
    assert_eq!(told.count(), 0);
    drop(daemon);
}
