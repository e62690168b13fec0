//! A peer that speaks just enough MQTT to treat a client as no broker at hand
//! can be made to.

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};

/// What happens to a SUBSCRIBE.
#[derive(Debug, Clone, Copy)]
pub enum Treatment {
    /// Every filter is refused with this code.
    Refused(u8),
    /// It is never answered.
    Ignored,
    /// It is granted; then the session is taken over by somebody else (MQTT
    /// 5.0, reason code 0x8E).
    TakenOver,
}

/// Listens on a port of its own and treats every connection so.
pub fn scripted(treatment: Treatment) -> u16 {
    let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        for stream in listener.incoming().map_while(Result::ok) {
            std::thread::spawn(move || serve(stream, treatment));
        }
    });
    port
}

fn serve(mut stream: TcpStream, treatment: Treatment) -> Option<()> {
    let mut is_5 = false;
    loop {
        let (kind, body) = packet(&mut stream)?;
        let answer = match kind {
            1 => {
                // After the name of the protocol stands its level.
                is_5 = body[6] == 5;
                let properties: &[u8] = if is_5 { &[0] } else { &[] };
                framed(0x20, &[&[0, 0], properties].concat())
            }
            3 => framed(0x40, &identifier_of_publish(&body)),
            8 => subscribed(&body, is_5, treatment),
            12 => framed(0xD0, &[]),
            _ => return None,
        };
        stream.write_all(&answer).ok()?;
    }
}

fn subscribed(body: &[u8], is_5: bool, treatment: Treatment) -> Vec<u8> {
    let code = match treatment {
        Treatment::Refused(code) => code,
        Treatment::Ignored => return Vec::new(),
        Treatment::TakenOver => 1,
    };
    let properties = usize::from(is_5);
    let mut rest = &body[2 + properties..];
    let mut answer = body[..2].to_vec();
    answer.extend(std::iter::repeat_n(0, properties));
    while rest.len() > 2 {
        let length = usize::from(u16::from_be_bytes([rest[0], rest[1]]));
        rest = &rest[2 + length + 1..];
        answer.push(code);
    }
    let mut bytes = framed(0x90, &answer);
    if matches!(treatment, Treatment::TakenOver) {
        bytes.extend(framed(0xE0, &[0x8E, 0]));
    }
    bytes
}

fn identifier_of_publish(body: &[u8]) -> [u8; 2] {
    let topic = usize::from(u16::from_be_bytes([body[0], body[1]]));
    [body[2 + topic], body[3 + topic]]
}

/// A packet with a body of less than 128 bytes.
fn framed(first: u8, body: &[u8]) -> Vec<u8> {
    let length = u8::try_from(body.len()).unwrap();
    assert!(length < 128);
    [&[first, length], body].concat()
}

/// The type and the body of the next packet; nothing when the peer is gone.
fn packet(stream: &mut TcpStream) -> Option<(u8, Vec<u8>)> {
    let mut byte = [0];
    stream.read_exact(&mut byte).ok()?;
    let kind = byte[0] >> 4;
    let (mut length, mut shift) = (0, 0);
    loop {
        stream.read_exact(&mut byte).ok()?;
        length |= usize::from(byte[0] & 0x7F) << shift;
        shift += 7;
        if byte[0] & 0x80 == 0 {
            break;
        }
    }
    let mut body = vec![0; length];
    stream.read_exact(&mut body).ok()?;
    Some((kind, body))
}
