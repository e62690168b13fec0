//! Alarms that stand when new settings watch for them no longer: people hear of it,
//! nobody is told next, and the figures count them no more.

use std::process::Command;

use serde_json::Value;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::mail::{plant, reads};
use crate::plant::Plant;
use crate::wait::until;

/// Anna is told, two seconds later the lead, and after an hour the boss.
const CHAIN: &str = "\
[contact.anna]
topic = \"people/anna\"
escalate_after = \"2 s\"
escalate_to = \"lead\"
[contact.lead]
topic = \"people/lead\"
sumps = []
escalate_after = \"1 h\"
escalate_to = \"boss\"
[contact.boss]
topic = \"people/boss\"
sumps = []
";

/// How many escalations wait.
fn escalations(plant: &Plant) -> i64 {
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let sql = "SELECT count(*) FROM waiting WHERE json_extract(body, '$.what') = 'escalate'";
    store.query_row(sql, (), |row| row.get(0)).unwrap()
}

/// The steps of alarms that the journal tells, as sump and step.
fn steps(plant: &Plant) -> Vec<(String, String)> {
    let lines = journal(plant).into_iter();
    let lines = lines.map(|line| serde_json::from_str::<Value>(&line).unwrap());
    let alarms = lines.filter(|line| line["kind"] == "alarm");
    let word = |line: &Value, key: &str| line[key].as_str().unwrap().to_owned();
    alarms
        .map(|line| (word(&line, "sump"), word(&line, "transition")))
        .collect()
}

/// Alarms that `sumpward alarms` says stand.
fn standing(plant: &Plant) -> Vec<Value> {
    let done = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["alarms", "--json", "--config"])
        .arg(plant.config())
        .current_dir(plant.folder())
        .output()
        .unwrap();
    assert!(done.status.success(), "{done:?}");
    let told: Value = serde_json::from_slice(&done.stdout).unwrap();
    told["present"].as_array().unwrap().clone()
}

#[test]
fn what_stands_when_its_limit_or_its_sump_is_removed_is_closed_over_kills() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = plant(&broker, 3, CHAIN);
    let client = TestClient::connect(broker.port, "test", &[]);
    let anna = TestClient::connect(broker.port, "anna", &["people/anna"]);
    let lead = TestClient::connect(broker.port, "lead", &["people/lead"]);
    let daemon = Daemon::start(&plant);
    for sump in 0..3 {
        reads(&client, sump, 2.9);
    }
    for _ in 0..3 {
        assert_eq!(anna.next("people/anna")["transition"], "raised");
        assert_eq!(lead.next("people/lead")["escalated_from"], "anna");
    }
    until("the boss is next", || {
        (escalations(&plant) == 3).then_some(())
    });
    daemon.kill();

    // One limit is switched off, one sump is gone, one goes on as it was.
    let settings = plant.config().join("plant.toml");
    let text = std::fs::read_to_string(&settings).unwrap();
    let (kept, _gone) = text.split_once("[sump.s2]").unwrap();
    let limits = "[sump.s0.limits.concentration]\n";
    let fewer = kept.replace(limits, &format!("{limits}low = false\n"));
    assert_ne!(fewer, kept);
    std::fs::write(&settings, fewer).unwrap();
    let daemon = Daemon::start(&plant);
    let closed = || -> Vec<String> {
        let steps = steps(&plant).into_iter();
        let closed = steps.filter(|(_, step)| step == "removed");
        let mut sumps: Vec<String> = closed.map(|(sump, _)| sump).collect();
        sumps.sort();
        sumps
    };
    until("both are closed", || {
        (closed() == ["s0", "s2"]).then_some(())
    });
    daemon.kill();
    assert_eq!(escalations(&plant), 1, "that of the one that goes on");
    let stand = standing(&plant);
    assert_eq!(stand.len(), 1, "{stand:?}");
    assert_eq!(stand[0]["sump"], "s1");

    // Whoever was told hears of it, by escalation or not, and no start tells it anew.
    let _daemon = Daemon::start(&plant);
    for (client, topic) in [(&anna, "people/anna"), (&lead, "people/lead")] {
        let mut told: Vec<String> = Vec::new();
        while told.len() < 2 {
            let message = client.next(topic);
            let sump = message["sump"].as_str().unwrap().to_owned();
            // What a kill left unconfirmed may come again.
            if message["transition"] == "removed" && !told.contains(&sump) {
                assert_eq!(message["state"], "normal");
                let text = message["text"].as_str().unwrap();
                assert!(text.contains("NO LONGER WATCHED"), "{text}");
                told.push(sump);
            }
        }
        told.sort();
        assert_eq!(told, ["s0", "s2"]);
    }
    assert_eq!(closed(), ["s0", "s2"]);
}
