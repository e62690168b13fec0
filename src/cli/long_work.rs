//! A long piece of work: people see how far it has come, and may stop it.

use super::progress::Progress;
use super::stopped::Stopped;

/// The whole of it, measured by its share.
const WHOLE: u64 = 1_000_000;

/// A piece of work under way.
pub(super) struct LongWork {
    progress: Progress,
    stopped: Stopped,
}

/// A person stopped the work before its end.
#[derive(Debug, thiserror::Error)]
#[error("stopped; nothing was written")]
pub(super) struct StoppedEarly;

impl LongWork {
    /// Begins it; `shown` is whether somebody asked to see how far it has come,
    /// even without a terminal.
    ///
    /// # Errors
    /// When the system does not let us listen for signals.
    pub(super) fn begin(what: &'static str, shown: bool) -> anyhow::Result<Self> {
        Ok(LongWork {
            progress: Progress::asked_for(what, WHOLE, shown),
            stopped: Stopped::listen()?,
        })
    }

    /// It has come to this share of the whole, 0 to 1.
    ///
    /// # Errors
    /// When a person wants it to end.
    pub(super) fn at(&mut self, share: f64) -> Result<(), StoppedEarly> {
        self.progress.at((share * WHOLE as f64) as u64);
        self.goes_on()
    }

    /// Whether it goes on.
    ///
    /// # Errors
    /// When a person wants it to end.
    pub(super) fn goes_on(&self) -> Result<(), StoppedEarly> {
        match self.stopped.now() {
            true => Err(StoppedEarly),
            false => Ok(()),
        }
    }

    /// All is written.
    pub(super) fn done(&mut self) {
        self.progress.done();
    }
}
