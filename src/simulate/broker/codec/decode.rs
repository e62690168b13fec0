//! Bytes to packets.

use super::DecodeError;
use super::packet::{Connect, Incoming, Message, Qos, RetainedOnSubscribe, Will, Wish};
use super::property::{self, Property, id};
use super::wire::{Reader, VAR_MAX, var};
use crate::simulate::broker::topics;

/// The first packet in `bytes` and how many bytes it took; `None` while it is
/// not all there.
///
/// # Errors
/// When the bytes are not a packet that a client may send, or one longer than
/// `max_packet` bytes. The connection is of no use after that.
pub(crate) fn decode(
    bytes: &[u8],
    max_packet: usize,
) -> Result<Option<(Incoming, usize)>, DecodeError> {
    let Some((&first, after)) = bytes.split_first() else {
        return Ok(None);
    };
    let Some((len, len_bytes)) = var(after)? else {
        return Ok(None);
    };
    let whole = 1 + len_bytes + len;
    if whole > max_packet {
        return Err(DecodeError::TooLarge {
            len: whole,
            max: max_packet,
        });
    }
    let Some(body) = bytes.get(1 + len_bytes..whole) else {
        return Ok(None);
    };
    let packet = decode_body(first >> 4, first & 0x0F, Reader::new(body))?;
    Ok(Some((packet, whole)))
}

fn decode_body(kind: u8, flags: u8, body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let wanted_flags = match kind {
        3 => flags,
        8 | 10 => 0b0010,
        _ => 0,
    };
    if flags != wanted_flags {
        return Err(DecodeError::Malformed("reserved flags of the packet type"));
    }
    match kind {
        1 => connect(body),
        3 => publish(flags, body),
        4 => puback(body),
        8 => subscribe(body),
        10 => unsubscribe(body),
        12 if body.is_empty() => Ok(Incoming::Pingreq),
        12 => Err(DecodeError::Malformed("a PINGREQ with a body")),
        14 => disconnect(body),
        5..=7 => Err(DecodeError::QosNotSupported),
        15 => Err(DecodeError::BadAuthMethod),
        _ => Err(DecodeError::Protocol("a packet that no client may send")),
    }
}

fn connect(mut body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let name = body.text()?;
    let version = body.byte()?;
    match (name, version) {
        ("MQTT", 5) => {}
        ("MQTT" | "MQIsdp", 3 | 4) => return Err(DecodeError::OldVersion(version)),
        _ => return Err(DecodeError::UnknownVersion(version)),
    }
    let flags = body.byte()?;
    if flags & 1 != 0 {
        return Err(DecodeError::Malformed("the reserved flag of a CONNECT"));
    }
    let mut connect = Connect {
        client_id: String::new(),
        clean_start: flags & 0b10 != 0,
        keep_alive: body.two()?,
        expiry: 0,
        receive_maximum: u16::MAX,
        max_packet: VAR_MAX,
        will: None,
    };
    for property in property::read(&mut body)? {
        apply_connect_property(&mut connect, property)?;
    }
    connect.client_id = body.text()?.to_owned();
    connect.will = will(flags, &mut body)?;
    if flags & 0b1000_0000 != 0 {
        body.text()?;
    }
    if flags & 0b0100_0000 != 0 {
        body.binary()?;
    }
    ended(body)?;
    Ok(Incoming::Connect(Box::new(connect)))
}

fn apply_connect_property(to: &mut Connect, property: Property<'_>) -> Result<(), DecodeError> {
    match (property.id, property.number) {
        (id::RECEIVE_MAXIMUM, 0) => return Err(DecodeError::Protocol("receive maximum 0")),
        (id::MAXIMUM_PACKET_SIZE, 0) => return Err(DecodeError::Protocol("packet size 0")),
        (id::SESSION_EXPIRY, seconds) => to.expiry = seconds,
        // A receive maximum is two bytes long on the wire.
        (id::RECEIVE_MAXIMUM, count) => to.receive_maximum = count as u16,
        (id::MAXIMUM_PACKET_SIZE, bytes) => to.max_packet = bytes as usize,
        (id::TOPIC_ALIAS_MAXIMUM | id::REQUEST_PROBLEM | id::REQUEST_RESPONSE | id::USER, _) => {}
        (id::AUTH_METHOD | id::AUTH_DATA, _) => return Err(DecodeError::BadAuthMethod),
        _ => return Err(DecodeError::Protocol("a property foreign to CONNECT")),
    }
    Ok(())
}

fn will(flags: u8, body: &mut Reader<'_>) -> Result<Option<Will>, DecodeError> {
    let (qos, retain) = (flags >> 3 & 0b11, flags & 0b10_0000 != 0);
    if flags & 0b100 == 0 {
        if qos != 0 || retain {
            return Err(DecodeError::Malformed("will flags without a will"));
        }
        return Ok(None);
    }
    let qos = served_qos(qos)?;
    let (mut delay, mut properties) = (0, Vec::new());
    for property in property::read(body)? {
        match property.id {
            id::WILL_DELAY => delay = property.number,
            _ => hand_on(property, &mut properties)?,
        }
    }
    let topic = topic(body.text()?)?;
    let payload = body.binary()?.to_vec();
    let message = Message {
        topic,
        payload,
        properties,
        qos,
        retain,
    };
    Ok(Some(Will { message, delay }))
}

