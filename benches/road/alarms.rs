//! From the publish of a reading to the alarm on the wire, under load.
//!
//! 10,000 readings a second go to most of the plant at QoS 1. Meanwhile the
//! remaining sumps turn lean one after the other; their alarms have no delay,
//! so that the reading itself raises the alarm. The time runs from the write
//! of the reading into the publisher's socket until a subscriber at the same
//! broker holds the alarm, so that the broker is in it twice and nothing is
//! taken off. The commits of the same time are read from the daemon's log.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, Receiver};
use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::Packet;
use rumqttc::v5::{Client, Event, MqttOptions};

use crate::figures::{median, quantile};
use crate::peers::{Daemon, Mosquitto, PATIENCE};
use crate::plant::{CHANNELS, LEAN_BRIX, Plant, SUMPS, now, payload, sump_name, topic, value};
use crate::publisher::{Packets, Publisher};

const ALARMS: usize = 200;
const BACKGROUND: f64 = 10_000.0;
/// The load runs for so long before the first alarm.
const WARM_UP: Duration = Duration::from_secs(5);
/// Between two alarms; no multiple of any period of the daemon.
const BETWEEN: Duration = Duration::from_micros(50_931);

/// Places in the plant's channels.
const BRIX: usize = 0;
const LEVEL: usize = 5;

/// Measures and prints.
pub fn measure() {
    let broker = Mosquitto::start();
    let plant = Plant::write(broker.port, ALARMS);
    let daemon = Daemon::start(&plant, "sumpward::store=debug");
    let arrived = listen(broker.port);
    let over = AtomicBool::new(false);
    let (latencies, commits) = std::thread::scope(|scope| {
        scope.spawn(|| load(broker.port, &over));
        let mut publisher = Publisher::connect(broker.port, "alarming", QoS::AtLeastOnce);
        for sump in 0..ALARMS {
            publish(&mut publisher, sump, LEVEL, CHANNELS[LEVEL].2);
            publish(&mut publisher, sump, BRIX, CHANNELS[BRIX].2);
        }
        std::thread::sleep(WARM_UP);
        let before = daemon.log().len();
        let latencies: Vec<f64> = (0..ALARMS)
            .map(|sump| alarm(&mut publisher, sump, &arrived))
            .collect();
        let commits = commits(&daemon.log()[before..]);
        over.store(true, Ordering::Relaxed);
        (latencies, commits)
    });
    print(&latencies, &commits);
}

fn print(latencies: &[f64], commits: &[f64]) {
    let of = |values: &[f64], q| quantile(values.iter().copied(), q);
    println!(
        "\nfrom publish to alarm on the wire, {ALARMS} alarms under {BACKGROUND:.0} readings/s"
    );
    println!(
        "  latency: median {:.1} ms, 99 % within {:.1} ms, longest {:.1} ms",
        median(latencies.iter().copied()),
        of(latencies, 0.99),
        of(latencies, 1.0),
    );
    println!(
        "  {} commits meanwhile: median {:.1} ms, 99 % within {:.1} ms, longest {:.1} ms",
        commits.len(),
        median(commits.iter().copied()),
        of(commits, 0.99),
        of(commits, 1.0),
    );
    println!(
        "  budget: 99 % within 10 ms and a commit, here {:.1} ms",
        10.0 + of(commits, 0.99)
    );
}

/// Readings to every sump but those whose alarms are provoked.
fn load(port: u16, over: &AtomicBool) {
    let mut publisher = Publisher::connect(port, "load", QoS::AtLeastOnce);
    let sumps = SUMPS - ALARMS;
    publisher.pace(
        BACKGROUND,
        || !over.load(Ordering::Relaxed),
        |n| {
            let (sump, channel) = (ALARMS + n % sumps, n / sumps % CHANNELS.len());
            (topic(sump, channel), payload(value(channel, n), now()))
        },
    );
}

fn publish(publisher: &mut Publisher, sump: usize, channel: usize, value: f64) {
    let mut packets = Packets::default();
    publisher.encode(&topic(sump, channel), &payload(value, now()), &mut packets);
    publisher.send(&packets);
}

/// Turns a sump lean; milliseconds until its alarm arrives.
fn alarm(publisher: &mut Publisher, sump: usize, arrived: &Receiver<(String, Instant)>) -> f64 {
    std::thread::sleep(BETWEEN);
    let wanted = format!("sumpward/road/{}/alarm", sump_name(sump));
    let begun = Instant::now();
    publish(publisher, sump, BRIX, LEAN_BRIX);
    let (topic, at) = arrived.recv_timeout(PATIENCE).expect("the alarm comes");
    assert_eq!(topic, wanted, "one alarm a sump");
    at.duration_since(begun).as_secs_f64() * 1e3
}

/// Topics of alarms and when they came.
fn listen(port: u16) -> Receiver<(String, Instant)> {
    let mut options = MqttOptions::new("listener", "127.0.0.1", port);
    options.set_keep_alive(Duration::from_secs(30));
    let (client, mut connection) = Client::new(options, 10);
    client
        .subscribe("sumpward/road/+/alarm", QoS::AtLeastOnce)
        .expect("there is room for one request");
    let (message, arrived) = mpsc::channel();
    let (granted, subscribed) = mpsc::channel();
    std::thread::spawn(move || {
        // Without a client the connection would end.
        let _client = client;
        // Until the broker ends, after the measurement.
        for event in connection.iter().map_while(Result::ok) {
            match event {
                Event::Incoming(Packet::SubAck(_)) => {
                    let _ = granted.send(());
                }
                Event::Incoming(Packet::Publish(publish)) => {
                    let topic = String::from_utf8_lossy(&publish.topic).into_owned();
                    if message.send((topic, Instant::now())).is_err() {
                        return;
                    }
                }
                _ => {}
            }
        }
    });
    subscribed
        .recv_timeout(PATIENCE)
        .expect("the broker grants the subscription");
    arrived
}

/// The times of the commits in lines of the log, ms.
fn commits(lines: &[String]) -> Vec<f64> {
    let micros = lines.iter().filter_map(|line| {
        let (_, rest) = line.split_once(" committed ")?;
        let (_, rest) = rest.split_once("micros=")?;
        rest.split_whitespace().next()?.parse::<f64>().ok()
    });
    micros.map(|micros| micros / 1e3).collect()
}
