//! The pages, served on a thread of their own.

use std::sync::Arc;
use std::thread::JoinHandle;

use axum::Router;
use tokio_util::sync::CancellationToken;

use super::{DaemonError, Ended, spawn};
use crate::store;
use crate::web::{Health, Listener, Mishaps, health};

/// What pages read.
pub(super) struct Pages {
    /// What the store's writer has done.
    pub(super) stats: Arc<store::Stats>,
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
        let pages = Router::new().merge(health::routes(health.clone()));
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(DaemonError::Thread)?;
        let until = stop.clone();
        spawn("web".to_owned(), stop, move || {
            let served = runtime.block_on(async {
                tokio::spawn(health.watch(until.clone()));
                listener.serve(pages, mishaps, until).await
            });
            if let Err(error) = served {
                tracing::error!("the pages cannot be served: {error}");
            }
        })
    }
}
