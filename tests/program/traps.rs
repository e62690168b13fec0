//! What clients and brokers do to the unwary.

use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

fn wanted(broker: &Mosquitto, more: &'static str) -> Wanted<'static> {
    Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: more,
    }
}

#[test]
fn unreadable_messages_are_acknowledged_told_and_never_stop_the_stream() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&wanted(&broker, "receive_maximum = 10"));
    let client = TestClient::connect(broker.port, "test", &[]);
    let daemon = Daemon::start(&plant);
    // Ten times the window: unacknowledged, the stream would stop at ten.
    for n in 0..100 {
        client.publish("in/s0/brix", format!("garbage {n}"));
    }
    client.publish("in/s0/brix", brix(4.0, now()));
    until("the good one is stored", || {
        (stored(&plant) == 1).then_some(())
    });
    let told = daemon.logged("message refused");
    assert!(
        told.contains("in/s0/brix") && told.contains("garbage 0"),
        "{told}"
    );
    assert_eq!(daemon.count_logged("message refused"), 1);
}

#[test]
fn every_message_is_acknowledged_however_small_the_window() {
    const COUNT: usize = 30_000;
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker, "receive_maximum = 40"));
    let client = TestClient::connect(broker.port, "test", &[]);
    let _daemon = Daemon::start(&plant);
    // An acknowledgement lost here and there would close the window for good.
    let begun = now() - Span::from_secs(40);
    for n in 0..COUNT {
        let time = begun + Span::from_millis(n as i64);
        client.send("in/s0/brix", brix(4.0, time));
        if n % 500 == 499 {
            client.confirmed(500);
        }
    }
    until("all are stored", || {
        (stored(&plant) == COUNT as u64).then_some(())
    });
}

#[test]
fn a_broker_killed_under_waiting_alarms_gets_them_all() {
    let mut broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 10,
        on_delay: "0 s",
        broker: "",
    });
    let client = TestClient::connect(broker.port, "test", &[]);
    let daemon = Daemon::start(&plant);
    let begun = now();
    for round in 0..5 {
        for sump in 0..10 {
            let value = if round % 2 == 0 { 2.5 } else { 4.0 };
            let time = begun + Span::from_millis(round);
            client.send(&format!("in/s{sump}/brix"), brix(value, time));
        }
    }
    client.confirmed(50);
    until("all are stored", || (stored(&plant) == 50).then_some(()));
    // Whatever has not been confirmed yet waits in the store.
    broker.kill();
    daemon.logged("messages wait in the outbox");
    let told = journal(&plant)
        .iter()
        .filter(|line| line.contains("\"kind\":\"alarm\""))
        .count();
    assert!(told >= 50, "{told}");
    broker.start_again();
    until("the outbox is empty", || {
        let reader = sumpward::store::Reader::open(&plant.store()).unwrap();
        (reader.outbox_depth().unwrap() == 0).then_some(())
    });
}

#[test]
fn odd_topics_harm_nothing() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&wanted(&broker, ""));
    let client = TestClient::connect(broker.port, "test", &[]);
    let _daemon = Daemon::start(&plant);
    for topic in ["µ/temp", "in/s0/brix/", "in//brix", "sumpward/test/entry"] {
        client.publish(topic, "{}");
    }
    client.publish("in/s0/brix", brix(4.0, now()));
    until("the reading is stored", || {
        (stored(&plant) == 1).then_some(())
    });
}
