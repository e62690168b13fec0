//! What happens outside of somebody's working hours, and how it reaches them once
//! these begin: summed up where it is much, else singly and in its order, whatever
//! kills the daemon in between.

use serde_json::Value;
use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::mail::{plant, reads};
use crate::plant::{Plant, now};
use crate::wait::until;

const SUMPS: usize = 14;

/// A contact who cares for these sumps, with these hours.
fn contact(name: &str, sumps: &str, hours: &str) -> String {
    format!("[contact.{name}]\ntopic = \"people/{name}\"\nsumps = [{sumps}]\n{hours}")
}

/// Anna cares for most sumps, bert for the last two.
fn contacts(hours: &str) -> String {
    let most: Vec<String> = (0..12).map(|sump| format!("\"s{sump}\"")).collect();
    contact("anna", &most.join(", "), hours) + &contact("bert", "\"s12\", \"s13\"", hours)
}

/// Working hours on the day after tomorrow only.
fn day_after_tomorrow() -> String {
    let days = ["thu", "fri", "sat", "sun", "mon", "tue", "wed"];
    let since_1970 = now().millis().div_euclid(Span::from_hours(24).millis());
    let day = days[((since_1970 + 2) % 7) as usize];
    format!("hours = [\"{day} 08:00-16:00\"]\n")
}

fn waiting(plant: &Plant, name: &str) -> i64 {
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let sql = "SELECT count(*) FROM waiting WHERE subject = ?1";
    let subject = format!("away/{name}");
    store.query_row(sql, [subject], |row| row.get(0)).unwrap()
}

fn wait_for(plant: &Plant, name: &str, count: i64) {
    until(&format!("{count} steps wait for {name}"), || {
        (waiting(plant, name) == count).then_some(())
    });
}

/// What came to somebody, each once: a message whose confirmation a kill cut off
/// may come again, the same.
fn came(client: &TestClient, name: &str, count: usize) -> Vec<Value> {
    let topic = format!("people/{name}");
    let mut all: Vec<Value> = Vec::new();
    while all.len() < count {
        let message = client.next(&topic);
        if !all.contains(&message) {
            all.push(message);
        }
    }
    all
}

#[test]
fn what_was_held_back_is_told_in_one_summary_or_in_its_order_once_hours_begin() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = plant(&broker, SUMPS, &contacts(&day_after_tomorrow()));
    let client = TestClient::connect(broker.port, "test", &[]);
    let anna = TestClient::connect(broker.port, "anna", &["people/anna"]);
    let bert = TestClient::connect(broker.port, "bert", &["people/bert"]);
    let daemon = Daemon::start(&plant);
    // Twelve alarms within seconds, and of two others one step each.
    for sump in 0..SUMPS {
        reads(&client, sump, 2.9);
    }
    wait_for(&plant, "anna", 12);
    wait_for(&plant, "bert", 2);
    daemon.kill();

    // Five of them are over before anybody is there.
    let daemon = Daemon::start(&plant);
    for sump in 0..5 {
        reads(&client, sump, 4.0);
    }
    wait_for(&plant, "anna", 17);
    daemon.kill();
    assert!(anna.so_far().is_empty() && bert.so_far().is_empty());

    // They are there, and one alarm is over at that very moment.
    std::fs::write(plant.config().join("roads.toml"), contacts("")).unwrap();
    let daemon = Daemon::start(&plant);
    reads(&client, 12, 4.0);
    let told = came(&bert, "bert", 3);
    let steps: Vec<(&str, &str)> = told
        .iter()
        .map(|one| {
            (
                one["sump"].as_str().unwrap(),
                one["transition"].as_str().unwrap(),
            )
        })
        .collect();
    assert_eq!(steps[2], ("s12", "returned"));
    assert!(steps[..2].contains(&("s12", "raised")) && steps[..2].contains(&("s13", "raised")));

    let summary = came(&anna, "anna", 1).remove(0);
    assert_eq!(summary["phase"], "away", "{summary}");
    assert_eq!(
        (summary["stand"].as_u64(), summary["went"].as_u64()),
        (Some(7), Some(5))
    );
    let titles = |list: &str| -> Vec<String> {
        let places = summary[list].as_array().unwrap().iter();
        let mut titles: Vec<String> = places.map(|one| one["title"].to_string()).collect();
        titles.sort();
        titles
    };
    let named = |range: std::ops::Range<usize>| -> Vec<String> {
        let mut named: Vec<String> = range.map(|sump| format!("\"Sump {sump}\"")).collect();
        named.sort();
        named
    };
    assert_eq!(titles("standing"), named(5..12));
    assert_eq!(titles("came_and_went"), named(0..5));
    assert_eq!(summary["steps"].as_array().unwrap().len(), 17);
    let text = summary["text"].as_str().unwrap();
    assert!(
        text.starts_with("test: you were away: 7 alarms STAND, 5 came and went"),
        "{text}"
    );
    wait_for(&plant, "anna", 0);

    // What was told is told; what comes now comes by itself, also over a kill.
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    reads(&client, 7, 4.0);
    let next = loop {
        let next = anna.next("people/anna");
        if next != summary {
            break next;
        }
    };
    assert_eq!(
        (next["sump"].as_str(), next["transition"].as_str()),
        (Some("s7"), Some("returned"))
    );
}
