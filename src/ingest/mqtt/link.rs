//! The connection as polling and acknowledging share it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::{mpsc, watch};

use crate::ingest::Ack;
use crate::mqtt::Client;

/// Pause before an acknowledgement is tried again that found no room.
const ROOM_PAUSE: Duration = Duration::from_millis(1);

/// In place of a packet identifier (no message has it; MQTT 5.0, section
/// 2.2.1): not a message is committed but the beginning of the session.
pub(super) const BEGINNING: u16 = 0;

/// The connection as the two tasks share it.
#[derive(Debug)]
pub struct Link {
    connection: Mutex<Connection>,
    /// Epoch of the last connection whose session's beginning is committed.
    begun: watch::Sender<u64>,
}

#[derive(Debug)]
struct Connection {
    /// Grows with each connection made and each one lost.
    epoch: u64,
    client: Option<Client>,
}

impl Link {
    pub(super) fn new() -> Arc<Self> {
        let connection = Connection {
            epoch: 0,
            client: None,
        };
        Arc::new(Link {
            connection: Mutex::new(connection),
            begun: watch::Sender::new(0),
        })
    }

    /// Waits until the beginning of the session is committed that this
    /// connection had to store.
    pub(super) async fn begun(&self, epoch: u64) {
        let mut begun = self.begun.subscribe();
        let waited = begun.wait_for(|committed| *committed >= epoch).await;
        waited.expect("the sender lives as long as the link");
    }

    /// A connection was made or lost; gives its epoch.
    pub(super) fn change(&self, client: Option<Client>) -> u64 {
        let mut connection = self.lock();
        connection.epoch += 1;
        connection.client = client;
        connection.epoch
    }

    fn lock(&self) -> MutexGuard<'_, Connection> {
        let connection = self.connection.lock();
        connection.unwrap_or_else(PoisonError::into_inner)
    }

    /// Acknowledges one message. `false` when there was no room: try again.
    pub(super) fn acknowledge(&self, ack: &Ack) -> bool {
        if ack.packet == BEGINNING {
            self.begun.send_replace(ack.epoch);
            return true;
        }
        let connection = self.lock();
        match &connection.client {
            Some(client) if connection.epoch == ack.epoch => client.acknowledge(ack.packet).is_ok(),
            // That connection is gone; the broker delivers the message again.
            _ => true,
        }
    }
}

/// Acknowledges what has been committed, in its order.
pub async fn acknowledge(link: Arc<Link>, mut committed: mpsc::Receiver<Vec<Ack>>) {
    while let Some(acks) = committed.recv().await {
        for ack in acks.iter().filter(|ack| ack.settle()) {
            while !link.acknowledge(ack) {
                tokio::time::sleep(ROOM_PAUSE).await;
            }
        }
    }
}
