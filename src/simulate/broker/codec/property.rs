//! The properties of a packet (MQTT 5, section 2.2.2).

use super::DecodeError;
use super::wire::Reader;

/// Identifiers of the properties that the broker reads or writes (table 2-4).
pub(super) mod id {
    pub(crate) const PAYLOAD_FORMAT: u8 = 0x01;
    pub(crate) const MESSAGE_EXPIRY: u8 = 0x02;
    pub(crate) const CONTENT_TYPE: u8 = 0x03;
    pub(crate) const RESPONSE_TOPIC: u8 = 0x08;
    pub(crate) const CORRELATION_DATA: u8 = 0x09;
    pub(crate) const SUBSCRIPTION_ID: u8 = 0x0B;
    pub(crate) const SESSION_EXPIRY: u8 = 0x11;
    pub(crate) const ASSIGNED_CLIENT_ID: u8 = 0x12;
    pub(crate) const AUTH_METHOD: u8 = 0x15;
    pub(crate) const AUTH_DATA: u8 = 0x16;
    pub(crate) const REQUEST_PROBLEM: u8 = 0x17;
    pub(crate) const WILL_DELAY: u8 = 0x18;
    pub(crate) const REQUEST_RESPONSE: u8 = 0x19;
    pub(crate) const REASON_STRING: u8 = 0x1F;
    pub(crate) const RECEIVE_MAXIMUM: u8 = 0x21;
    pub(crate) const TOPIC_ALIAS_MAXIMUM: u8 = 0x22;
    pub(crate) const TOPIC_ALIAS: u8 = 0x23;
    pub(crate) const MAXIMUM_QOS: u8 = 0x24;
    pub(crate) const USER: u8 = 0x26;
    pub(crate) const MAXIMUM_PACKET_SIZE: u8 = 0x27;
    pub(crate) const SUBSCRIPTION_IDS_AVAILABLE: u8 = 0x29;
    pub(crate) const SHARED_AVAILABLE: u8 = 0x2A;
}

/// One property: what it is called, its number where it has one, and its bytes
/// with the identifier, to be handed on unaltered.
#[derive(Debug, Clone, Copy)]
pub(super) struct Property<'a> {
    pub(super) id: u8,
    /// 0 where the property is text or binary data.
    pub(super) number: u32,
    pub(super) raw: &'a [u8],
}

/// Takes the property block at the front of `from`. Only a user property may
/// be there more than once.
pub(super) fn read<'a>(from: &mut Reader<'a>) -> Result<Vec<Property<'a>>, DecodeError> {
    let len = from.var()?;
    let mut block = Reader::new(from.take(len)?);
    let mut found = Vec::new();
    let mut seen = 0_u64;
    while !block.is_empty() {
        let property = read_one(&mut block)?;
        let bit = 1_u64 << property.id;
        if property.id != id::USER && seen & bit != 0 {
            return Err(DecodeError::Protocol("a property given twice"));
        }
        seen |= bit;
        found.push(property);
    }
    Ok(found)
}

fn read_one<'a>(block: &mut Reader<'a>) -> Result<Property<'a>, DecodeError> {
    let before = block.rest();
    let id = block.byte()?;
    let number = match id {
        id::PAYLOAD_FORMAT | id::REQUEST_PROBLEM | id::REQUEST_RESPONSE => flag(block.byte()?)?,
        id::RECEIVE_MAXIMUM | id::TOPIC_ALIAS_MAXIMUM | id::TOPIC_ALIAS => u32::from(block.two()?),
        id::MESSAGE_EXPIRY | id::SESSION_EXPIRY | id::WILL_DELAY | id::MAXIMUM_PACKET_SIZE => {
            block.four()?
        }
        id::SUBSCRIPTION_ID => block.var()? as u32,
        id::CONTENT_TYPE | id::RESPONSE_TOPIC | id::AUTH_METHOD | id::REASON_STRING => {
            block.text()?;
            0
        }
        id::CORRELATION_DATA | id::AUTH_DATA => {
            block.binary()?;
            0
        }
        id::USER => {
            block.text()?;
            block.text()?;
            0
        }
        _ => return Err(DecodeError::Malformed("a property that no client may send")),
    };
    let raw = &before[..before.len() - block.rest().len()];
    Ok(Property { id, number, raw })
}

fn flag(byte: u8) -> Result<u32, DecodeError> {
    match byte {
        0 | 1 => Ok(u32::from(byte)),
        _ => Err(DecodeError::Protocol("a flag that is neither 0 nor 1")),
    }
}
