//! What the daemon takes for a plant that reports at its usual rate: every
//! channel once a second, evenly spread, 6,000 readings a second in all.
//!
//! The measurement begins with the first reading and lasts one minute: the
//! period of what the daemon does once a minute for each sump (it shows its
//! state and keeps its memory), so that exactly one of each is in it.

use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;
use sumpward::store::{Reader, SeriesKind};

use crate::peers::{Daemon, Mosquitto, until};
use crate::plant::{CHANNELS, Plant, SUMPS, now, payload, topic, value};
use crate::process::{peak_megabytes, processor_seconds, resident_megabytes};
use crate::publisher::Publisher;

const LASTS: Duration = Duration::from_secs(60);

/// Measures and prints.
pub fn measure(qos: QoS) {
    let rate = (SUMPS * CHANNELS.len()) as f64;
    let broker = Mosquitto::start();
    let plant = Plant::write(broker.port, 0);
    let daemon = Daemon::start(&plant, "");
    let mut publisher = Publisher::connect(broker.port, "publisher", qos);
    let (before, broker_before) = (
        processor_seconds(daemon.pid()),
        processor_seconds(broker.pid()),
    );
    let begun = Instant::now();
    let mut sent = 0;
    publisher.pace(
        rate,
        || begun.elapsed() < LASTS,
        |n| {
            sent = n + 1;
            let (sump, channel) = (n % SUMPS, n / SUMPS % CHANNELS.len());
            (topic(sump, channel), payload(value(channel, n), now()))
        },
    );
    let took = begun.elapsed().as_secs_f64();
    let share = (processor_seconds(daemon.pid()) - before) / took;
    let broker_share = (processor_seconds(broker.pid()) - broker_before) / took;
    let reader = Reader::open(&plant.store()).expect("the daemon has made it");
    until(
        "every reading is stored",
        Duration::from_millis(500),
        || {
            let stored = reader.count_readings(SeriesKind::Reading);
            (stored.expect("the store can be read") == sent as u64).then_some(())
        },
    );
    let budget = match qos {
        QoS::AtMostOnce => 5,
        _ => 10,
    };
    println!(
        "\nsteady at QoS {}, {:.0} readings/s for {took:.0} s, all of them stored",
        qos as u8,
        sent as f64 / took,
    );
    println!(
        "  processor {:.1} % of a core (budget {budget} %), broker {:.1} %",
        share * 100.0,
        broker_share * 100.0,
    );
    println!(
        "  resident {:.1} MB, at most {:.1} MB (budget 60 MB)",
        resident_megabytes(daemon.pid()),
        peak_megabytes(daemon.pid()),
    );
}
