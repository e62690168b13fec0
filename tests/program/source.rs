//! What a source is doing can be seen from outside.

use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;
use crate::wires::{Peer, Wired, channel};

/// The next report of the broker `main` that is as wanted.
fn report(client: &TestClient, wanted: impl Fn(&serde_json::Value) -> bool) -> serde_json::Value {
    loop {
        let report = client.next("/source/main");
        if wanted(&report) {
            return report;
        }
    }
}

#[test]
fn a_technician_sees_connection_clock_and_the_last_unreadable_message() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    });
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/source/+"]);
    let daemon = Daemon::start(&plant);
    let first = report(&client, |report| report["connected"] == true);
    assert_eq!(first["kind"], "broker");
    assert!(first["why"].is_null(), "{first}");

    let ahead = Span::from_secs(45);
    for n in 0..3 {
        let time = now() + ahead + Span::from_millis(n);
        client.publish("in/s0/brix", brix(4.0, time));
    }
    client.publish("in/s0/brix", "a long\u{7} way from 4.1");
    let told = report(&client, |report| report["counts"]["unreadable"] == 1);
    let unreadable = &told["unreadable_topics"][0];
    assert_eq!(unreadable["topic"], "in/s0/brix");
    assert_eq!(unreadable["payload"], "a long· way from 4.1");
    let clock = &told["clock"];
    assert_eq!(
        (clock["readings"].as_u64(), clock["future"].as_u64()),
        (Some(3), Some(0))
    );
    let median = clock["median_s"].as_f64().unwrap();
    assert!((40.0..=45.1).contains(&median), "{clock}");
    let text = told["text"].as_str().unwrap();
    for words in ["Connected since", "in/s0/brix", "ahead of ours"] {
        assert!(text.contains(words), "{text}");
    }

    daemon.signal("TERM");
    assert!(daemon.ended().success());
    let last = report(&client, |report| report["connected"] == false);
    assert_eq!(last["why"], "the daemon was stopped");
}

#[test]
fn a_technician_sees_a_port_and_which_slaves_answer_on_it() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let wanted = Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    };
    let of_slave = |slave: u8| {
        let keys = format!(
            "quantity = \"redox\"\nmodbus = \"hall\"\nslave = {slave}\nregister = 0\nregisters = \"input\"\n\
             number = \"uint16\""
        );
        channel(&format!("of-{slave}"), &keys)
    };
    let line = "[modbus.hall]\ndevice = \"LINK\"\nparity = \"none\"\nstop_bits = 1\npoll = \"100 ms\"\n\
                timeout = \"100 ms\"\nlatency = \"100 ms\"\n";
    let wired = Wired::write_with(
        &wanted,
        &[line.to_owned(), of_slave(3), of_slave(9)].concat(),
    );
    let link = wired.link();
    let slaves = Peer::slaves(&link, &["3:input:0:uint16:AB:111"]);
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/source/hall"]);
    let daemon = Daemon::start(wired.plant());
    let next = |wanted: &dyn Fn(&serde_json::Value) -> bool| loop {
        let report = client.next("/hall");
        if wanted(&report) {
            break report;
        }
    };
    let of = |report: &serde_json::Value, slave: usize| {
        report["wire"]["modbus"]["slaves"][slave].clone()
    };
    let silent = |report: &serde_json::Value| {
        let why = of(report, 1)["why"].clone();
        why.as_str().is_some_and(|why| why.contains("no answer"))
    };
    let told = next(&silent);
    assert_eq!(
        (&told["kind"], &told["connected"]),
        (&"modbus".into(), &true.into())
    );
    assert_eq!(told["address"], link.to_str().unwrap());
    assert_eq!(
        (
            of(&told, 0)["slave"].as_u64(),
            of(&told, 1)["slave"].as_u64()
        ),
        (Some(3), Some(9))
    );
    assert_eq!(
        (&of(&told, 0)["answers"], &of(&told, 1)["answers"]),
        (&true.into(), &false.into())
    );
    let modbus = &told["wire"]["modbus"];
    assert!(modbus["timeouts"].as_u64() >= Some(3), "{told}");
    assert_eq!(told["wire"]["values"], modbus["answers"]);
    let text = told["text"].as_str().unwrap();
    assert!(text.contains("Slave 9 does not, since"), "{text}");

    drop(slaves);
    let told = next(&|report| {
        let why = report["why"].as_str().unwrap_or_default();
        why.contains("there is no")
    });
    assert_eq!(told["connected"], false);
    assert_eq!(of(&told, 0)["answers"], false);
    let _slaves = Peer::slaves(&link, &["3:input:0:uint16:AB:111"]);
    next(&|report| report["connected"] == true && of(report, 0)["answers"] == true);

    daemon.signal("TERM");
    assert!(daemon.ended().success());
    let last = next(&|report| report["connected"] == false);
    assert_eq!(last["why"], "the daemon was stopped");
}

#[test]
fn one_template_brings_all_channels_and_odd_names_are_shown() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "10 min",
        broker: "[broker.main.template]\ntopic = \"plant/{sump}/{channel}\"\n\
                 [sump.s0.channel.ph]\nquantity = \"ph\"\n\
                 [sump.s0.channel.odd]\nquantity = \"temperature\"\ntopic = [\"plant/s0/temp\", \"elsewhere\"]",
    });
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/source/+"]);
    let daemon = Daemon::start(&plant);
    // The template, both topics of brix and level, one of "odd", and entries.
    let subscribed = daemon.logged("subscribed");
    assert!(subscribed.contains("topics=5"), "{subscribed}");
    client.publish("plant/s0/ph", "9.1");
    client.publish("plant/s0/temp", "21");
    client.publish("elsewhere", "22");
    client.publish("plant/s9/ph", "9.2");
    until("three are stored", || (stored(&plant) == 3).then_some(()));
    let told = report(&client, |report| report["counts"]["unknown_topic"] == 1);
    assert_eq!(told["unknown_topics"][0]["topic"], "plant/s9/ph");
    assert_eq!(stored(&plant), 3);
}

#[test]
fn a_broker_that_was_away_is_told_with_the_time_and_the_reason() {
    let near = Mosquitto::start(Keeps::Nothing);
    let far_port = crate::broker::free_port();
    let plant = Plant::write(&Wanted {
        port: near.port,
        sumps: 1,
        on_delay: "10 min",
        broker: &format!(
            "[messages]\nbroker = \"main\"\n[broker.far]\nhost = \"127.0.0.1\"\nport = {far_port}"
        ),
    });
    let client = TestClient::connect(near.port, "test", &["sumpward/test/source/far"]);
    let _daemon = Daemon::start(&plant);
    loop {
        let told = client.next("/far");
        assert_eq!(told["connected"], false);
        if told["why"]
            .as_str()
            .is_some_and(|why| why.contains("nothing listens"))
        {
            break;
        }
    }
    let _far = Mosquitto::start_on(far_port);
    until("it is told as connected", || {
        (client.next("/far")["connected"] == true).then_some(())
    });
}
