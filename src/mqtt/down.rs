//! Why a connection ended, in words that say what to do.

use rumqttc::TlsError;

use crate::settings::{BrokerSettings, Protocol, TlsError as TlsFileError};

/// A connection that ended, or never came to be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{words}")]
pub struct Down {
    /// Of what kind the cause is.
    pub cause: Cause,
    /// The words.
    words: String,
}

/// Kinds of causes, as far as they ask for different patience.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// Passes by itself: the broker is away, the network is down.
    Passing,
    /// The broker closed the connection and gave no reason.
    Closed,
    /// Another client took the session over.
    TakenOver,
    /// The broker will refuse again until a person has mended something.
    Refused,
}

impl Down {
    /// Something that passes by itself.
    pub fn passing(words: impl Into<String>) -> Self {
        Down::new(Cause::Passing, words)
    }

    pub(super) fn new(cause: Cause, words: impl Into<String>) -> Self {
        Down {
            cause,
            words: words.into(),
        }
    }

    pub(super) fn refused(words: impl Into<String>) -> Self {
        Down::new(Cause::Refused, words)
    }

    pub(super) fn closed() -> Self {
        Down::new(
            Cause::Closed,
            "the broker closed the connection without giving a reason",
        )
    }

    /// The broker closed before it answered. Several reasons are known that
    /// brokers do not give, or that the library cannot read.
    pub(super) fn kept_out(broker: &BrokerSettings) -> Self {
        let certificate = match &broker.tls {
            None => "want TLS on this port",
            Some(_) => "want to see a certificate (tls.cert_file and tls.key_file)",
        };
        let version = match broker.protocol {
            Protocol::V5 { .. } => "know MQTT 3.1.1 only (protocol = \"3.1.1\")",
            Protocol::V311 => "refuse MQTT 3.1.1 (protocol = \"5\")",
        };
        Down::new(
            Cause::Closed,
            format!(
                "the broker closed the connection before it let us in; if it does so each time, it may {certificate} or {version}"
            ),
        )
    }

    pub(super) fn taken_over() -> Self {
        Down::new(
            Cause::TakenOver,
            "another client with the same client id connected and took the session over; give each daemon a client_id of its own",
        )
    }

    pub(super) fn no_answer() -> Self {
        Down::passing("no answer from the broker; check host, port and firewall")
    }

    pub(super) fn silent() -> Self {
        Down::passing("the broker did not answer within the keep-alive time")
    }

    pub(super) fn bad_credentials() -> Self {
        Down::refused(
            "the broker refuses user name or password; check user and password_file, and the broker's access rules",
        )
    }

    pub(super) fn bad_client_id() -> Self {
        Down::refused("the broker refuses the client id; check client_id")
    }

    /// What the socket says.
    pub(super) fn io(error: &std::io::Error) -> Self {
        use std::io::ErrorKind;
        match error.kind() {
            ErrorKind::ConnectionRefused => {
                Down::passing("nothing listens at the broker's address; is the broker running?")
            }
            ErrorKind::ConnectionReset | ErrorKind::BrokenPipe | ErrorKind::UnexpectedEof => {
                Down::closed()
            }
            // How the standard library says it, which has no kind for it.
            _ if error.to_string().contains("failed to lookup address") => Down::passing(
                "no machine is known by the broker's name; check host, and the name service of this machine",
            ),
            // How the library says it.
            _ if error.to_string().contains("bytes remaining on stream") => {
                Down::passing("the connection broke in the middle of a packet")
            }
            _ => Down::of_tls_text(&error.to_string())
                .unwrap_or_else(|| Down::passing(error.to_string())),
        }
    }

    /// What the TLS library says.
    pub(super) fn tls(error: &TlsError) -> Self {
        let text = error.to_string();
        Down::of_tls_text(&text).unwrap_or_else(|| {
            Down::passing(format!(
                "TLS: {text}; does the broker speak TLS on this port?"
            ))
        })
    }

    /// The library tells its faults by text only.
    fn of_tls_text(text: &str) -> Option<Self> {
        let words = if text.contains("certificate required") || text.contains("handshake failure") {
            "the broker wants to see a certificate that it trusts; check tls.cert_file and tls.key_file"
        } else if text.contains("alert") {
            "the broker does not take our certificate; check tls.cert_file and who vouches for it"
        } else if text.contains("verify failed") {
            "the broker's certificate is not vouched for, or is for another name or time; check tls.ca_file, host and the clocks"
        } else {
            return None;
        };
        Some(Down::refused(format!("TLS: {words} ({text})")))
    }
}

impl From<TlsFileError> for Down {
    fn from(error: TlsFileError) -> Self {
        Down::refused(error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The standard library has no kind of its own for a name that is not known.
    #[test]
    fn a_name_that_is_not_known_is_told_in_words() {
        use std::net::ToSocketAddrs;
        // RFC 6761: a name under .invalid is never known.
        let error = ("no-such-broker.invalid", 1883)
            .to_socket_addrs()
            .unwrap_err();
        let down = Down::io(&error);
        assert_eq!(down.cause, Cause::Passing);
        assert!(down.to_string().contains("check host"), "{down}");
    }
}
