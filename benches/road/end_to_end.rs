//! A flood through a real broker: the daemon, which keeps every reading,
//! against a subscriber that keeps nothing.
//!
//! Each run has a broker and, for the daemon, a store of its own. All messages
//! are encoded beforehand and then written as fast as the broker reads them;
//! it has no limits, so that it queues what its subscriber does not take yet
//! and loses nothing at either QoS. The clock runs from the first byte
//! published until the subscriber has received all messages, or the store
//! shows the last one; afterwards the stored readings are counted, and a run
//! that lost one is no run. Processor time is counted until the process has
//! come to rest. The two take turns, and medians are compared.

use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;
use sumpward::store::{Reader, SeriesKind};
use sumpward::units::{Span, Timestamp};

use crate::figures::median;
use crate::peers::{Daemon, Mosquitto};
use crate::plant::{CHANNELS, Plant, SUMPS, now, payload, topic, value};
use crate::process::{peak_megabytes, processor_seconds, processor_seconds_at_rest};
use crate::publisher::{Packets, Publisher};
use crate::subscriber::Subscriber;

/// Each of the two runs so often.
const ROUNDS: usize = 3;
/// Messages in one write to the socket.
const PACKETS_A_WRITE: usize = 500;
/// The store is asked for the last reading this often: about 20 µs each.
const LOOK_EVERY: Duration = Duration::from_millis(10);
/// Readings are spread over this time at most, less than what counts as late.
const SPREAD: Span = Span::from_secs(100);

/// What one run took.
struct Run {
    messages_per_second: f64,
    /// Of the one that receives and of the broker, s per million messages.
    processor: f64,
    broker: f64,
    peak_megabytes: f64,
}

/// Measures and prints.
pub fn measure(qos: QoS, messages: usize) {
    println!(
        "\nend to end at QoS {}, {messages} messages, {ROUNDS} runs each",
        qos as u8
    );
    let (mut throwing, mut keeping) = (Vec::new(), Vec::new());
    for _ in 0..ROUNDS {
        throwing.push(subscriber_run(qos, messages));
        print_run("subscriber", &throwing[throwing.len() - 1]);
        keeping.push(daemon_run(qos, messages));
        print_run("daemon", &keeping[keeping.len() - 1]);
    }
    let (throwing, keeping) = (medians(&throwing), medians(&keeping));
    print_run("subscriber, median", &throwing);
    print_run("daemon, median", &keeping);
    let at_least = match qos {
        QoS::AtMostOnce => 0.95,
        _ => 0.9,
    };
    println!(
        "  daemon / subscriber: messages {:.2} (budget at least {at_least}), processor {:.2} (budget at most 1.5)",
        keeping.messages_per_second / throwing.messages_per_second,
        keeping.processor / throwing.processor,
    );
}

fn print_run(who: &str, run: &Run) {
    println!(
        "  {who:<20} {:>8.0} messages/s, {:>6.2} s of processor a million, broker {:>5.2}, peak {:>4.0} MB",
        run.messages_per_second, run.processor, run.broker, run.peak_megabytes,
    );
}

fn medians(runs: &[Run]) -> Run {
    let of = |figure: fn(&Run) -> f64| median(runs.iter().map(figure));
    Run {
        messages_per_second: of(|run| run.messages_per_second),
        processor: of(|run| run.processor),
        broker: of(|run| run.broker),
        peak_megabytes: of(|run| run.peak_megabytes),
    }
}

fn subscriber_run(qos: QoS, messages: usize) -> Run {
    let broker = Mosquitto::start();
    let subscriber = Subscriber::start(broker.port, qos, messages);
    let flood = Flood::encode(&broker, qos, messages);
    run(&broker, subscriber.pid(), flood, |_| subscriber.done())
}

fn daemon_run(qos: QoS, messages: usize) -> Run {
    let broker = Mosquitto::start();
    let plant = Plant::write(broker.port, 0);
    let mut daemon = Daemon::start(&plant, "");
    let reader = Reader::open(&plant.store()).expect("the daemon has made it");
    let flood = Flood::encode(&broker, qos, messages);
    let run = run(&broker, daemon.pid(), flood, |last| {
        daemon.until("the last reading is stored", LOOK_EVERY, || {
            let mut found = 0;
            let looked = reader.readings_since(last.time, |_| found += 1);
            looked.expect("the store can be read");
            (found == last.count).then_some(())
        });
    });
    let stored = reader.count_readings(SeriesKind::Reading);
    assert_eq!(
        stored.expect("the store can be read"),
        messages as u64,
        "every reading is stored once"
    );
    run
}

fn run(broker: &Mosquitto, pid: u32, flood: Flood, done: impl FnOnce(Last)) -> Run {
    let (messages, last) = (flood.messages as f64, flood.last);
    let (processor, broker_before) = (processor_seconds(pid), processor_seconds(broker.pid()));
    let begun = Instant::now();
    let publishing = std::thread::spawn(move || flood.publish());
    done(last);
    let took = begun.elapsed().as_secs_f64();
    publishing.join().expect("the broker takes everything");
    let per_million = 1e6 / messages;
    Run {
        messages_per_second: messages / took,
        processor: (processor_seconds_at_rest(pid) - processor) * per_million,
        broker: (processor_seconds(broker.pid()) - broker_before) * per_million,
        peak_megabytes: peak_megabytes(pid),
    }
}

/// By what the end of a flood is known: its newest time, and how many readings
/// bear it.
#[derive(Clone, Copy)]
struct Last {
    time: Timestamp,
    count: usize,
}

/// Every channel of the plant in turn, again and again, as from a plant whose
/// gateways hand over what they gathered while the broker was away.
struct Flood {
    publisher: Publisher,
    writes: Vec<Packets>,
    messages: usize,
    last: Last,
}

impl Flood {
    fn encode(broker: &Mosquitto, qos: QoS, messages: usize) -> Self {
        let mut publisher = Publisher::connect(broker.port, "publisher", qos);
        let channels = SUMPS * CHANNELS.len();
        let rounds = messages.div_ceil(channels) as i64;
        let round = (SPREAD.millis() / rounds).clamp(1, 1000);
        let begun = now() - Span::from_millis(rounds * round);
        let time = |n: usize| begun + Span::from_millis(n as i64 * round / channels as i64);
        let mut writes = Vec::new();
        for first in (0..messages).step_by(PACKETS_A_WRITE) {
            let mut packets = Packets::default();
            for n in first..messages.min(first + PACKETS_A_WRITE) {
                let (sump, channel) = (n % SUMPS, n / SUMPS % CHANNELS.len());
                let payload = payload(value(channel, n), time(n));
                publisher.encode(&topic(sump, channel), &payload, &mut packets);
            }
            writes.push(packets);
        }
        let newest = time(messages - 1);
        let last = Last {
            time: newest,
            count: (0..messages)
                .rev()
                .take_while(|&n| time(n) == newest)
                .count(),
        };
        Flood {
            publisher,
            writes,
            messages,
            last,
        }
    }

    fn publish(mut self) {
        for packets in &self.writes {
            self.publisher.send(packets);
        }
        self.publisher.confirmed();
    }
}
