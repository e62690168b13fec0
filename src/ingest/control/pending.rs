//! Requests that wait for the commit of what they brought.

use std::collections::HashMap;
use std::sync::atomic::AtomicU32;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use tokio::sync::{mpsc, oneshot};

use crate::ingest::intake::Ack;

/// The requests that wait; as many at most as there are connections.
#[derive(Debug, Default)]
pub struct Pending(Mutex<Waiting>);

#[derive(Debug, Default)]
struct Waiting {
    /// Of the next request.
    number: u64,
    waiting: HashMap<u64, oneshot::Sender<()>>,
}

impl Pending {
    /// An acknowledgement that is given so many times, and what resolves with
    /// the last of them. It never resolves once the store has stopped.
    pub(super) fn expect(&self, source: u16, parts: u32) -> (Ack, oneshot::Receiver<()>) {
        let mut waiting = self.lock();
        waiting.number += 1;
        let (done, committed) = oneshot::channel();
        let number = waiting.number;
        waiting.waiting.insert(number, done);
        let ack = Ack {
            source,
            epoch: number,
            packet: 0,
            open: (parts > 1).then(|| Arc::new(AtomicU32::new(parts))),
        };
        (ack, committed)
    }

    /// Nothing is to be expected any more.
    pub(super) fn forget(&self, ack: &Ack) {
        self.lock().waiting.remove(&ack.epoch);
    }

    fn settle(&self, ack: &Ack) {
        if ack.settle()
            && let Some(done) = self.lock().waiting.remove(&ack.epoch)
        {
            // Whoever waited may have gone.
            let _ = done.send(());
        }
    }

    fn lock(&self) -> MutexGuard<'_, Waiting> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Lets those go on whose request has been committed.
pub async fn answer_committed(pending: Arc<Pending>, mut committed: mpsc::Receiver<Vec<Ack>>) {
    while let Some(acks) = committed.recv().await {
        acks.iter().for_each(|ack| pending.settle(ack));
    }
}
