//! From an instrument's message to advice on the wire.

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;
use sumpward::units::Span;

fn wanted(broker: &Mosquitto) -> Wanted<'static> {
    Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    }
}

#[test]
fn a_lean_sump_is_told_with_a_dose_that_people_can_follow() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker));
    let client = TestClient::connect(broker.port, "test", &["sumpward/#"]);
    let _daemon = Daemon::start(&plant);
    assert_eq!(client.next("/status")["status"], "online");
    // Three good readings each, or there is no dose.
    let start = now();
    for (second, value) in [(2, 4.0), (1, 4.0), (0, 2.5)] {
        client.publish("in/s0/level", "900");
        client.publish("in/s0/brix", brix(value, start - Span::from_secs(second)));
    }

    let alarm = client.next("/alarm");
    assert_eq!(alarm["condition"], "concentration.low");
    assert_eq!(alarm["sump"], "s0");
    assert_eq!(alarm["value"], 5.0);
    let dose = &alarm["advice"]["dose"];
    // 900 L from 5 to 8 % with premix of at most 20 %: 900 · 3 / 15 = 180 L, in
    // two steps of at most 2 points.
    assert_eq!(
        (dose["drain_l"].as_f64(), dose["premix_l"].as_f64()),
        (Some(90.0), Some(90.0))
    );
    assert_eq!(
        (dose["concentrate_l"].as_f64(), dose["water_l"].as_f64()),
        (Some(18.0), Some(72.0))
    );
    let text = alarm["text"].as_str().unwrap();
    for words in [
        "Sump 0",
        "5.00 %",
        "window 6.0 % to 10.0 %",
        "since ",
        "act ",
        "Drain 90 L",
        "20.0 %",
        "18 L concentrate",
        "Step 1 of about 2",
        "mix",
        "re-check by hand",
        "stop at 945 L",
        "Caution",
    ] {
        assert!(text.contains(words), "\"{words}\" is missing in:\n{text}");
    }

    // Whoever subscribes later sees where the sump stands.
    let late = TestClient::connect(broker.port, "late", &["sumpward/test/s0/state"]);
    let state = late.next("/state");
    assert!(
        state["alarms"]
            .as_array()
            .is_some_and(|alarms| !alarms.is_empty()),
        "{state}"
    );
}

/// The sump's own topic is in the plant's language, a contact's in theirs, by
/// the plant's clocks; and a sentence is the plant's own.
#[test]
fn a_contact_is_told_in_their_language() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker));
    let more = "[messages]\nfolder = \"words\"\n[contact.schicht]\ntopic = \"people/schicht\"\nlanguage = \"de\"\n[contact.lead]\ntopic = \"people/lead\"\n";
    std::fs::write(plant.config().join("people.toml"), more).unwrap();
    let words = plant.config().join("words/de");
    std::fs::create_dir_all(&words).unwrap();
    let own = "[word]\ncaution = \"Achtung, Schicht:\"\n";
    std::fs::write(words.join("phrases.toml"), own).unwrap();
    let topics = ["people/#", "sumpward/test/s0/alarm"];
    let client = TestClient::connect(broker.port, "test", &topics);
    let _daemon = Daemon::start(&plant);
    let start = now();
    for (second, value) in [(2, 4.0), (1, 4.0), (0, 2.5)] {
        client.publish("in/s0/level", "900");
        client.publish("in/s0/brix", brix(value, start - Span::from_secs(second)));
    }
    let text = |topic: &str| client.next(topic)["text"].as_str().unwrap().to_owned();
    // Contacts come by name, the sump's own topic last.
    let lead = text("people/lead");
    let german = text("people/schicht");
    assert!(
        german.starts_with("Sump 0: Konzentration ZU NIEDRIG, 5,00 %\n"),
        "{german}"
    );
    for words in ["90 L ablassen", "Achtung, Schicht: Niemals", " UTC ("] {
        assert!(
            german.contains(words),
            "\"{words}\" is missing in:\n{german}"
        );
    }
    for english in [lead, text("/s0/alarm")] {
        assert!(
            english.starts_with("Sump 0: concentration TOO LOW, 5.00 %\n"),
            "{english}"
        );
    }
}

#[test]
fn entries_are_kept_once_and_acknowledge_alarms() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let _daemon = Daemon::start(&plant);
    client.publish("in/s0/level", "900");
    client.publish("in/s0/brix", brix(2.9, now()));
    let alarm = client.next("/alarm");
    let entry = serde_json::json!({
        "time": now().to_string(), "sump": "s0", "by": "shift 1",
        "kind": "acknowledge", "alarm": alarm["id"],
    });
    client.publish("sumpward/test/entry", entry.to_string());
    client.publish("sumpward/test/entry", entry.to_string());
    let acknowledged = client.next("/alarm");
    assert_eq!(acknowledged["state"], "acknowledged");
    assert_eq!(acknowledged["by"], "shift 1");
    until("the entry is in the journal", || {
        journal(&plant)
            .iter()
            .any(|line| line.contains("\"kind\":\"entry\""))
            .then_some(())
    });
    client.publish("in/s0/brix", brix(4.0, now()));
    assert_eq!(client.next("/alarm")["state"], "normal");
    let entries = journal(&plant)
        .iter()
        .filter(|line| line.contains("\"kind\":\"entry\""))
        .count();
    assert_eq!(entries, 1);
}

#[test]
fn a_broker_without_memory_that_restarts_gets_every_message_and_the_subscriptions_again() {
    let mut broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker));
    let daemon = Daemon::start(&plant);
    broker.kill();
    daemon.logged("not connected");
    broker.start_again();
    until("the daemon is back", || {
        (daemon.count_logged("subscribed") >= 2).then_some(())
    });
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    client.publish("in/s0/level", "900");
    client.publish("in/s0/brix", brix(2.5, now()));
    assert_eq!(client.next("/alarm")["transition"], "raised");
}

#[test]
fn a_worn_electrode_is_told_and_its_millivolts_become_ph() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker));
    let more = r#"
[sump.s0.limits.ph]
on_delay = "0 s"
[sump.s0.channel.temperature]
quantity = "temperature"
topic = "in/s0/temperature"
smooth = "0 s"
[sump.s0.channel.ph]
quantity = "ph"
topic = "in/s0/ph"
smooth = "0 s"
[sump.s0.channel.ph.calibration]
offset = "35 mV"
slope = "100 %"
"#;
    std::fs::write(plant.config().join("probes.toml"), more).unwrap();
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/s0/alarm"]);
    let daemon = Daemon::start(&plant);
    daemon.logged("the offset is 35.0 mV at pH 7");
    client.publish("in/s0/temperature", "35");
    client.publish("in/s0/ph", "-53");
    let alarm = client.next("/alarm");
    assert!(alarm["condition"].as_str().unwrap().starts_with("ph.low"));
    // By hand: 7 + 88 mV over 61.1436 mV per pH, Nernst's slope at 35 °C.
    let value = alarm["value"].as_f64().unwrap();
    assert!((value - 8.4392).abs() < 5e-5, "{alarm}");
}
