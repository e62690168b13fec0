//! Readings and entries from an MQTT broker.
//!
//! One task a broker polls the client and does nothing that could block for
//! long; a second one acknowledges what has been committed. Both share a
//! [`Link`]: an acknowledgement is handed to the client only while the
//! connection that brought the message still stands, so that it can never
//! confirm another message that bears the same packet identifier.

mod births;
mod link;
mod poll;
mod read;
mod subscriptions;

pub use link::{Link, acknowledge};

use std::sync::Arc;

use tokio_util::sync::CancellationToken;

use super::intake::Intake;
use super::recent::Recent;
use super::report::SourceReport;
use super::router::Router;
use crate::engine::{AdmissionSetup, SumpSetup};
use crate::settings::BrokerSettings;
use crate::units::Timestamp;

use poll::Poller;

/// One broker as a source.
pub struct Source {
    /// Its place among the sources.
    pub ix: u16,
    /// The broker.
    pub broker: BrokerSettings,
    /// Its topics.
    pub router: Router,
    /// The plant's sumps, which entries are checked against.
    pub sumps: Arc<[Arc<SumpSetup>]>,
    /// Which times of readings are believed.
    pub admission: AdmissionSetup,
    /// The doors of the shards.
    pub intake: Intake,
    /// Newest messages without a time of their own.
    pub recent: Recent,
    /// What it says of itself.
    pub report: Arc<SourceReport>,
    /// The clock.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
}

impl Source {
    /// The link that [`acknowledge`] needs, and what polls. It wants a thread
    /// of its own, with a runtime on it, since it makes the thread sleep while
    /// the socket gathers messages.
    pub fn start(self, stop: CancellationToken) -> (Arc<Link>, impl Future<Output = ()>) {
        let link = Link::new();
        let poller = Poller::new(self, Arc::clone(&link));
        (link, poller.run(stop))
    }
}
