//! Killed at any instant, nothing acknowledged is lost and nothing is stored
//! or told twice.

use std::collections::HashSet;

use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::{Daemon, journal, stored};
use crate::plant::{Plant, Wanted, brix, now};
use crate::wait::until;

const READINGS: usize = 50_000;
const SUMPS: usize = 10;

#[test]
fn killed_in_the_middle_of_a_stream_no_reading_is_lost_or_stored_twice() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: SUMPS,
        on_delay: "10 min",
        broker: "[engine]\nthreads = 2",
    });
    let daemon = Daemon::start(&plant);
    let begun = now() - Span::from_secs(60);
    let port = broker.port;
    let publisher = std::thread::spawn(move || {
        let client = TestClient::connect(port, "publisher", &[]);
        for n in 0..READINGS {
            let time = begun + Span::from_millis((n / SUMPS) as i64);
            client.send(
                &format!("in/s{}/brix", n % SUMPS),
                brix(n as f64 / 10_000.0, time),
            );
            if n % 500 == 499 {
                client.confirmed(500);
            }
        }
    });
    until("a fifth is stored", || {
        (stored(&plant) > READINGS as u64 / 5).then_some(())
    });
    daemon.kill();
    let before = stored(&plant);
    assert!(
        before < READINGS as u64,
        "killed before the stream was over"
    );
    let daemon = Daemon::start(&plant);
    until("half is stored", || {
        (stored(&plant) > READINGS as u64 / 2).then_some(())
    });
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    publisher
        .join()
        .expect("every reading was confirmed by the broker");
    until("all are stored", || {
        (stored(&plant) >= READINGS as u64).then_some(())
    });
    assert_eq!(stored(&plant), READINGS as u64);
    assert_eq!(distinct_values(&plant), READINGS);
}

#[test]
fn readings_without_a_time_are_not_stored_twice_after_a_kill_either() {
    const COUNT: usize = 5_000;
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "10 min",
        broker: "",
    });
    let daemon = Daemon::start(&plant);
    let port = broker.port;
    let publisher = std::thread::spawn(move || {
        let client = TestClient::connect(port, "publisher", &[]);
        for n in 0..COUNT {
            client.send("in/s0/level", format!("{}", 500.0 + n as f64 / 100.0));
            if n % 100 == 99 {
                client.confirmed(100);
            }
        }
    });
    until("a fifth is stored", || {
        (stored(&plant) > (COUNT / 5) as u64).then_some(())
    });
    daemon.kill();
    let daemon = Daemon::start(&plant);
    until("half is stored", || {
        (stored(&plant) > (COUNT / 2) as u64).then_some(())
    });
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    publisher
        .join()
        .expect("every reading was confirmed by the broker");
    until("all are stored", || {
        (stored(&plant) >= COUNT as u64).then_some(())
    });
    assert_eq!(stored(&plant), COUNT as u64);
}

/// Every reading has a value of its own.
fn distinct_values(plant: &Plant) -> usize {
    let connection = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    let mut select = connection
        .prepare("SELECT value FROM readings_plain WHERE kind = 'reading' AND channel = 'brix'")
        .unwrap();
    let values = select.query_map([], |row| row.get::<_, f64>(0)).unwrap();
    values
        .map(|value| value.unwrap().to_bits())
        .collect::<HashSet<_>>()
        .len()
}

#[test]
fn an_alarm_survives_kills_and_is_told_once_and_returns_once() {
    let broker = Mosquitto::start(Keeps::Sessions);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    });
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/#"]);
    let daemon = Daemon::start(&plant);
    client.publish("in/s0/level", "900");
    client.publish("in/s0/brix", brix(2.8, now()));
    let raised = client.next("/alarm");
    assert_eq!(raised["transition"], "raised");
    daemon.kill();
    // Still lean: the same alarm, not told again.
    let daemon = Daemon::start(&plant);
    let count = stored(&plant);
    client.publish("in/s0/brix", brix(2.7, now()));
    until("it is stored", || (stored(&plant) > count).then_some(()));
    daemon.kill();
    let _daemon = Daemon::start(&plant);
    client.publish("in/s0/brix", brix(4.0, now()));
    // A message whose confirmation the kill cut off may come again, the same.
    let returned = loop {
        let message = client.next("/alarm");
        assert_eq!(message["id"], raised["id"]);
        if message["transition"] != "raised" {
            break message;
        }
    };
    assert_eq!(returned["transition"], "returned");
    let alarms = journal(&plant)
        .iter()
        .filter(|line| line.contains("\"kind\":\"alarm\""))
        .count();
    assert_eq!(alarms, 2);
}
