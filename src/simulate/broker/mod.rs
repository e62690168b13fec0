//! A small MQTT 5 broker on the loopback interface, for the demo and the
//! tests: a real peer over real TCP, without anything to be installed.
//!
//! Promises: QoS 0 and 1 in both directions, the order of a topic kept;
//! sessions that outlive their connections, with redelivery under the same
//! packet identifier; retained messages, wills with their delay, sessions
//! taken over; the client's receive maximum and packet size respected; every
//! queue bounded and every dropped message counted. [`Broker::drained`] lets a
//! simulation go in step with a client without waiting on a clock.
//!
//! Refuses: MQTT before version 5, QoS 2, topic aliases, subscription
//! identifiers, shared subscriptions and extended authentication, each with
//! its reason code. Checks no passwords, encrypts nothing, keeps everything in
//! memory, hands on the message expiry interval without acting on it: it is no
//! broker for a plant.

mod client;
mod codec;
mod connection;
mod exchange;
mod hub;
mod session;
mod topics;

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use tokio::net::TcpListener;
use tokio::time::sleep;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use hub::Hub;

/// Pause after a connection that could not be accepted.
const ACCEPT_AGAIN_AFTER: Duration = Duration::from_millis(50);

/// What a broker holds at most.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BrokerLimits {
    /// Messages that wait for one client.
    pub queue: usize,
    /// Bytes of one packet from a client.
    pub max_packet: u32,
    /// QoS 1 messages from one client that are not acknowledged yet.
    pub receive_maximum: u16,
    /// Sessions, connected or not.
    pub sessions: usize,
    /// Subscriptions of one session.
    pub subscriptions: usize,
    /// Topics with a retained message.
    pub retained: usize,
}

/// Room for a plant of a few hundred sumps.
impl Default for BrokerLimits {
    fn default() -> Self {
        BrokerLimits {
            queue: 10_000,
            max_packet: 256 * 1024,
            receive_maximum: 1024,
            sessions: 64,
            subscriptions: 10_000,
            retained: 10_000,
        }
    }
}

/// Why a broker does not start.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// The port cannot be listened on.
    #[error("cannot listen on {address}: {source}; choose another port, or 0 for any free one")]
    Listen {
        /// The address that was asked for.
        address: SocketAddr,
        /// What the system says.
        source: std::io::Error,
    },
}

/// A running broker. It stops when it is dropped; [`Broker::stop`] also waits
/// for its connections to end.
#[derive(Debug)]
pub struct Broker {
    address: SocketAddr,
    hub: Arc<Hub>,
    stop: CancellationToken,
    tasks: TaskTracker,
}

impl Broker {
    /// Starts a broker on 127.0.0.1; port 0 takes any free port. To be called
    /// within a tokio runtime with its timer and sockets switched on.
    ///
    /// # Errors
    /// When the port cannot be listened on.
    pub async fn start(port: u16, limits: BrokerLimits) -> Result<Broker, BrokerError> {
        let wanted = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
        let refused = |source| BrokerError::Listen {
            address: wanted,
            source,
        };
        let listener = TcpListener::bind(wanted).await.map_err(refused)?;
        let address = listener.local_addr().map_err(refused)?;
        let broker = Broker {
            address,
            hub: Arc::new(Hub::new(limits)),
            stop: CancellationToken::new(),
            tasks: TaskTracker::new(),
        };
        broker.tasks.spawn(accept(
            listener,
            Arc::clone(&broker.hub),
            broker.stop.clone(),
            broker.tasks.clone(),
        ));
        Ok(broker)
    }

    /// Where it listens.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// How many QoS 1 messages wait for this client or are not acknowledged by
    /// it; 0 for a client without a session.
    pub fn outstanding(&self, client_id: &str) -> usize {
        self.hub.look(|exchange| exchange.outstanding(client_id))
    }

    /// Waits until [`Broker::outstanding`] of this client is 0.
    pub async fn drained(&self, client_id: &str) {
        self.hub
            .until(|exchange| exchange.is_settled(client_id))
            .await;
    }

    /// Waits until this client is connected and has subscribed to something.
    pub async fn listening(&self, client_id: &str) {
        self.hub.until(|exchange| exchange.listens(client_id)).await;
    }

    /// Messages that somebody wanted and that could not be kept, since the
    /// start: queue full, client away at QoS 0, larger than the client takes,
    /// or one retained message too many.
    pub fn dropped(&self) -> u64 {
        self.hub.look(exchange::Exchange::dropped)
    }

    /// Drops this client's connection without a word, as a broken cable would.
    pub fn cut(&self, client_id: &str) {
        self.hub.with(|exchange| exchange.cut(client_id));
    }

    /// Tells every client that the broker shuts down, and waits until the
    /// connections have ended.
    pub async fn stop(self) {
        self.stop.cancel();
        self.tasks.close();
        self.tasks.wait().await;
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

async fn accept(listener: TcpListener, hub: Arc<Hub>, stop: CancellationToken, tasks: TaskTracker) {
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            () = stop.cancelled() => return,
        };
        match accepted {
            Ok((stream, _)) => {
                tasks.spawn(connection::serve(stream, Arc::clone(&hub), stop.clone()));
            }
            // The peer gave up, or the process has no file handle left: the
            // others are served on.
            Err(_) => sleep(ACCEPT_AGAIN_AFTER).await,
        }
    }
}

#[cfg(test)]
mod exchange_tests;
#[cfg(test)]
mod tests;
