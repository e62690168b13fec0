//! Whether a person wants a long piece of work to end.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use anyhow::Context;
use tokio::signal::unix::{SignalKind, signal};

/// Set by SIGTERM and Ctrl-C, so that what was begun can be cleared away.
#[derive(Debug, Clone)]
pub(super) struct Stopped(Arc<AtomicBool>);

impl Stopped {
    /// Listens from now on.
    ///
    /// # Errors
    /// When the system does not let us.
    pub(super) fn listen() -> anyhow::Result<Self> {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .context("cannot start the runtime")?;
        let (mut terminate, mut interrupt) = {
            let _inside = runtime.enter();
            let terminate = signal(SignalKind::terminate()).context("cannot listen for SIGTERM")?;
            let interrupt = signal(SignalKind::interrupt()).context("cannot listen for SIGINT")?;
            (terminate, interrupt)
        };
        let stopped = Arc::new(AtomicBool::new(false));
        let set = Arc::clone(&stopped);
        std::thread::spawn(move || {
            runtime.block_on(async {
                tokio::select! {
                    _ = terminate.recv() => {}
                    _ = interrupt.recv() => {}
                }
            });
            set.store(true, Ordering::Relaxed);
        });
        Ok(Stopped(stopped))
    }

    /// Whether somebody wants it to end.
    pub(super) fn now(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
