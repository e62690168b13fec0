//! A publisher that knows exactly which of its messages the broker confirmed.

use std::collections::HashMap;
use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// Messages on their way without a confirmation.
const WINDOW: usize = 100;

/// Publishes at QoS 1 over MQTT 3.1.1, spoken here by hand so that no library
/// stands between a message and its confirmation. After an error make another.
pub struct Publisher {
    socket: TcpStream,
    next: u16,
    waiting: HashMap<u16, u64>,
    received: Vec<u8>,
}

impl Publisher {
    /// Connected, in a session of its own that begins anew.
    pub fn connect(port: u16, id: &str) -> io::Result<Self> {
        let mut socket = TcpStream::connect(("127.0.0.1", port))?;
        socket.set_nodelay(true)?;
        socket.set_read_timeout(Some(Duration::from_secs(10)))?;
        let mut body = b"\x00\x04MQTT\x04\x02\x00\x3c".to_vec();
        put_text(&mut body, id);
        socket.write_all(&packet(0x10, &body))?;
        let mut answer = [0; 4];
        socket.read_exact(&mut answer)?;
        if answer != [0x20, 2, 0, 0] {
            return Err(io::Error::other(format!("CONNACK {answer:?}")));
        }
        Ok(Publisher {
            socket,
            next: 0,
            waiting: HashMap::new(),
            received: Vec::new(),
        })
    }

    /// Sends message `n`; gives those that were confirmed meanwhile.
    pub fn publish(&mut self, n: u64, topic: &str, payload: &str) -> io::Result<Vec<u64>> {
        self.next = self.next % u16::MAX + 1;
        let mut body = Vec::new();
        put_text(&mut body, topic);
        body.extend(self.next.to_be_bytes());
        body.extend(payload.as_bytes());
        self.waiting.insert(self.next, n);
        self.socket.write_all(&packet(0x32, &body))?;
        self.confirmations(WINDOW)
    }

    /// Waits until at most so many messages wait for their confirmation; gives
    /// those that were confirmed.
    pub fn confirmations(&mut self, most: usize) -> io::Result<Vec<u64>> {
        let mut confirmed = Vec::new();
        while self.waiting.len() > most {
            let mut bytes = [0; 4096];
            let count = self.socket.read(&mut bytes)?;
            if count == 0 {
                return Err(io::ErrorKind::UnexpectedEof.into());
            }
            self.received.extend(&bytes[..count]);
            let whole = self.received.len() / 4 * 4;
            for answer in self.received.drain(..whole).collect::<Vec<_>>().chunks(4) {
                assert_eq!(answer[..2], [0x40, 2], "nothing but PUBACK comes");
                let packet = u16::from_be_bytes([answer[2], answer[3]]);
                confirmed.extend(self.waiting.remove(&packet));
            }
        }
        Ok(confirmed)
    }
}

fn put_text(to: &mut Vec<u8>, text: &str) {
    to.extend((text.len() as u16).to_be_bytes());
    to.extend(text.as_bytes());
}

fn packet(kind: u8, body: &[u8]) -> Vec<u8> {
    let mut packet = vec![kind];
    let mut left = body.len();
    loop {
        let digit = (left % 128) as u8;
        left /= 128;
        packet.push(if left > 0 { digit | 0x80 } else { digit });
        if left == 0 {
            break;
        }
    }
    packet.extend(body);
    packet
}
