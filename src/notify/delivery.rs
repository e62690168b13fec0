//! What becomes of an attempt to deliver a message.

use std::future::Future;
use std::time::Duration;

use native_tls::TlsConnector;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::TcpStream;

use crate::settings::TlsSettings;

use super::dialogue::Dialogue;

/// Why a message did not arrive.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Undelivered {
    /// It may arrive another time.
    #[error("{0}")]
    Passing(String),
    /// It never will as it is.
    #[error("{0}")]
    Refused(String),
}

impl Undelivered {
    pub(super) fn passing(why: impl ToString) -> Self {
        Undelivered::Passing(why.to_string())
    }
}

/// Anything that bytes go over.
pub(super) trait Stream: AsyncRead + AsyncWrite + Send + Unpin {}
impl<T: AsyncRead + AsyncWrite + Send + Unpin> Stream for T {}

/// Gives up after a time.
pub(super) async fn within<T>(
    time: Duration,
    what: &str,
    work: impl Future<Output = Result<T, Undelivered>>,
) -> Result<T, Undelivered> {
    let late = || Undelivered::passing(format!("{what}: no answer within {} s", time.as_secs()));
    tokio::time::timeout(time, work)
        .await
        .unwrap_or_else(|_| Err(late()))
}

/// Connects to a machine.
pub(super) async fn connect(
    host: &str,
    port: u16,
    dialogue: &mut Dialogue,
) -> Result<TcpStream, Undelivered> {
    // Addresses of IPv6 stand in brackets on the web.
    let plain = host.trim_start_matches('[').trim_end_matches(']');
    let connected = TcpStream::connect((plain, port)).await;
    let stream = connected.map_err(|error| {
        Undelivered::passing(format!("cannot connect to {host}:{port}: {error}"))
    })?;
    dialogue.remark(format_args!("connected to {host}:{port}"));
    Ok(stream)
}

/// Encrypts a connection; the certificate must be the host's.
pub(super) async fn encrypt<S: Stream>(
    tls: &TlsSettings,
    host: &str,
    stream: S,
    dialogue: &mut Dialogue,
) -> Result<tokio_native_tls::TlsStream<S>, Undelivered> {
    let connector: TlsConnector = tls.connector().map_err(|error| {
        Undelivered::passing(format!("{}: {}", error.path.display(), error.fault))
    })?;
    let plain = host.trim_start_matches('[').trim_end_matches(']');
    let encrypted = tokio_native_tls::TlsConnector::from(connector)
        .connect(plain, stream)
        .await
        .map_err(|error| Undelivered::passing(format!("TLS with {host} fails: {error}")))?;
    dialogue.remark("encrypted, the certificate is good");
    Ok(encrypted)
}
