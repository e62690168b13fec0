//! The way to one server: the `influxdb2` crate, and of it the write of ready-made
//! lines alone.

use bytes::Bytes;
use influxdb2::api::write::TimestampPrecision;
use influxdb2::{Client, ClientBuilder, RequestError};
use reqwest::redirect;

use crate::settings::{Secret, TargetSettings, TlsError};

use super::answer::{Answer, judge, words};

/// Why a server cannot even be asked.
#[derive(Debug, thiserror::Error)]
pub enum ServerError {
    /// A file of certificates went bad since the settings were read.
    #[error("{0}")]
    Tls(#[from] TlsError),
    /// The library refuses to begin.
    #[error("the way to it cannot be set up: {0}")]
    SetUp(#[from] influxdb2::BuildError),
}

/// A way to a server.
#[derive(Debug)]
pub struct Server {
    client: Client,
    org: String,
    bucket: String,
    token: Option<Secret>,
}

impl Server {
    /// Sets the way up; nothing goes over it yet.
    ///
    /// # Errors
    /// When the certificates that vouch for the server cannot be read.
    pub fn new(settings: &TargetSettings) -> Result<Self, ServerError> {
        let mut builder = reqwest::ClientBuilder::new()
            .connect_timeout(std_time(settings.connect_timeout))
            .timeout(std_time(settings.timeout))
            .redirect(redirect::Policy::none())
            .no_proxy()
            .pool_max_idle_per_host(1);
        if let Some(tls) = &settings.tls {
            builder = builder.use_preconfigured_tls(tls.connector()?);
        }
        let token = settings.token.as_ref().map_or("", Secret::reveal);
        let client =
            ClientBuilder::with_builder(builder, &settings.url, &settings.org, token).build()?;
        Ok(Server {
            client,
            org: settings.org.clone(),
            bucket: settings.bucket.clone(),
            token: settings.token.clone(),
        })
    }

    /// Sends lines; says what became of them.
    pub(super) async fn write(&self, lines: Bytes) -> Answer {
        let precision = TimestampPrecision::Milliseconds;
        let written = self
            .client
            .write_line_protocol_with_precision(&self.org, &self.bucket, lines, precision)
            .await;
        let secret = self.token.as_ref().map_or("", Secret::reveal);
        match written {
            Ok(()) => Answer::Taken,
            Err(RequestError::Http { status, text }) => judge(status.as_u16(), &text, secret),
            Err(RequestError::ReqwestProcessing { source }) => {
                let is_slow = source.is_timeout() && !source.is_connect();
                let words = words(&in_words(source), secret);
                if is_slow {
                    Answer::Slow(words)
                } else {
                    Answer::Passing(words)
                }
            }
            Err(other) => Answer::Passing(words(&other.to_string(), secret)),
        }
    }
}

/// The library tells one cause an error; without the address, which settings tell.
fn in_words(error: reqwest::Error) -> String {
    let kind = if error.is_connect() {
        "no connection"
    } else if error.is_timeout() {
        "no answer in time"
    } else {
        "no clear answer"
    };
    let error = error.without_url();
    let mut told = format!("{kind}: {error}");
    let mut source = std::error::Error::source(&error);
    while let Some(inner) = source {
        told = format!("{told}: {inner}");
        source = inner.source();
    }
    told
}

fn std_time(span: crate::units::Span) -> std::time::Duration {
    std::time::Duration::from_millis(span.millis().unsigned_abs())
}
