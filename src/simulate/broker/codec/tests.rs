use std::sync::Arc;

use proptest::prelude::*;

use super::*;

const MAX: usize = 4096;

fn message(topic: &str, payload: &[u8], qos: Qos) -> Message {
    Message {
        topic: topic.to_owned(),
        payload: payload.to_vec(),
        properties: Vec::new(),
        qos,
        retain: false,
    }
}

#[test]
fn connect_with_will_and_properties() {
    let mut body = b"\x00\x04MQTT\x05".to_vec();
    body.push(0b0010_1110); // will kept, at QoS 1; clean start
    body.extend_from_slice(&[0, 30]);
    body.extend_from_slice(&[8, 0x11, 0, 0, 0x0E, 0x10, 0x21, 0, 20]);
    body.extend_from_slice(b"\x00\x03pen");
    body.extend_from_slice(&[5, 0x18, 0, 0, 0, 7]);
    body.extend_from_slice(b"\x00\x04gone\x00\x03yes");
    let mut bytes = vec![0x10, body.len() as u8];
    bytes.extend_from_slice(&body);
    let (packet, len) = decode(&bytes, MAX).unwrap().unwrap();
    assert_eq!(len, bytes.len());
    let Incoming::Connect(connect) = packet else {
        panic!("{packet:?}");
    };
    let mut last_words = message("gone", b"yes", Qos::AtLeastOnce);
    last_words.retain = true;
    let expected = Connect {
        client_id: "pen".to_owned(),
        clean_start: true,
        keep_alive: 30,
        expiry: 3600,
        receive_maximum: 20,
        max_packet: 268_435_455,
        will: Some(Will {
            message: last_words,
            delay: 7,
        }),
    };
    assert_eq!(*connect, expected);
}

#[test]
fn older_versions_are_told_apart_from_noise() {
    let old = b"\x10\x0D\x00\x04MQTT\x04\x02\x00\x1E\x00\x01a";
    assert_eq!(decode(old, MAX), Err(DecodeError::OldVersion(4)));
    let unknown = b"\x10\x0D\x00\x04MQTT\x06\x02\x00\x1E\x00\x01a";
    assert_eq!(decode(unknown, MAX), Err(DecodeError::UnknownVersion(6)));
}

#[test]
fn what_is_not_served_has_its_own_reason_code() {
    let cases: [(&[u8], u8); 9] = [
        (b"\x34\x07\x00\x01t\x00\x01\x00x", 0x9B), // PUBLISH at QoS 2
        (b"\x36\x07\x00\x01t\x00\x01\x00x", 0x81), // PUBLISH at QoS 3
        (b"\x30\x07\x00\x01t\x03\x23\x00\x01", 0x94), // topic alias
        (b"\x30\x04\x00\x01#\x00", 0x90),          // wildcard in a name
        (b"\x82\x09\x00\x01\x02\x0B\x01\x00\x01t\x00", 0xA1), // subscription id
        (b"\x80\x07\x00\x01\x00\x00\x01t\x00", 0x81), // flags of SUBSCRIBE
        (b"\x82\x03\x00\x01\x00", 0x82),           // no filter
        (b"\x32\x06\x00\x01t\x00\x00\x00", 0x82),  // packet id 0
        (b"\x30\xFF\xFF\x7F", 0x95),               // too large
    ];
    for (bytes, code) in cases {
        let error = decode(bytes, MAX).unwrap_err();
        assert_eq!(error.reason() as u8, code, "{bytes:?}: {error}");
    }
}

#[test]
fn answers_stand_as_the_standard_has_them() {
    let mut bytes = Vec::new();
    for packet in [
        Outgoing::Connack(Connack::Refused(Reason::UnsupportedVersion)),
        Outgoing::Suback {
            packet_id: 0x0102,
            reasons: vec![Reason::GrantedQos1, Reason::FilterInvalid],
        },
        Outgoing::Disconnect(Reason::SessionTakenOver),
        Outgoing::Pingresp,
    ] {
        encode(&packet, &mut bytes);
    }
    let expected = [
        &[0x20, 3, 0, 0x84, 0][..],
        &[0x90, 5, 1, 2, 0, 0x01, 0x8F],
        &[0xE0, 2, 0x8E, 0],
        &[0xD0, 0],
    ]
    .concat();
    assert_eq!(bytes, expected);
}

proptest! {
    #[test]
    fn any_bytes_are_taken_calmly(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        if let Ok(Some((_, len))) = decode(&bytes, MAX) {
            prop_assert!(len <= bytes.len());
        }
    }

    #[test]
    fn any_body_is_taken_calmly(
        first in any::<u8>(),
        body in proptest::collection::vec(any::<u8>(), 0..120),
    ) {
        let mut bytes = vec![first, body.len() as u8];
        bytes.extend_from_slice(&body);
        if let Ok(found) = decode(&bytes, MAX) {
            prop_assert_eq!(found.map(|(_, len)| len), Some(bytes.len()));
        }
    }

    #[test]
    fn a_damaged_connect_is_taken_calmly(place in 0_usize..40, byte in any::<u8>()) {
        let mut bytes = b"\x10\x25\x00\x04MQTT\x05\x2E\x00\x1E\x08\x11\x00\x00\x0E\x10\x21\x00\x14\
            \x00\x03pen\x05\x18\x00\x00\x00\x07\x00\x02go\x00\x01y".to_vec();
        prop_assert!(matches!(decode(&bytes, MAX), Ok(Some(_))));
        let place = place % bytes.len();
        bytes[place] = byte;
        if let Ok(Some((_, len))) = decode(&bytes, MAX) {
            prop_assert!(len <= bytes.len());
        }
    }

    #[test]
    fn messages_pass_unaltered(
        topic in "[a-zµ/]{1,30}",
        payload in proptest::collection::vec(any::<u8>(), 0..300),
        key in "[a-z]{0,5}",
        packet_id in proptest::option::of(1_u16..),
        retain in any::<bool>(),
    ) {
        let mut properties = vec![0x26];
        properties.extend_from_slice(&(key.len() as u16).to_be_bytes());
        properties.extend_from_slice(key.as_bytes());
        properties.extend_from_slice(&[0, 0]);
        let qos = if packet_id.is_some() { Qos::AtLeastOnce } else { Qos::AtMostOnce };
        let sent = Message { topic, payload, properties, qos, retain };
        let delivery = Delivery {
            message: Arc::new(sent.clone()),
            packet_id,
            dup: false,
            retain,
        };
        let mut bytes = Vec::new();
        encode(&Outgoing::Publish(delivery), &mut bytes);
        prop_assert!(bytes.len() <= delivery_len(&sent));
        for cut in 0..bytes.len() {
            prop_assert_eq!(decode(&bytes[..cut], MAX), Ok(None));
        }
        let expected = Incoming::Publish { packet_id, message: sent };
        prop_assert_eq!(decode(&bytes, MAX), Ok(Some((expected, bytes.len()))));
    }
}
