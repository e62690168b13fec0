//! MQTT 5.0.

use std::time::Duration;

use bytes::Bytes;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{
    ConnAck, ConnectProperties, ConnectReturnCode, DisconnectReasonCode, Filter, LastWill, Packet,
    PubAckReason, Publish, PublishProperties, RetainForwardRule, SubscribeReasonCode,
};
use rumqttc::v5::{ConnectionError, Event as Theirs, MqttOptions, StateError};
use rumqttc::{Outgoing, TlsConfiguration, Transport};

use crate::settings::{BrokerSettings, Protocol};

use super::client::{self, CONNECT_SECS, Introduction, OUTGOING, ROOM, SessionWish};
use super::down::{Cause, Down};
use super::event::{Event, Message, Reply, Session};

/// Options for one connection.
pub(super) fn options(
    broker: &BrokerSettings,
    introduction: &Introduction,
) -> Result<MqttOptions, Down> {
    let mut options = MqttOptions::new(&introduction.client_id, &broker.host, broker.port);
    options.set_keep_alive(client::keep_alive(broker));
    options.set_clean_start(introduction.session == SessionWish::Fresh);
    options.set_manual_acks(true);
    options.set_connection_timeout(CONNECT_SECS);
    options.set_request_channel_capacity(ROOM);
    options.set_outgoing_inflight_upper_limit(OUTGOING);
    options.set_pending_throttle(Duration::ZERO);
    options.set_connect_properties(properties(broker, introduction.session));
    options.set_network_options(client::network());
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
        options.set_last_will(LastWill::new(
            topic,
            payload.to_owned(),
            QoS::AtLeastOnce,
            true,
            None,
        ));
    }
    Ok(options)
}

fn properties(broker: &BrokerSettings, session: SessionWish) -> ConnectProperties {
    let mut properties = ConnectProperties::new();
    properties.max_packet_size = Some(broker.max_packet);
    if let Protocol::V5 {
        receive_maximum,
        session_expiry,
    } = broker.protocol
    {
        properties.receive_maximum = Some(receive_maximum);
        if session == SessionWish::Kept {
            properties.session_expiry_interval = Some((session_expiry.millis() / 1000) as u32);
        }
    }
    properties
}

/// Filters as they are subscribed to: a subscription that stands already does
/// not bring the retained messages again.
pub(super) fn filters(filters: &[String]) -> impl Iterator<Item = Filter> {
    filters.iter().map(|topic| Filter {
        path: topic.clone(),
        qos: QoS::AtLeastOnce,
        retain_forward_rule: RetainForwardRule::OnNewSubscribe,
        ..Filter::default()
    })
}

/// What the library wants to see of a message that is acknowledged.
pub(super) fn bearing(packet: u16) -> Publish {
    let mut message = Publish::new("", QoS::AtLeastOnce, Vec::new(), None);
    message.pkid = packet;
    message
}

/// Properties of a message of ours that answers another.
pub(super) fn correlated(data: Option<&[u8]>) -> PublishProperties {
    PublishProperties {
        correlation_data: data.map(Bytes::copy_from_slice),
        ..PublishProperties::default()
    }
}

/// How a message wants to be answered.
fn reply(properties: Option<PublishProperties>) -> Option<Box<Reply>> {
    let properties = properties?;
    let reply = Reply {
        topic: properties.response_topic,
        correlation: properties.correlation_data,
    };
    (reply.topic.is_some() || reply.correlation.is_some()).then(|| Box::new(reply))
}

/// In our own terms.
pub(super) fn event(event: Theirs) -> Event {
    match event {
        Theirs::Incoming(Packet::Publish(publish)) => Event::Message(Message {
            packet: (publish.qos == QoS::AtLeastOnce).then_some(publish.pkid),
            topic: publish.topic,
            payload: publish.payload,
            redelivered: publish.dup,
            retained: publish.retain,
            reply: reply(publish.properties),
        }),
        Theirs::Incoming(Packet::ConnAck(answer)) => connected(&answer),
        Theirs::Incoming(Packet::SubAck(answer)) => Event::Subscribed {
            packet: answer.pkid,
            refusals: answer.return_codes.iter().map(subscription).collect(),
        },
        Theirs::Incoming(Packet::PubAck(answer)) => Event::Published {
            packet: answer.pkid,
            refusal: publication(answer.reason),
        },
        Theirs::Outgoing(Outgoing::Publish(packet)) => Event::Publishing { packet },
        Theirs::Outgoing(Outgoing::Subscribe(packet)) => Event::Subscribing { packet },
        Theirs::Outgoing(Outgoing::Disconnect) => Event::Disconnecting,
        _ => Event::Other,
    }
}

