//! `run`: the daemon.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio_util::sync::CancellationToken;

use crate::daemon::{self, Clock, DaemonError};
use crate::settings::Settings;

/// Draining takes at most so long; then the process ends anyway.
const GRACE: Duration = Duration::from_secs(15);

/// Runs the daemon until SIGTERM or SIGINT. Gives whether it could: what is
/// wrong with the texts of messages is told here.
pub(super) fn run(settings: Settings) -> anyhow::Result<bool> {
    // For messages and acknowledgements; sources, engine and store have threads
    // of their own.
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("cannot start the runtime")?;
    runtime.block_on(async {
        let stop = CancellationToken::new();
        stop_on_signal(stop.clone())?;
        match daemon::run(Arc::new(settings), Clock::System, stop).await {
            Err(DaemonError::Texts(mistakes)) => {
                eprintln!("{mistakes}");
                Ok(false)
            }
            ended => Ok(ended.map(|()| true)?),
        }
    })
}

/// The first signal drains the daemon; a second one, or the end of the grace
/// time, ends the process at once. What was acknowledged is on the disk.
pub(super) fn stop_on_signal(stop: CancellationToken) -> anyhow::Result<()> {
    let mut terminate = signal(SignalKind::terminate()).context("cannot listen for SIGTERM")?;
    let mut interrupt = signal(SignalKind::interrupt()).context("cannot listen for SIGINT")?;
    tokio::spawn(async move {
        either(&mut terminate, &mut interrupt).await;
        stop.cancel();
        tokio::select! {
            () = either(&mut terminate, &mut interrupt) => {
                tracing::warn!("second signal: ending at once");
            }
            () = tokio::time::sleep(GRACE) => {
                tracing::error!(grace_s = GRACE.as_secs(), "draining takes too long: ending at once");
            }
        }
        std::process::exit(1);
    });
    Ok(())
}

async fn either(one: &mut Signal, other: &mut Signal) {
    tokio::select! {
        _ = one.recv() => {}
        _ = other.recv() => {}
    }
}

/// Reads the settings in `folder` and the environment.
pub(super) fn load(folder: &Path) -> Result<Settings, crate::settings::SettingsError> {
    Settings::load(folder, std::env::vars())
}
