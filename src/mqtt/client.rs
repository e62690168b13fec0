//! One client for both versions of the protocol.

use std::time::Duration;

use crate::settings::{BrokerSettings, Protocol};

use super::down::{Cause, Down};
use super::event::Event;
use super::{v5, v311};

/// Time for TCP, TLS and CONNACK together.
pub(super) const CONNECT_SECS: u64 = 5;
/// Room for an acknowledgement of every packet identifier there is, and for
/// the rest: acknowledging must never wait for polling, which may wait for the
/// engine, which may wait for the store, which waits for acknowledging. The
/// receive maximum is no bound here: mosquitto 2.0.11 was measured to send 342
/// unacknowledged messages where 100 are allowed.
pub(super) const ROOM: usize = u16::MAX as usize + 128;
/// Packet identifiers of our own that are used in turn. The library keeps room
/// for a message a number, some megabytes if it were for all.
pub(super) const OUTGOING: u16 = 1000;

/// How we present ourselves to the broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Introduction {
    /// The client id.
    pub client_id: String,
    /// What becomes of the session.
    pub session: SessionWish,
    /// Topic and payload that the broker publishes, retained, when we are gone
    /// without a word.
    pub will: Option<(String, String)>,
}

/// What becomes of the session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SessionWish {
    /// The broker keeps it while we are away.
    Kept,
    /// Each connection begins a new one.
    Fresh,
}

/// A message of ours.
#[derive(Debug, Clone)]
pub struct Leaving<'a> {
    /// Its topic.
    pub topic: &'a str,
    /// What it says.
    pub payload: String,
    /// Whether the broker keeps it.
    pub retain: bool,
    /// What its receiver knows it by, where it is an answer; 3.1.1 has no
    /// place for it.
    pub correlation: Option<&'a [u8]>,
}

/// The client could not take something more; try again later, or give the
/// connection up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the client takes nothing more: its queue is full or its connection is gone")]
pub struct NoRoom;

/// Hands things over to a connection. Copies hand over to the same one.
#[derive(Debug, Clone)]
pub struct Client(ByVersion<rumqttc::v5::AsyncClient, rumqttc::AsyncClient>);

/// What happens on a connection.
pub struct Events {
    by_version: ByVersion<rumqttc::v5::EventLoop, rumqttc::EventLoop>,
    /// Largest packet taken, in bytes; with MQTT 5 the broker sees to it.
    largest: usize,
    /// What is told of a broker that closes before it lets us in; nothing
    /// once it has.
    kept_out: Option<Down>,
}

#[derive(Debug, Clone)]
enum ByVersion<A, B> {
    V5(A),
    V311(B),
}

/// A client for one connection, which is made by the first
/// [`Events::next`]. Once that has failed the client is used up: a new one
/// leaves nothing of the old connection behind.
///
/// # Errors
/// When a file with certificate or key cannot be used.
pub fn connect(
    broker: &BrokerSettings,
    introduction: &Introduction,
) -> Result<(Client, Events), Down> {
    let (client, by_version) = match broker.protocol {
        Protocol::V5 { .. } => {
            let options = v5::options(broker, introduction)?;
            let (client, events) = rumqttc::v5::AsyncClient::new(options, ROOM);
            (ByVersion::V5(client), ByVersion::V5(events))
        }
        Protocol::V311 => {
            let options = v311::options(broker, introduction)?;
            let (client, mut events) = rumqttc::AsyncClient::new(options, ROOM);
            events.set_network_options(network());
            (ByVersion::V311(client), ByVersion::V311(events))
        }
    };
    let events = Events {
        by_version,
        largest: broker.max_packet as usize,
        kept_out: Some(Down::kept_out(broker)),
    };
    Ok((Client(client), events))
}

/// Small messages leave at once.
pub(super) fn network() -> rumqttc::NetworkOptions {
    let mut network = rumqttc::NetworkOptions::new();
    network.set_tcp_nodelay(true);
    network.set_connection_timeout(CONNECT_SECS);
    network
}

