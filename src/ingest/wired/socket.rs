//! Connecting to a device over TCP.

use std::io;
use std::time::Duration;

use tokio::net::TcpStream;

/// Longer a connection is not waited for.
const PATIENCE: Duration = Duration::from_secs(5);

/// Why there is no connection.
#[derive(Debug, thiserror::Error)]
pub enum ConnectError {
    /// The system says so.
    #[error("no connection to {host}:{port}: {why}")]
    Failed {
        /// The machine.
        host: String,
        /// The port.
        port: u16,
        /// What the system says.
        why: io::Error,
    },
    /// Nothing answers.
    #[error("{host}:{port} does not answer; check its address, its power and the network")]
    Silent {
        /// The machine.
        host: String,
        /// The port.
        port: u16,
    },
}

/// Connects; the name is looked up each time.
pub(super) async fn connect(host: &str, port: u16) -> Result<TcpStream, ConnectError> {
    let connecting = async {
        let stream = TcpStream::connect((host, port)).await?;
        // A request is written in one go and must not wait for more.
        stream.set_nodelay(true)?;
        Ok(stream)
    };
    let host = host.to_owned();
    match tokio::time::timeout(PATIENCE, connecting).await {
        Ok(Ok(stream)) => Ok(stream),
        Ok(Err(why)) => Err(ConnectError::Failed { host, port, why }),
        Err(_) => Err(ConnectError::Silent { host, port }),
    }
}
