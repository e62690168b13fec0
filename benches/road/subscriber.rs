//! The measure of all things: a process that subscribes with the same client
//! library, the same options and the same topic filters as the daemon, and
//! throws every message away; at QoS 1 the library acknowledges by itself.

use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::sync::mpsc::{self, Receiver};
use std::time::Duration;

use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{ConnectProperties, Filter, Packet};
use rumqttc::v5::{AsyncClient, Event, EventLoop, MqttOptions};

use crate::peers::{PATIENCE, Running};
use crate::plant::{CHANNELS, SUMPS, topic};

/// Like the daemon's: topic filters in one SUBSCRIBE packet …
const FILTERS_A_PACKET: usize = 100;
/// … messages under way …
const RECEIVE_MAXIMUM: u16 = 4096;
/// … and requests to the client.
const REQUESTS: usize = RECEIVE_MAXIMUM as usize + 128;

const READY: &str = "ready";
const DONE: &str = "done";

/// What the process started with `--subscriber` does: says when it has
/// subscribed and when `messages` have come, and goes on until it is killed.
pub fn run(port: u16, qos: QoS, messages: usize) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime can be made");
    runtime.block_on(async {
        let (client, mut events) = AsyncClient::new(options(port), REQUESTS);
        subscribe(&client, &mut events, qos).await;
        println!("{READY}");
        let mut received = 0;
        loop {
            if let Packet::Publish(_) = next(&mut events).await {
                received += 1;
                if received == messages {
                    println!("{DONE}");
                }
            }
        }
    });
}

fn options(port: u16) -> MqttOptions {
    let mut options = MqttOptions::new("subscriber", "127.0.0.1", port);
    options.set_keep_alive(Duration::from_secs(30));
    options.set_clean_start(false);
    options.set_request_channel_capacity(REQUESTS);
    let mut properties = ConnectProperties::new();
    properties.session_expiry_interval = Some(7 * 24 * 3600);
    properties.receive_maximum = Some(RECEIVE_MAXIMUM);
    properties.max_packet_size = Some(256 * 1024);
    options.set_connect_properties(properties);
    let mut network = options.network_options();
    network.set_tcp_nodelay(true);
    options.set_network_options(network);
    options
}

async fn subscribe(client: &AsyncClient, events: &mut EventLoop, qos: QoS) {
    let filters: Vec<Filter> = (0..SUMPS)
        .flat_map(|sump| (0..CHANNELS.len()).map(move |channel| topic(sump, channel)))
        .map(|topic| Filter::new(topic, qos))
        .collect();
    for filters in filters.chunks(FILTERS_A_PACKET) {
        client
            .try_subscribe_many(filters.to_vec())
            .expect("there is room for all requests");
    }
    let mut granted = 0;
    while granted < filters.len() {
        if let Packet::SubAck(answer) = next(events).await {
            granted += answer.return_codes.len();
        }
    }
}

async fn next(events: &mut EventLoop) -> Packet {
    loop {
        let event = events.poll().await.expect("the broker runs on");
        if let Event::Incoming(packet) = event {
            return packet;
        }
    }
}

/// That process, seen from the bench.
pub struct Subscriber {
    process: Running,
    says: Receiver<String>,
}

impl Subscriber {
    /// Started and subscribed.
    pub fn start(port: u16, qos: QoS, messages: usize) -> Self {
        let myself = std::env::current_exe().expect("Linux tells");
        let mut child = Command::new(myself)
            .arg("--subscriber")
            .args([
                port.to_string(),
                (qos as u8).to_string(),
                messages.to_string(),
            ])
            .stdout(Stdio::piped())
            .spawn()
            .expect("the bench can start itself");
        let lines = BufReader::new(child.stdout.take().expect("it is piped")).lines();
        let (said, says) = mpsc::channel();
        std::thread::spawn(move || {
            lines
                .map_while(Result::ok)
                .try_for_each(|line| said.send(line))
        });
        let subscriber = Subscriber {
            process: Running::new(child),
            says,
        };
        subscriber.wait_for(READY);
        subscriber
    }

    /// Its process id.
    pub fn pid(&self) -> u32 {
        self.process.pid()
    }

    /// Waits until all messages have come.
    pub fn done(&self) {
        self.wait_for(DONE);
    }

    fn wait_for(&self, word: &str) {
        let said = self.says.recv_timeout(PATIENCE);
        assert_eq!(said.as_deref(), Ok(word), "some messages never came");
    }
}
