//! The pages, served on a thread of their own.

use std::sync::Arc;
use std::thread::JoinHandle;

use axum::Router;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::{DaemonError, Ended, spawn};
use crate::ingest::Ack;
use crate::ingest::control::{EntryDoor, answer_committed};
use crate::notify::{Links, Texts};
use crate::settings::Settings;
use crate::store;
use crate::web::{Acknowledge, Health, Listener, Mishaps, acknowledge, health};

/// What pages need.
pub(super) struct Pages {
    /// The plant.
    pub(super) settings: Arc<Settings>,
    /// What the store's writer has done.
    pub(super) stats: Arc<store::Stats>,
    /// The words.
    pub(super) texts: Texts,
    /// Reads links, where there are any.
    pub(super) links: Option<Links>,
    /// Takes entries.
    pub(super) door: EntryDoor,
    /// Tells of what was committed for the door.
    pub(super) committed: mpsc::Receiver<Vec<Ack>>,
    /// The page for programs that collect values.
    pub(super) metrics: Router,
}

impl Pages {
    /// Serves them until `stop`.
    pub(super) fn serve(
        self,
        listener: Listener,
        stop: &CancellationToken,
    ) -> Result<JoinHandle<Ended>, DaemonError> {
        let mishaps = Mishaps::default();
        let health = Health::new(self.stats);
        let mut pages = Router::new()
            .merge(health::routes(health.clone()))
            .merge(self.metrics);
        if let Some(links) = self.links {
            pages = pages.merge(acknowledge::routes(Acknowledge {
                settings: self.settings,
                links,
                texts: self.texts,
                clock: Arc::clone(&self.door.clock),
                door: self.door.clone(),
                mishaps: mishaps.clone(),
            }));
        }
        let committed = answer_committed(Arc::clone(&self.door.pending), self.committed);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(DaemonError::Thread)?;
        let until = stop.clone();
        spawn("web".to_owned(), stop, move || {
            let served = runtime.block_on(async {
                tokio::spawn(health.watch(until.clone()));
                tokio::spawn(committed);
                listener.serve(pages, mishaps, until).await
            });
            if let Err(error) = served {
                tracing::error!("the pages cannot be served: {error}");
            }
        })
    }
}
