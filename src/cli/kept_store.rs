//! The store that a subcommand reads, whether a daemon runs or not.

use std::path::PathBuf;

use super::{NO, WRONG};
use crate::daemon::kept;
use crate::settings::Settings;
use crate::store::{Reader, StoreError};

/// Why there is none to read.
#[derive(Debug, thiserror::Error)]
pub(super) enum NoStore {
    #[error(
        "there is no store in {} yet; it begins when the daemon is started with `sumpward run`",
        folder.display()
    )]
    NotYet { folder: PathBuf },
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl NoStore {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            NoStore::NotYet { .. } => WRONG,
            NoStore::Store(_) => NO,
        }
    }
}

/// The plant's store, for reading.
///
/// # Errors
/// When there is none yet, or it cannot be read.
pub(super) fn kept_store(settings: &Settings) -> Result<Reader, NoStore> {
    kept::store(settings)?.ok_or_else(|| NoStore::NotYet {
        folder: settings.store.folder.clone(),
    })
}
