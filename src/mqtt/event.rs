//! What happens on a connection, whatever version is spoken.

use bytes::Bytes;

/// Whether the broker still knew us.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Session {
    /// It did: subscriptions stand, and what came meanwhile is delivered.
    TakenUp,
    /// It did not: nothing of the old session will be delivered any more.
    New,
}

/// Something that happened on a connection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Event {
    /// The broker let us in.
    Connected {
        /// Whether it still knew us.
        session: Session,
        /// The largest packet that it takes, in bytes.
        largest: usize,
    },
    /// A message came.
    Message(Message),
    /// A message came that is larger than allowed. With MQTT 5 the broker
    /// skips it, and this does not happen.
    Oversized(Message),
    /// A SUBSCRIBE left; they leave in the order in which they were handed
    /// over.
    Subscribing {
        /// Its packet identifier.
        packet: u16,
    },
    /// A SUBSCRIBE was answered.
    Subscribed {
        /// Its packet identifier.
        packet: u16,
        /// For each of its filters, in its order, why it was refused; nothing
        /// where it was granted.
        refusals: Vec<Option<&'static str>>,
    },
    /// A message of ours left; they leave in the order in which they were
    /// handed over.
    Publishing {
        /// Its packet identifier.
        packet: u16,
    },
    /// The broker answered for a message of ours.
    Published {
        /// Its packet identifier.
        packet: u16,
        /// Why it was refused; nothing where it was taken.
        refusal: Option<String>,
    },
    /// Our DISCONNECT left.
    Disconnecting,
    /// Pings and the like.
    Other,
}

/// A message from the broker. Topic and payload are parts of the bytes that
/// came over the wire.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// The topic, which should be UTF-8.
    pub topic: Bytes,
    /// The payload.
    pub payload: Bytes,
    /// What it is to be acknowledged by, at QoS 1.
    pub packet: Option<u16>,
    /// The broker delivers it again.
    pub redelivered: bool,
    /// It lay at the broker when we subscribed.
    pub retained: bool,
    /// How it wants to be answered, where it says so.
    pub reply: Option<Box<Reply>>,
}

/// How a message wants to be answered (MQTT 5.0, section 4.10).
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    /// On this topic.
    pub topic: Option<String>,
    /// With these data, by which the writer knows what is answered.
    pub correlation: Option<Bytes>,
}