fn publish(flags: u8, mut body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let qos = served_qos(flags >> 1 & 0b11)?;
    if qos == Qos::AtMostOnce && flags & 0b1000 != 0 {
        return Err(DecodeError::Malformed("a repeated message of QoS 0"));
    }
    let name = body.text()?;
    let packet_id = match qos {
        Qos::AtMostOnce => None,
        Qos::AtLeastOnce => Some(body.packet_id()?),
    };
    let mut properties = Vec::new();
    for property in property::read(&mut body)? {
        match property.id {
            id::TOPIC_ALIAS => return Err(DecodeError::TopicAliasInvalid),
            _ => hand_on(property, &mut properties)?,
        }
    }
    let message = Message {
        topic: topic(name)?,
        payload: body.rest().to_vec(),
        properties,
        qos,
        retain: flags & 1 != 0,
    };
    Ok(Incoming::Publish { packet_id, message })
}

/// Keeps a property that belongs to the message and goes to its receivers
/// unaltered (section 3.3.2.3).
fn hand_on(property: Property<'_>, to: &mut Vec<u8>) -> Result<(), DecodeError> {
    match property.id {
        id::PAYLOAD_FORMAT
        | id::MESSAGE_EXPIRY
        | id::CONTENT_TYPE
        | id::RESPONSE_TOPIC
        | id::CORRELATION_DATA
        | id::USER => {
            to.extend_from_slice(property.raw);
            Ok(())
        }
        _ => Err(DecodeError::Protocol("a property foreign to a message")),
    }
}

fn puback(mut body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let packet_id = body.packet_id()?;
    if !body.is_empty() {
        body.byte()?;
    }
    if !body.is_empty() {
        only_words(&property::read(&mut body)?)?;
    }
    ended(body)?;
    Ok(Incoming::Puback { packet_id })
}

fn subscribe(mut body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let packet_id = body.packet_id()?;
    for property in property::read(&mut body)? {
        match property.id {
            id::USER => {}
            id::SUBSCRIPTION_ID => return Err(DecodeError::SubscriptionIdsNotSupported),
            _ => return Err(DecodeError::Protocol("a property foreign to SUBSCRIBE")),
        }
    }
    let mut wishes = Vec::new();
    while !body.is_empty() {
        let filter = body.text()?.to_owned();
        wishes.push(wish(filter, body.byte()?)?);
    }
    if wishes.is_empty() {
        return Err(DecodeError::Protocol("a SUBSCRIBE without a filter"));
    }
    Ok(Incoming::Subscribe { packet_id, wishes })
}

fn wish(filter: String, options: u8) -> Result<Wish, DecodeError> {
    if options & 0b1100_0000 != 0 {
        return Err(DecodeError::Malformed("reserved options of a SUBSCRIBE"));
    }
    let qos = match options & 0b11 {
        0 => Qos::AtMostOnce,
        1 | 2 => Qos::AtLeastOnce,
        _ => return Err(DecodeError::Protocol("a subscription at QoS 3")),
    };
    let retained = match options >> 4 {
        0 => RetainedOnSubscribe::Always,
        1 => RetainedOnSubscribe::IfNew,
        2 => RetainedOnSubscribe::Never,
        _ => return Err(DecodeError::Protocol("retain handling 3")),
    };
    Ok(Wish {
        filter,
        qos,
        no_local: options & 0b100 != 0,
        retain_as_published: options & 0b1000 != 0,
        retained,
    })
}

fn unsubscribe(mut body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let packet_id = body.packet_id()?;
    if property::read(&mut body)?.iter().any(|p| p.id != id::USER) {
        return Err(DecodeError::Protocol("a property foreign to UNSUBSCRIBE"));
    }
    let mut filters = Vec::new();
    while !body.is_empty() {
        filters.push(body.text()?.to_owned());
    }
    if filters.is_empty() {
        return Err(DecodeError::Protocol("an UNSUBSCRIBE without a filter"));
    }
    Ok(Incoming::Unsubscribe { packet_id, filters })
}

fn disconnect(mut body: Reader<'_>) -> Result<Incoming, DecodeError> {
    let reason = if body.is_empty() { 0 } else { body.byte()? };
    let mut properties = Vec::new();
    if !body.is_empty() {
        properties = property::read(&mut body)?;
    }
    ended(body)?;
    let expiry = properties
        .iter()
        .find(|p| p.id == id::SESSION_EXPIRY)
        .map(|p| p.number);
    properties.retain(|p| p.id != id::SESSION_EXPIRY);
    only_words(&properties)?;
    Ok(Incoming::Disconnect {
        with_will: reason != 0,
        expiry,
    })
}

/// Refuses any property but those for people to read.
fn only_words(properties: &[Property<'_>]) -> Result<(), DecodeError> {
    match properties
        .iter()
        .all(|p| matches!(p.id, id::USER | id::REASON_STRING))
    {
        true => Ok(()),
        false => Err(DecodeError::Protocol("a property foreign to the packet")),
    }
}

fn served_qos(bits: u8) -> Result<Qos, DecodeError> {
    match bits {
        0 => Ok(Qos::AtMostOnce),
        1 => Ok(Qos::AtLeastOnce),
        2 => Err(DecodeError::QosNotSupported),
        _ => Err(DecodeError::Malformed("QoS 3")),
    }
}

fn topic(name: &str) -> Result<String, DecodeError> {
    match topics::is_name(name) {
        true => Ok(name.to_owned()),
        false => Err(DecodeError::TopicInvalid),
    }
}

fn ended(body: Reader<'_>) -> Result<(), DecodeError> {
    match body.is_empty() {
        true => Ok(()),
        false => Err(DecodeError::Malformed("bytes after the last field")),
    }
}
