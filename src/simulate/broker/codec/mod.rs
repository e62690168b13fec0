//! MQTT 5 packets to and from bytes; no sockets.
//!
//! Promises: any bytes at all give a packet, a wish for more bytes, or an
//! error with its reason code, and never a panic; memory is bounded by the
//! packet size that the caller allows. Refuses what the broker does not serve
//! (QoS 2, topic aliases, subscription identifiers, extended authentication,
//! older versions) here already, so that nothing behind it has to.

mod decode;
mod encode;
mod packet;
mod property;
mod wire;

pub(crate) use decode::decode;
pub(crate) use encode::{delivery_len, encode};
pub(crate) use packet::{
    Connack, Connect, Delivery, Incoming, Message, Outgoing, Qos, Reason, RetainedOnSubscribe,
    Will, Wish,
};

/// Why bytes are not a packet that the broker takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub(crate) enum DecodeError {
    #[error("malformed packet: {0}")]
    Malformed(&'static str),
    #[error("against the protocol: {0}")]
    Protocol(&'static str),
    #[error("packet of {len} bytes; at most {max} are taken")]
    TooLarge { len: usize, max: usize },
    #[error("MQTT of level {0}; only MQTT 5 is spoken here")]
    OldVersion(u8),
    #[error("unknown protocol of level {0}; only MQTT 5 is spoken here")]
    UnknownVersion(u8),
    #[error("QoS 2 is not served; use QoS 0 or 1")]
    QosNotSupported,
    #[error("a topic name must not be empty nor hold + or #")]
    TopicInvalid,
    #[error("topic aliases are not served")]
    TopicAliasInvalid,
    #[error("subscription identifiers are not served")]
    SubscriptionIdsNotSupported,
    #[error("extended authentication is not served")]
    BadAuthMethod,
}

impl DecodeError {
    /// What to tell the client.
    pub(crate) fn reason(self) -> Reason {
        match self {
            DecodeError::Malformed(_) => Reason::Malformed,
            DecodeError::Protocol(_) => Reason::Protocol,
            DecodeError::TooLarge { .. } => Reason::PacketTooLarge,
            DecodeError::OldVersion(_) | DecodeError::UnknownVersion(_) => {
                Reason::UnsupportedVersion
            }
            DecodeError::QosNotSupported => Reason::QosNotSupported,
            DecodeError::TopicInvalid => Reason::TopicInvalid,
            DecodeError::TopicAliasInvalid => Reason::TopicAliasInvalid,
            DecodeError::SubscriptionIdsNotSupported => Reason::SubscriptionIdsNotSupported,
            DecodeError::BadAuthMethod => Reason::BadAuthMethod,
        }
    }
}

#[cfg(test)]
mod tests;
