//! Who is told when nobody acknowledges, and the daily digest.

use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::mail::{plant, reads};
use crate::plant::now;
use crate::wait::until;

const CHAIN: &str = "\
[contact.anna]
topic = \"people/anna\"
escalate_after = \"2 s\"
escalate_to = \"lead\"
[contact.lead]
topic = \"people/lead\"
sumps = []
escalate_after = \"2 s\"
escalate_to = \"boss\"
[contact.boss]
topic = \"people/boss\"
sumps = []
";

#[test]
fn an_alarm_goes_along_the_chain_over_a_kill_until_somebody_acknowledges() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = plant(&broker, 2, CHAIN);
    let client = TestClient::connect(broker.port, "test", &["people/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let first = client.next("people/anna");
    assert_eq!(first["transition"], "raised");
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    let second = client.next("people/lead");
    assert_eq!(second["id"], first["id"]);
    assert_eq!(second["escalated_from"], "anna");
    let third = client.next("people/boss");
    assert_eq!(third["escalated_from"], "lead");

    // Another one is acknowledged before it is the boss's turn.
    reads(&client, 1, 2.9);
    let other = client.next("people/lead");
    assert_eq!(other["sump"], "s1");
    let entry = serde_json::json!({
        "time": now().to_string(), "sump": "s1", "by": "lead",
        "kind": "acknowledge", "alarm": other["id"],
    });
    client.publish("sumpward/test/entry", entry.to_string());
    assert_eq!(client.next("people/anna")["transition"], "acknowledged");
    // Whoever was told by escalation alone hears of it too.
    assert_eq!(client.next("people/lead")["transition"], "acknowledged");
    // Nothing is left to happen but to tell how the first one ends, so that
    // nothing can come.
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let waiting = || -> String {
        let sql = "SELECT coalesce(group_concat(substr(subject, 1, 8)), '') FROM waiting";
        store.query_row(sql, (), |row| row.get(0)).unwrap()
    };
    until("nothing else waits", || {
        (waiting() == "told/s0/,told/s0/").then_some(())
    });
    let late = client.so_far();
    assert!(
        !late.iter().any(|(topic, _)| topic == "people/boss"),
        "{late:?}"
    );
}

#[test]
fn a_digest_comes_once_a_day_whatever_kills_the_daemon() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let hour = &now().to_string()[11..16];
    let contact = format!("[contact.anna]\ntopic = \"people/anna\"\ndigest = \"{hour}\"\n");
    let plant = plant(&broker, 1, &contact);
    let client = TestClient::connect(broker.port, "test", &["people/#", "sumpward/test/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let raised = client.next("people/anna");
    assert_eq!(raised["transition"], "raised");
    let cursor = || {
        let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
        store
            .query_row(
                "SELECT position FROM cursors WHERE name = 'digest/anna'",
                (),
                |row| row.get::<_, i64>(0),
            )
            .ok()
    };
    let passed_over = until("the first day is passed over", cursor);
    daemon.kill();
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let day = Span::from_hours(24).millis();
    store
        .execute("UPDATE cursors SET position = position - ?1", [day])
        .unwrap();
    let daemon = Daemon::start(&plant);
    // A message whose confirmation the kill cut off may come again.
    let digest = match client.next("people/anna") {
        again if again == raised => client.next("people/anna"),
        digest => digest,
    };
    let text = digest["text"].as_str().unwrap();
    assert!(text.contains("1 alarm stands"), "{text}");
    assert!(
        text.contains("Sump 0: concentration TOO LOW, not acknowledged"),
        "{text}"
    );
    assert_eq!(digest["standing"].as_array().unwrap().len(), 1);
    daemon.kill();
    assert_eq!(cursor(), Some(passed_over));
    let _daemon = Daemon::start(&plant);
    // What comes next is the next step of the alarm, not another digest; a
    // message whose confirmation a kill cut off may come again, the same.
    reads(&client, 0, 4.0);
    let mut again = 0;
    loop {
        let next = client.next("people/anna");
        if next["transition"] == "returned" {
            break;
        }
        again += usize::from(next == digest);
        assert!(next == digest || next == raised, "{next}");
    }
    assert!(again <= 1);
}

#[test]
fn a_message_waits_for_the_working_hours_of_its_contact() {
    let broker = Mosquitto::start(Keeps::Nothing);
    // Working hours on the day after tomorrow only.
    let days = ["thu", "fri", "sat", "sun", "mon", "tue", "wed"];
    let since_1970 = now().millis().div_euclid(Span::from_hours(24).millis());
    let day = days[((since_1970 + 2) % 7) as usize];
    let contacts = format!(
        "[contact.anna]\ntopic = \"people/anna\"\nhours = [\"{day} 08:00-16:00\"]\nhigh_waits = true\n\
         [contact.bert]\ntopic = \"people/bert\"\n"
    );
    let plant = plant(&broker, 1, &contacts);
    let client = TestClient::connect(broker.port, "test", &["people/#"]);
    let daemon = Daemon::start(&plant);
    reads(&client, 0, 2.9);
    let told = client.next("people/bert");
    assert_eq!(told["transition"], "raised");
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let (subject, due): (String, i64) = store
        .query_row("SELECT subject, due FROM waiting", (), |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
        .unwrap();
    assert_eq!(subject, "away/anna");
    // Kept for thirty days from when its hours begin.
    let wait = (due - now().millis()) / Span::from_hours(1).millis() - 30 * 24;
    assert!((24..72).contains(&wait), "{wait} h");
    // Its hours begin.
    daemon.kill();
    std::fs::write(
        plant.config().join("roads.toml"),
        "[contact.anna]\ntopic = \"people/anna\"\n",
    )
    .unwrap();
    let _daemon = Daemon::start(&plant);
    assert_eq!(client.next("people/anna"), told);
}
