//! Packets to bytes.

use super::packet::{Connack, Delivery, Message, Outgoing, Qos, Reason};
use super::property::id;
use super::wire::{put_text, put_var, var_len};

/// Appends `packet` to `to`.
pub(crate) fn encode(packet: &Outgoing, to: &mut Vec<u8>) {
    match packet {
        Outgoing::Connack(answer) => connack(answer, to),
        // MQTT 3.1.1, section 3.2: return code 1, unacceptable protocol version.
        Outgoing::ConnackOfOldVersion => to.extend_from_slice(&[0x20, 2, 0, 1]),
        Outgoing::Publish(delivery) => publish(delivery, to),
        Outgoing::Puback { packet_id, reason } => {
            let [high, low] = packet_id.to_be_bytes();
            to.extend_from_slice(&[0x40, 3, high, low, *reason as u8]);
        }
        Outgoing::Suback { packet_id, reasons } => answers(0x90, *packet_id, reasons, to),
        Outgoing::Unsuback { packet_id, reasons } => answers(0xB0, *packet_id, reasons, to),
        Outgoing::Pingresp => to.extend_from_slice(&[0xD0, 0]),
        // The empty property block could be left out (section 3.14.2.2.1), but
        // not every client library reads the packet without it.
        Outgoing::Disconnect(reason) => to.extend_from_slice(&[0xE0, 2, *reason as u8, 0]),
    }
}

/// How many bytes a delivery of `message` takes at most.
pub(crate) fn delivery_len(message: &Message) -> usize {
    let body = publish_body_len(message, Qos::AtLeastOnce);
    1 + var_len(body) + body
}

fn publish_body_len(message: &Message, qos: Qos) -> usize {
    let packet_id = if qos == Qos::AtLeastOnce { 2 } else { 0 };
    let properties = message.properties.len();
    2 + message.topic.len() + packet_id + var_len(properties) + properties + message.payload.len()
}

fn publish(delivery: &Delivery, to: &mut Vec<u8>) {
    let message = &*delivery.message;
    let (qos, qos_bits) = match delivery.packet_id {
        Some(_) => (Qos::AtLeastOnce, 0b0010),
        None => (Qos::AtMostOnce, 0),
    };
    to.push(0x30 | u8::from(delivery.dup) << 3 | qos_bits | u8::from(delivery.retain));
    put_var(to, publish_body_len(message, qos));
    put_text(to, &message.topic);
    if let Some(packet_id) = delivery.packet_id {
        to.extend_from_slice(&packet_id.to_be_bytes());
    }
    put_var(to, message.properties.len());
    to.extend_from_slice(&message.properties);
    to.extend_from_slice(&message.payload);
}

fn connack(answer: &Connack, to: &mut Vec<u8>) {
    let mut properties = Vec::new();
    let (session_present, reason) = match answer {
        Connack::Refused(reason) => (false, *reason),
        Connack::Accepted {
            session_present,
            assigned,
            receive_maximum,
            max_packet,
        } => {
            properties.extend_from_slice(&[id::MAXIMUM_QOS, 1]);
            properties.push(id::RECEIVE_MAXIMUM);
            properties.extend_from_slice(&receive_maximum.to_be_bytes());
            properties.push(id::MAXIMUM_PACKET_SIZE);
            properties.extend_from_slice(&max_packet.to_be_bytes());
            properties.extend_from_slice(&[id::SUBSCRIPTION_IDS_AVAILABLE, 0]);
            properties.extend_from_slice(&[id::SHARED_AVAILABLE, 0]);
            if let Some(assigned) = assigned {
                properties.push(id::ASSIGNED_CLIENT_ID);
                put_text(&mut properties, assigned);
            }
            (*session_present, Reason::Success)
        }
    };
    to.push(0x20);
    put_var(to, 2 + var_len(properties.len()) + properties.len());
    to.extend_from_slice(&[u8::from(session_present), reason as u8]);
    put_var(to, properties.len());
    to.extend_from_slice(&properties);
}

/// A SUBACK or UNSUBACK: one reason for each filter, no properties.
fn answers(first: u8, packet_id: u16, reasons: &[Reason], to: &mut Vec<u8>) {
    to.push(first);
    put_var(to, 3 + reasons.len());
    to.extend_from_slice(&packet_id.to_be_bytes());
    to.push(0);
    to.extend(reasons.iter().map(|reason| *reason as u8));
}