pub(super) fn keep_alive(broker: &BrokerSettings) -> Duration {
    Duration::from_millis(broker.keep_alive.millis() as u64)
}

impl Client {
    /// Subscribes at QoS 1, with one packet for all the filters.
    ///
    /// # Errors
    /// When there is no room for it.
    pub fn subscribe(&self, filters: &[String]) -> Result<(), NoRoom> {
        match &self.0 {
            ByVersion::V5(client) => client
                .try_subscribe_many(v5::filters(filters))
                .map_err(|_| NoRoom),
            ByVersion::V311(client) => client
                .try_subscribe_many(v311::filters(filters))
                .map_err(|_| NoRoom),
        }
    }

    /// Acknowledges the message that bears this packet identifier.
    ///
    /// # Errors
    /// When there is no room for it.
    pub fn acknowledge(&self, packet: u16) -> Result<(), NoRoom> {
        match &self.0 {
            ByVersion::V5(client) => client.try_ack(&v5::bearing(packet)).map_err(|_| NoRoom),
            ByVersion::V311(client) => client.try_ack(&v311::bearing(packet)).map_err(|_| NoRoom),
        }
    }

    /// Publishes at QoS 1.
    ///
    /// # Errors
    /// When there is no room for it.
    pub fn publish(&self, leaving: Leaving<'_>) -> Result<(), NoRoom> {
        let Leaving {
            topic,
            payload,
            retain,
            correlation,
        } = leaving;
        match &self.0 {
            ByVersion::V5(client) => client
                .try_publish_with_properties(
                    topic,
                    rumqttc::v5::mqttbytes::QoS::AtLeastOnce,
                    retain,
                    payload,
                    v5::correlated(correlation),
                )
                .map_err(|_| NoRoom),
            ByVersion::V311(client) => client
                .try_publish(topic, rumqttc::QoS::AtLeastOnce, retain, payload)
                .map_err(|_| NoRoom),
        }
    }

    /// Publishes at QoS 0, not retained: a request that is better lost than late.
    ///
    /// # Errors
    /// When there is no room for it.
    pub fn command(&self, topic: &str, payload: Vec<u8>) -> Result<(), NoRoom> {
        match &self.0 {
            ByVersion::V5(client) => client
                .try_publish(
                    topic,
                    rumqttc::v5::mqttbytes::QoS::AtMostOnce,
                    false,
                    payload,
                )
                .map_err(|_| NoRoom),
            ByVersion::V311(client) => client
                .try_publish(topic, rumqttc::QoS::AtMostOnce, false, payload)
                .map_err(|_| NoRoom),
        }
    }

    /// Takes leave; [`Event::Disconnecting`] tells when it is said.
    ///
    /// # Errors
    /// When there is no room for it.
    pub fn disconnect(&self) -> Result<(), NoRoom> {
        match &self.0 {
            ByVersion::V5(client) => client.try_disconnect().map_err(|_| NoRoom),
            ByVersion::V311(client) => client.try_disconnect().map_err(|_| NoRoom),
        }
    }
}

impl Events {
    /// Waits for what happens next. The future must be polled until it is
    /// done: one that is dropped before loses what it was just about to write,
    /// an acknowledgement or a message.
    ///
    /// # Errors
    /// When the connection has ended, or could not be made.
    pub async fn next(&mut self) -> Result<Event, Down> {
        let ended = match &mut self.by_version {
            ByVersion::V5(events) => match events.poll().await {
                Ok(event) => return Ok(self.seen(v5::event(event))),
                Err(error) => v5::down(&error),
            },
            ByVersion::V311(events) => match events.poll().await {
                Ok(event) => return Ok(self.seen(v311::event(event, self.largest))),
                Err(error) => v311::down(&error),
            },
        };
        match self.kept_out.take() {
            Some(kept_out) if ended.cause == Cause::Closed => Err(kept_out),
            _ => Err(ended),
        }
    }

    fn seen(&mut self, event: Event) -> Event {
        if matches!(event, Event::Connected { .. }) {
            self.kept_out = None;
        }
        event
    }
}
