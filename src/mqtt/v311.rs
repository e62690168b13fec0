//! MQTT 3.1.1.

use std::time::Duration;

use bytes::Bytes;
use rumqttc::{
    ConnectReturnCode, ConnectionError, Event as Theirs, LastWill, MqttOptions, Outgoing, Packet,
    Publish, QoS, StateError, SubscribeFilter, SubscribeReasonCode, TlsConfiguration, Transport,
};

use crate::settings::BrokerSettings;

use super::client::{self, Introduction, OUTGOING, ROOM, SessionWish};
use super::down::Down;
use super::event::{Event, Message, Session};

/// Largest packet of the protocol: a remaining length of 268 435 455 bytes
/// (section 2.2.3). The library ends the connection at its own limit, and the
/// broker would deliver the same message again for ever; ours is looked after
/// in [`event`].
const LARGEST: usize = 268_435_455;

/// Options for one connection.
pub(super) fn options(
    broker: &BrokerSettings,
    introduction: &Introduction,
) -> Result<MqttOptions, Down> {
    let mut options = MqttOptions::new(&introduction.client_id, &broker.host, broker.port);
    options.set_keep_alive(client::keep_alive(broker));
    options.set_clean_session(introduction.session == SessionWish::Fresh);
    options.set_manual_acks(true);
    options.set_request_channel_capacity(ROOM);
    options.set_max_packet_size(LARGEST, LARGEST);
    options.set_inflight(OUTGOING);
    options.set_pending_throttle(Duration::ZERO);
    if let Some(user) = &broker.user {
        let password = broker.password.as_ref();
        options.set_credentials(user, password.map_or("", |secret| secret.reveal()));
    }
    if let Some(tls) = &broker.tls {
        let tls = TlsConfiguration::from(tls.connector()?);
        options.set_transport(Transport::tls_with_config(tls));
    }
    if let Some((topic, payload)) = &introduction.will {
        let payload = payload.as_str();
        options.set_last_will(LastWill::new(topic, payload, QoS::AtLeastOnce, true));
    }
    Ok(options)
}

/// Filters as they are subscribed to. Retained messages come again with each
/// subscription.
pub(super) fn filters(filters: &[String]) -> impl Iterator<Item = SubscribeFilter> {
    filters
        .iter()
        .map(|topic| SubscribeFilter::new(topic.clone(), QoS::AtLeastOnce))
}

/// What the library wants to see of a message that is acknowledged.
pub(super) fn bearing(packet: u16) -> Publish {
    let mut message = Publish::new("", QoS::AtLeastOnce, Vec::new());
    message.pkid = packet;
    message
}

/// In our own terms. A packet of more than `largest` bytes is told as such.
pub(super) fn event(event: Theirs, largest: usize) -> Event {
    match event {
        Theirs::Incoming(Packet::Publish(publish)) => {
            let is_oversized = publish.size() > largest;
            let message = Message {
                packet: (publish.qos == QoS::AtLeastOnce).then_some(publish.pkid),
                topic: Bytes::from(publish.topic),
                payload: publish.payload,
                redelivered: publish.dup,
                retained: publish.retain,
                reply: None,
            };
            if is_oversized {
                Event::Oversized(message)
            } else {
                Event::Message(message)
            }
        }
        Theirs::Incoming(Packet::ConnAck(answer)) => Event::Connected {
            session: if answer.session_present {
                Session::TakenUp
            } else {
                Session::New
            },
            largest: LARGEST,
        },
        Theirs::Incoming(Packet::SubAck(answer)) => Event::Subscribed {
            packet: answer.pkid,
            refusals: answer.return_codes.iter().map(subscription).collect(),
        },
        Theirs::Incoming(Packet::PubAck(answer)) => Event::Published {
            packet: answer.pkid,
            refusal: None,
        },
        Theirs::Outgoing(Outgoing::Publish(packet)) => Event::Publishing { packet },
        Theirs::Outgoing(Outgoing::Subscribe(packet)) => Event::Subscribing { packet },
        Theirs::Outgoing(Outgoing::Disconnect) => Event::Disconnecting,
        _ => Event::Other,
    }
}

/// Why a subscription was refused (section 3.9.3); `None` where it was granted.
fn subscription(code: &SubscribeReasonCode) -> Option<&'static str> {
    match code {
        SubscribeReasonCode::Success(_) => None,
        SubscribeReasonCode::Failure => {
            Some("MQTT 3.1.1 gives no reason; check the broker's access rules")
        }
    }
}

/// Why the connection ended or never came to be.
pub(super) fn down(error: &ConnectionError) -> Down {
    match error {
        ConnectionError::ConnectionRefused(code) => refused(*code),
        ConnectionError::MqttState(error) => broken(error),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => Down::no_answer(),
        ConnectionError::Io(error) => Down::io(error),
        ConnectionError::Tls(error) => Down::tls(error),
        other => Down::passing(other.to_string()),
    }
}

fn broken(error: &StateError) -> Down {
    use rumqttc::mqttbytes::Error;
    match error {
        StateError::ConnectionAborted => Down::closed(),
        StateError::AwaitPingResp => Down::silent(),
        StateError::Io(error) | StateError::Deserialization(Error::Io(error)) => Down::io(error),
        other => Down::passing(other.to_string()),
    }
}

/// The return codes of section 3.2.2.3.
fn refused(code: ConnectReturnCode) -> Down {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            Down::bad_credentials()
        }
        ConnectReturnCode::RefusedProtocolVersion => {
            Down::refused("the broker does not speak MQTT 3.1.1; set protocol = \"5\"")
        }
        ConnectReturnCode::BadClientId => Down::bad_client_id(),
        ConnectReturnCode::ServiceUnavailable | ConnectReturnCode::Success => {
            Down::passing(format!("the broker refuses the connection: {code:?}"))
        }
    }
}
