//! What the daemon takes for a plant that reports at its usual rate: every
//! channel once a second, evenly spread, 6,000 readings a second in all.
//!
//! The measurement begins with the first reading and lasts one minute: the
//! period of what the daemon does once a minute for each sump (it shows its
//! state and keeps its memory), so that exactly one of each is in it. A
//! subscriber that throws the same stream away is measured beside it: at this
//! rate every message wakes whoever waits for it, and that alone costs.

use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;
use sumpward::store::{Reader, SeriesKind};

use crate::peers::{Daemon, Mosquitto};
use crate::plant::{CHANNELS, Plant, SUMPS, now, payload, topic, value};
use crate::process::{peak_megabytes, processor_seconds, resident_megabytes};
use crate::publisher::Publisher;
use crate::subscriber::Subscriber;

const LASTS: Duration = Duration::from_secs(60);
/// The subscriber does the same all the time.
const SUBSCRIBER_LASTS: Duration = Duration::from_secs(15);
/// The stored readings are counted this often, after the measurement.
const COUNT_EVERY: Duration = Duration::from_millis(500);

/// Measures and prints.
pub fn measure(qos: QoS) {
    println!(
        "\nsteady at QoS {}, {RATE} readings/s for {} s",
        qos as u8,
        LASTS.as_secs()
    );
    subscriber(qos);
    daemon(qos);
}

/// Readings a second.
const RATE: usize = SUMPS * CHANNELS.len();

fn subscriber(qos: QoS) {
    let broker = Mosquitto::start();
    let subscriber = Subscriber::start(broker.port, qos, usize::MAX);
    let stream = stream(&broker, subscriber.pid(), qos, SUBSCRIBER_LASTS);
    stream.print("subscriber");
    println!();
}

fn daemon(qos: QoS) {
    let broker = Mosquitto::start();
    let plant = Plant::write(broker.port, 0);
    let mut daemon = Daemon::start(&plant, "");
    let stream = stream(&broker, daemon.pid(), qos, LASTS);
    let reader = Reader::open(&plant.store()).expect("the daemon has made it");
    daemon.until("every reading is stored", COUNT_EVERY, || {
        let stored = reader.count_readings(SeriesKind::Reading);
        (stored.expect("the store can be read") == stream.sent as u64).then_some(())
    });
    stream.print("daemon");
    let budget = match qos {
        QoS::AtMostOnce => 5,
        _ => 10,
    };
    println!(
        " (budget {budget} %), resident {:.1} MB, at most {:.1} MB (budget 60 MB)",
        resident_megabytes(daemon.pid()),
        peak_megabytes(daemon.pid()),
    );
}

/// What a stream took.
struct Stream {
    sent: usize,
    /// Of the one that receives and of the broker, as shares of a core.
    processor: f64,
    broker: f64,
}

impl Stream {
    fn print(&self, who: &str) {
        print!(
            "  {who:<10} {:>5.1} % of a core, broker {:>5.1} %",
            self.processor * 100.0,
            self.broker * 100.0,
        );
    }
}

fn stream(broker: &Mosquitto, pid: u32, qos: QoS, lasts: Duration) -> Stream {
    let mut publisher = Publisher::connect(broker.port, "publisher", qos);
    let used = || (processor_seconds(pid), processor_seconds(broker.pid()));
    let ((processor, at_broker), begun) = (used(), Instant::now());
    let mut sent = 0;
    let message = |n: usize| {
        sent = n + 1;
        let (sump, channel) = (n % SUMPS, n / SUMPS % CHANNELS.len());
        (topic(sump, channel), payload(value(channel, n), now()))
    };
    publisher.pace(RATE as f64, || begun.elapsed() < lasts, message);
    let (took, after) = (begun.elapsed().as_secs_f64(), used());
    Stream {
        sent,
        processor: (after.0 - processor) / took,
        broker: (after.1 - at_broker) / took,
    }
}