fn connected(answer: &ConnAck) -> Event {
    let largest = answer
        .properties
        .as_ref()
        .and_then(|properties| properties.max_packet_size);
    Event::Connected {
        session: if answer.session_present {
            Session::TakenUp
        } else {
            Session::New
        },
        largest: largest.map_or(usize::MAX, |bytes| bytes as usize),
    }
}

/// Why a message was refused (section 3.4.2.1); `None` where it was taken.
fn publication(reason: PubAckReason) -> Option<String> {
    match reason {
        PubAckReason::Success | PubAckReason::NoMatchingSubscribers => None,
        PubAckReason::NotAuthorized => {
            Some("not authorised; check the broker's access rules".to_owned())
        }
        PubAckReason::QuotaExceeded => Some("the broker's quota is exceeded".to_owned()),
        other => Some(format!("{other:?}")),
    }
}

/// Why a subscription was refused (section 3.9.3); `None` where it was granted.
fn subscription(code: &SubscribeReasonCode) -> Option<&'static str> {
    match code {
        SubscribeReasonCode::Success(_) => None,
        SubscribeReasonCode::NotAuthorized => {
            Some("not authorised; check the broker's access rules")
        }
        SubscribeReasonCode::TopicFilterInvalid => {
            Some("the broker calls the topic filter invalid")
        }
        SubscribeReasonCode::QuotaExceeded => Some("the broker's quota is exceeded"),
        SubscribeReasonCode::WildcardSubscriptionsNotSupported => {
            Some("the broker allows no wildcards")
        }
        SubscribeReasonCode::SharedSubscriptionsNotSupported => {
            Some("the broker allows no shared subscriptions")
        }
        _ => Some("the broker gives no reason; check its access rules"),
    }
}

/// Why the connection ended or never came to be.
pub(super) fn down(error: &ConnectionError) -> Down {
    match error {
        ConnectionError::ConnectionRefused(code) => refused(*code),
        ConnectionError::MqttState(error) => broken(error),
        ConnectionError::Timeout(_) => Down::no_answer(),
        ConnectionError::Io(error) => Down::io(error),
        ConnectionError::Tls(error) => Down::tls(error),
        other => Down::passing(other.to_string()),
    }
}

fn broken(error: &StateError) -> Down {
    use rumqttc::v5::mqttbytes::Error;
    match error {
        StateError::ConnFail { reason } => refused(*reason),
        StateError::ServerDisconnect {
            reason_code,
            reason_string,
        } => disconnected(*reason_code, reason_string.as_deref()),
        StateError::ConnectionAborted => Down::closed(),
        StateError::AwaitPingResp => Down::silent(),
        StateError::Io(error) | StateError::Deserialization(Error::Io(error)) => Down::io(error),
        other => Down::passing(other.to_string()),
    }
}

fn wrong_version() -> Down {
    Down::refused("the broker does not speak MQTT 5; set protocol = \"3.1.1\"")
}

/// The reason codes of section 3.2.2.2.
fn refused(code: ConnectReturnCode) -> Down {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            Down::bad_credentials()
        }
        ConnectReturnCode::UnsupportedProtocolVersion
        | ConnectReturnCode::RefusedProtocolVersion => wrong_version(),
        ConnectReturnCode::ClientIdentifierNotValid | ConnectReturnCode::BadClientId => {
            Down::bad_client_id()
        }
        ConnectReturnCode::Banned => Down::refused("the broker has banned this client"),
        other => Down::passing(format!("the broker refuses the connection: {other:?}")),
    }
}

/// The reason codes of section 3.14.2.1.
fn disconnected(code: DisconnectReasonCode, said: Option<&str>) -> Down {
    let (cause, words) = match code {
        DisconnectReasonCode::SessionTakenOver => return Down::taken_over(),
        DisconnectReasonCode::ServerShuttingDown => {
            (Cause::Passing, "the broker is shutting down".to_owned())
        }
        DisconnectReasonCode::KeepAliveTimeout => (
            Cause::Passing,
            "the broker heard nothing from us within the keep-alive time".to_owned(),
        ),
        DisconnectReasonCode::NotAuthorized => (
            Cause::Refused,
            "the broker says: not authorised; check its access rules".to_owned(),
        ),
        other => (
            Cause::Passing,
            format!("the broker disconnected: {other:?}"),
        ),
    };
    match said {
        Some(said) => Down::new(cause, format!("{words} (the broker says: {said})")),
        None => Down::new(cause, words),
    }
}
