//! The exchange as its connections share it.

use std::sync::{Mutex, MutexGuard};

use tokio::sync::Notify;

use super::BrokerLimits;
use super::exchange::Exchange;

/// The exchange behind a lock that is never held across a wait, and a bell
/// that rings after each change.
#[derive(Debug)]
pub(super) struct Hub {
    limits: BrokerLimits,
    exchange: Mutex<Exchange>,
    changed: Notify,
}

impl Hub {
    pub(super) fn new(limits: BrokerLimits) -> Self {
        Hub {
            limits,
            exchange: Mutex::new(Exchange::new(limits)),
            changed: Notify::new(),
        }
    }

    pub(super) fn limits(&self) -> BrokerLimits {
        self.limits
    }

    /// Changes the exchange.
    pub(super) fn with<T>(&self, change: impl FnOnce(&mut Exchange) -> T) -> T {
        let outcome = change(&mut self.lock());
        self.changed.notify_waiters();
        outcome
    }

    /// Looks at the exchange.
    pub(super) fn look<T>(&self, at: impl FnOnce(&Exchange) -> T) -> T {
        at(&self.lock())
    }

    /// Waits until the exchange is as wished.
    pub(super) async fn until(&self, wished: impl Fn(&Exchange) -> bool) {
        loop {
            let changed = self.changed.notified();
            tokio::pin!(changed);
            changed.as_mut().enable();
            if self.look(&wished) {
                return;
            }
            changed.await;
        }
    }

    fn lock(&self) -> MutexGuard<'_, Exchange> {
        self.exchange
            .lock()
            .expect("no call into the exchange panics")
    }
}
