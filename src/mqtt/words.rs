//! What the client library reports, in words that say what to do.

use rumqttc::v5::mqttbytes::v5::{ConnectReturnCode, DisconnectReasonCode, SubscribeReasonCode};
use rumqttc::v5::{ConnectionError, StateError};

/// Why the connection ended or never came to be.
pub fn explain(error: &ConnectionError) -> String {
    match error {
        ConnectionError::ConnectionRefused(code) => refused(code),
        ConnectionError::MqttState(StateError::ConnFail { reason }) => refused(reason),
        ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, reason_string }) => {
            let words = disconnected(*reason_code);
            match reason_string {
                Some(said) => format!("{words} (the broker says: {said})"),
                None => words,
            }
        }
        ConnectionError::MqttState(StateError::ConnectionAborted) => {
            "the broker closed the connection without a word; another client with the same client id is the usual cause where this repeats".into()
        }
        ConnectionError::MqttState(StateError::AwaitPingResp) => {
            "the broker did not answer within the keep-alive time".into()
        }
        ConnectionError::Timeout(_) => "no answer from the broker; check host, port and firewall".into(),
        ConnectionError::Io(error) if error.kind() == std::io::ErrorKind::ConnectionRefused => {
            "nothing listens at the broker's address; is the broker running?".into()
        }
        ConnectionError::Tls(error) => format!("TLS: {error}; check tls.ca_file and the broker's certificate"),
        other => other.to_string(),
    }
}

fn refused(code: &ConnectReturnCode) -> String {
    match code {
        ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized => {
            "the broker refuses user name or password; check user and password_file".into()
        }
        ConnectReturnCode::UnsupportedProtocolVersion
        | ConnectReturnCode::RefusedProtocolVersion => "the broker does not speak MQTT 5".into(),
        ConnectReturnCode::ClientIdentifierNotValid | ConnectReturnCode::BadClientId => {
            "the broker refuses the client id; check client_id".into()
        }
        ConnectReturnCode::Banned => "the broker has banned this client".into(),
        other => format!("the broker refuses the connection: {other:?}"),
    }
}

fn disconnected(code: DisconnectReasonCode) -> String {
    match code {
        DisconnectReasonCode::SessionTakenOver => {
            "another client connected with the same client id and took the session over; give each daemon a client_id of its own".into()
        }
        DisconnectReasonCode::ServerShuttingDown => "the broker is shutting down".into(),
        DisconnectReasonCode::KeepAliveTimeout => "the broker heard nothing from us within the keep-alive time".into(),
        DisconnectReasonCode::NotAuthorized => "the broker says: not authorised".into(),
        other => format!("the broker disconnected: {other:?}"),
    }
}

/// Why a subscription was refused; `None` where it was granted.
pub fn explain_refusal(code: &SubscribeReasonCode) -> Option<&'static str> {
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
        _ => Some("the broker gives no reason"),
    }
}
