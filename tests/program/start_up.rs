//! Sumps that are not in order when work begins after a stand-still: one alarm of the
//! plant, whatever happens to the daemon in between.

use serde_json::Value;
use sumpward::units::{Span, Timestamp};

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::mail::{plant, reads};
use crate::plant::{Plant, now};
use crate::wait::until;

const SUMPS: usize = 3;

/// Work begins within some hours, and has not for three days: half an hour each day
/// but the two before.
fn shifts() -> String {
    let day = Span::from_hours(24);
    let begins = (now() + Span::from_hours(3)).floor(Span::from_hours(1));
    let hour = &begins.to_string()[11..13];
    let date = |time: Timestamp| format!("\"{}\"", &time.to_string()[..10]);
    format!(
        "[shifts]\nweek = [\"mon-sun {hour}:00-{hour}:30\"]\nholidays = [{}, {}]\n",
        date(begins - day),
        date(begins - day - day)
    )
}

fn settings() -> String {
    format!(
        "{}[plant.rules.start_up]\non_delay = \"4 s\"\n\
         [contact.anna]\ntopic = \"people/anna\"\n",
        shifts()
    )
}

fn alarms(plant: &Plant) -> Vec<Value> {
    let lines = journal(plant).into_iter();
    lines
        .map(|line| serde_json::from_str::<Value>(&line).unwrap())
        .filter(|line| line["kind"] == "alarm")
        .collect()
}

/// Steps of an alarm that the journal has.
fn steps(plant: &Plant, condition: &str, transition: &str) -> Vec<Value> {
    let lines = alarms(plant).into_iter();
    lines
        .filter(|line| line["condition"] == condition && line["transition"] == transition)
        .collect()
}

#[test]
fn lean_sumps_after_a_stand_still_are_one_message_over_kills() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = plant(&broker, SUMPS, &settings());
    let client = TestClient::connect(broker.port, "anna", &["people/#"]);
    let machine = TestClient::connect(broker.port, "machine", &["sumpward/test/plant/alarm"]);
    let daemon = Daemon::start(&plant);
    for sump in 0..SUMPS {
        reads(&client, sump, 2.9 - 0.1 * sump as f64);
    }
    until("each is suppressed", || {
        let of_start = alarms(&plant).into_iter();
        let of_start = of_start.filter(|line| line["suppressed_by"] == "start_up");
        (of_start.count() >= SUMPS).then_some(())
    });
    daemon.kill();

    let daemon = Daemon::start(&plant);
    let raised = client.next("people/anna");
    assert_eq!(
        (&raised["condition"], &raised["transition"]),
        (&"start_up".into(), &"raised".into())
    );
    assert_eq!(raised["start_up"]["sumps"], SUMPS);
    let listed = raised["start_up"]["alarms"].as_array().unwrap();
    let sumps: Vec<&str> = listed
        .iter()
        .map(|one| one["sump"].as_str().unwrap())
        .collect();
    assert_eq!(sumps, ["s2", "s1", "s0"]);
    let text = raised["text"].as_str().unwrap();
    assert!(
        text.starts_with("test: START-UP, FLUID NOT IN ORDER, 3 sumps"),
        "{text}"
    );
    assert!(text.contains("Sump 2: concentration"), "{text}");
    daemon.kill();

    // It stands, and nobody is told of it again.
    let _daemon = Daemon::start(&plant);
    for sump in 0..SUMPS {
        reads(&client, sump, 4.0);
    }
    // A message whose confirmation a kill cut off may come again, the same.
    let returned = loop {
        let message = client.next("people/anna");
        if message["transition"] != "raised" {
            break message;
        }
        assert_eq!(message["id"], raised["id"]);
    };
    assert_eq!(returned["transition"], "returned");
    assert_eq!(returned["id"], raised["id"]);
    assert_eq!(steps(&plant, "start_up", "raised").len(), 1);
    assert_eq!(steps(&plant, "start_up", "raised_again").len(), 0);
    for condition in ["concentration.low_low", "concentration.low"] {
        assert_eq!(steps(&plant, condition, "raised").len(), 0);
    }
    assert_eq!(machine.next("plant/alarm")["transition"], "raised");
}

#[test]
fn where_it_is_off_each_sump_tells_its_own() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let off = format!("{}[plant.rules]\nstart_up = false\n", shifts());
    let plant = plant(&broker, 1, &off);
    let machine = TestClient::connect(broker.port, "machine", &["sumpward/test/+/alarm"]);
    let _daemon = Daemon::start(&plant);
    reads(&machine, 0, 2.9);
    let raised = machine.next("s0/alarm");
    assert_eq!(raised["transition"], "raised");
}
