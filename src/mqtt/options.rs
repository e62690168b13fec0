//! Connection options out of the settings.

use std::path::PathBuf;
use std::time::Duration;

use rumqttc::v5::MqttOptions;
use rumqttc::v5::mqttbytes::v5::ConnectProperties;
use rumqttc::{TlsConfiguration, Transport};

use crate::settings::BrokerSettings;

/// Time for TCP, TLS and CONNACK together.
const CONNECT_SECS: u64 = 5;

/// Why there can be no connection.
#[derive(Debug, thiserror::Error)]
pub enum OptionsError {
    /// The certificate file cannot be read.
    #[error("broker {broker}: cannot read the CA certificate {path}: {source}; check tls.ca_file and its permissions", path = path.display())]
    CaFile {
        /// The broker's name in the settings.
        broker: String,
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

/// Options for a client of this broker.
///
/// # Errors
/// When a certificate file cannot be read.
pub fn options(broker: &BrokerSettings, client_id: &str) -> Result<MqttOptions, OptionsError> {
    let mut options = MqttOptions::new(client_id, &broker.host, broker.port);
    options.set_keep_alive(Duration::from_millis(broker.keep_alive.millis() as u64));
    options.set_clean_start(false);
    options.set_manual_acks(true);
    options.set_connection_timeout(CONNECT_SECS);
    // Room for an acknowledgement of every packet identifier there is, and for
    // the rest: acknowledging must never wait for polling, which may wait for
    // the engine, which may wait for the store, which waits for acknowledging.
    // The receive maximum is no bound here: mosquitto 2.0.11 was measured to
    // send 342 unacknowledged messages where 100 are allowed.
    options.set_request_channel_capacity(usize::from(u16::MAX) + REQUESTS);
    let mut properties = ConnectProperties::new();
    properties.session_expiry_interval = Some((broker.session_expiry.millis() / 1000) as u32);
    properties.receive_maximum = Some(broker.receive_maximum);
    properties.max_packet_size = Some(broker.max_packet);
    options.set_connect_properties(properties);
    if let Some(user) = &broker.user {
        let password = broker
            .password
            .as_ref()
            .map_or("", |secret| secret.reveal());
        options.set_credentials(user, password);
    }
    if let Some(tls) = &broker.tls {
        options.set_transport(Transport::tls_with_config(tls_configuration(
            broker,
            tls.ca_file.as_ref(),
        )?));
    }
    let mut network = options.network_options();
    network.set_tcp_nodelay(true);
    options.set_network_options(network);
    Ok(options)
}

/// Requests under way besides acknowledgements.
const REQUESTS: usize = 128;

fn tls_configuration(
    broker: &BrokerSettings,
    ca_file: Option<&PathBuf>,
) -> Result<TlsConfiguration, OptionsError> {
    let Some(path) = ca_file else {
        return Ok(TlsConfiguration::Native);
    };
    let ca = std::fs::read(path).map_err(|source| OptionsError::CaFile {
        broker: broker.name.to_string(),
        path: path.clone(),
        source,
    })?;
    Ok(TlsConfiguration::SimpleNative {
        ca,
        client_auth: None,
    })
}
