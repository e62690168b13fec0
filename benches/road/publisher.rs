//! A publisher that takes next to no processor time: it writes packets of
//! MQTT 3.1.1 that were encoded beforehand straight into the socket, so that
//! the broker and whoever listens have the machine to themselves.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;

/// QoS 1 messages that the broker may have left unconfirmed.
const WINDOW: usize = 2000;
/// Bytes of a PUBACK (MQTT 3.1.1, section 3.4).
const PUBACK_BYTES: usize = 4;
/// A paced stream is written in bursts, one in this time.
const BURST_EVERY: Duration = Duration::from_millis(1);

/// Encoded messages and how many they are.
#[derive(Default)]
pub struct Packets {
    bytes: Vec<u8>,
    count: usize,
}

impl Packets {
    /// Takes everything out and keeps the memory.
    fn clear(&mut self) {
        self.bytes.clear();
        self.count = 0;
    }
}

/// A connection that publishes at one QoS.
pub struct Publisher {
    stream: TcpStream,
    qos: QoS,
    next_packet: u16,
    unconfirmed: usize,
}

impl Publisher {
    /// Connected under the name `id`.
    pub fn connect(port: u16, id: &str, qos: QoS) -> Self {
        let mut stream = TcpStream::connect(("127.0.0.1", port)).expect("the broker listens");
        stream.set_nodelay(true).expect("TCP has the option");
        // CONNECT, section 3.1: protocol 4, clean session, no keep-alive.
        let mut packet = vec![0x10, 12 + id.len() as u8];
        packet.extend(b"\x00\x04MQTT\x04\x02\x00\x00\x00");
        packet.push(id.len() as u8);
        packet.extend(id.as_bytes());
        stream.write_all(&packet).expect("the broker reads");
        let mut answer = [0; 4];
        stream.read_exact(&mut answer).expect("the broker answers");
        assert_eq!(answer, [0x20, 2, 0, 0], "the broker accepts");
        Publisher {
            stream,
            qos,
            next_packet: 1,
            unconfirmed: 0,
        }
    }

    /// Encodes one more message (PUBLISH, section 3.3).
    pub fn encode(&mut self, topic: &str, payload: &str, into: &mut Packets) {
        let identified = self.qos == QoS::AtLeastOnce;
        let length = 2 + topic.len() + if identified { 2 } else { 0 } + payload.len();
        let bytes = &mut into.bytes;
        bytes.push(if identified { 0x32 } else { 0x30 });
        remaining_length(length, bytes);
        bytes.extend((topic.len() as u16).to_be_bytes());
        bytes.extend(topic.as_bytes());
        if identified {
            bytes.extend(self.next_packet.to_be_bytes());
            self.next_packet = self.next_packet.checked_add(1).unwrap_or(1);
        }
        bytes.extend(payload.as_bytes());
        into.count += 1;
    }

    /// Sends messages; waits while the broker holds back.
    pub fn send(&mut self, packets: &Packets) {
        self.stream
            .write_all(&packets.bytes)
            .expect("the broker reads");
        if self.qos == QoS::AtLeastOnce {
            self.unconfirmed += packets.count;
            self.take_confirmations(self.unconfirmed.saturating_sub(WINDOW));
        }
    }

    /// Waits until the broker has confirmed everything.
    pub fn confirmed(&mut self) {
        self.take_confirmations(self.unconfirmed);
    }

    fn take_confirmations(&mut self, count: usize) {
        let mut answers = vec![0; PUBACK_BYTES * count];
        self.stream
            .read_exact(&mut answers)
            .expect("the broker confirms");
        self.unconfirmed -= count;
    }

    /// Sends `rate` messages a second, evenly, as long as `go_on` says so;
    /// `message` gives topic and payload of the n-th.
    pub fn pace(
        &mut self,
        rate: f64,
        mut go_on: impl FnMut() -> bool,
        mut message: impl FnMut(usize) -> (String, String),
    ) {
        let begun = Instant::now();
        let (mut sent, mut burst, mut packets) = (0, 0, Packets::default());
        while go_on() {
            let due = (begun.elapsed().as_secs_f64() * rate) as usize;
            packets.clear();
            for n in sent..due {
                let (topic, payload) = message(n);
                self.encode(&topic, &payload, &mut packets);
            }
            sent = due;
            self.send(&packets);
            burst += 1;
            let next = begun + BURST_EVERY * burst;
            std::thread::sleep(next.saturating_duration_since(Instant::now()));
        }
        self.confirmed();
    }
}

/// The variable length of section 2.2.3.
fn remaining_length(mut length: usize, bytes: &mut Vec<u8>) {
    while length >= 128 {
        bytes.push(length as u8 | 128);
        length >>= 7;
    }
    bytes.push(length as u8);
}
