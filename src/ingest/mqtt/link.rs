//! The connection as polling and acknowledging share it.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use tokio::sync::mpsc;

use crate::ingest::Ack;
use crate::mqtt::Client;

/// Pause before an acknowledgement is tried again that found no room.
const ROOM_PAUSE: Duration = Duration::from_millis(1);

/// The connection as the two tasks share it.
#[derive(Debug)]
pub struct Link(Mutex<Connection>);

#[derive(Debug)]
struct Connection {
    /// Grows with each connection made and each one lost.
    epoch: u64,
    client: Option<Client>,
}

impl Link {
    pub(super) fn new() -> Arc<Self> {
        Arc::new(Link(Mutex::new(Connection {
            epoch: 0,
            client: None,
        })))
    }

    /// A connection was made or lost; gives its epoch.
    pub(super) fn change(&self, client: Option<Client>) -> u64 {
        let mut connection = self.lock();
        connection.epoch += 1;
        connection.client = client;
        connection.epoch
    }

    fn lock(&self) -> MutexGuard<'_, Connection> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Acknowledges one message. `false` when there was no room: try again.
    pub(super) fn acknowledge(&self, ack: &Ack) -> bool {
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
