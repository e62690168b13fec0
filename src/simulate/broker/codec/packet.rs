//! The packets that pass between a client and the broker.

use std::sync::Arc;

/// Reason codes of MQTT 5 (section 2.4) that the broker gives.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
pub(crate) enum Reason {
    Success = 0x00,
    GrantedQos1 = 0x01,
    NoMatchingSubscribers = 0x10,
    NoSubscriptionExisted = 0x11,
    Malformed = 0x81,
    Protocol = 0x82,
    UnsupportedVersion = 0x84,
    ServerShuttingDown = 0x8B,
    BadAuthMethod = 0x8C,
    KeepAliveTimeout = 0x8D,
    SessionTakenOver = 0x8E,
    FilterInvalid = 0x8F,
    TopicInvalid = 0x90,
    TopicAliasInvalid = 0x94,
    PacketTooLarge = 0x95,
    QuotaExceeded = 0x97,
    QosNotSupported = 0x9B,
    SharedNotSupported = 0x9E,
    SubscriptionIdsNotSupported = 0xA1,
}

impl Reason {
    /// The answer to a subscription that is granted at `qos`.
    pub(crate) fn granted(qos: Qos) -> Reason {
        match qos {
            Qos::AtMostOnce => Reason::Success,
            Qos::AtLeastOnce => Reason::GrantedQos1,
        }
    }
}

/// How a message is delivered; QoS 2 is not served.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Qos {
    AtMostOnce,
    AtLeastOnce,
}

/// A message on its way through the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Message {
    pub(crate) topic: String,
    pub(crate) payload: Vec<u8>,
    /// Properties to be handed on, as they stood in the packet.
    pub(crate) properties: Vec<u8>,
    /// The quality of service that its sender asked for.
    pub(crate) qos: Qos,
    /// Whether its sender asked for it to be kept.
    pub(crate) retain: bool,
}

/// What clients send.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Incoming {
    Connect(Box<Connect>),
    /// With a packet identifier at QoS 1.
    Publish {
        packet_id: Option<u16>,
        message: Message,
    },
    Puback {
        packet_id: u16,
    },
    Subscribe {
        packet_id: u16,
        wishes: Vec<Wish>,
    },
    Unsubscribe {
        packet_id: u16,
        filters: Vec<String>,
    },
    Pingreq,
    Disconnect {
        /// The client wants its will published all the same.
        with_will: bool,
        /// A new session expiry interval in seconds.
        expiry: Option<u32>,
    },
}

/// A client introduces itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Connect {
    /// Empty when the broker is to choose one.
    pub(crate) client_id: String,
    pub(crate) clean_start: bool,
    /// In seconds; 0 for none.
    pub(crate) keep_alive: u16,
    /// How long the session outlives its connection, in seconds.
    pub(crate) expiry: u32,
    /// How many QoS 1 messages may be unacknowledged at a time.
    pub(crate) receive_maximum: u16,
    /// The largest packet that the client takes, in bytes.
    pub(crate) max_packet: usize,
    pub(crate) will: Option<Will>,
}

/// A message that the broker publishes once the client is gone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Will {
    pub(crate) message: Message,
    /// How long after the end of the connection, in seconds.
    pub(crate) delay: u32,
}

/// One line of a SUBSCRIBE.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Wish {
    /// Not checked yet.
    pub(crate) filter: String,
    /// QoS 2 is granted as QoS 1.
    pub(crate) qos: Qos,
    pub(crate) no_local: bool,
    pub(crate) retain_as_published: bool,
    pub(crate) retained: RetainedOnSubscribe,
}

/// When retained messages are sent to a new subscription (section 3.8.3.1).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum RetainedOnSubscribe {
    Always,
    IfNew,
    Never,
}

/// What the broker sends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Outgoing {
    Connack(Connack),
    /// A refusal in the words of MQTT 3.1.1, for a client that speaks no other.
    ConnackOfOldVersion,
    Publish(Delivery),
    Puback {
        packet_id: u16,
        reason: Reason,
    },
    Suback {
        packet_id: u16,
        reasons: Vec<Reason>,
    },
    Unsuback {
        packet_id: u16,
        reasons: Vec<Reason>,
    },
    Pingresp,
    Disconnect(Reason),
}

/// The answer to a CONNECT.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Connack {
    Refused(Reason),
    Accepted {
        session_present: bool,
        /// The client identifier, where the broker chose it.
        assigned: Option<String>,
        receive_maximum: u16,
        max_packet: u32,
    },
}

/// A message on its way to one client.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Delivery {
    pub(crate) message: Arc<Message>,
    /// At QoS 1.
    pub(crate) packet_id: Option<u16>,
    pub(crate) dup: bool,
    pub(crate) retain: bool,
}
