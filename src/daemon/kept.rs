//! The watches as the store keeps them, beside a running daemon or after it:
//! as they stood at their last snapshot, without the readings since.

use std::sync::Arc;

use crate::engine::{SumpSetup, SumpSnapshot, SumpWatch};
use crate::settings::Settings;
use crate::store::{FILE_NAME, Reader, StoreError};

/// Why a watch cannot be taken from the store.
#[derive(Debug, thiserror::Error)]
pub enum KeptError {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// What it keeps is not what this version writes.
    #[error(
        "what the store keeps of the sump {sump} cannot be read ({error}); start the daemon of \
         this version once, so that it is written anew"
    )]
    Unreadable {
        /// The sump.
        sump: Arc<str>,
        /// What is wrong with it.
        error: serde_json::Error,
    },
}

/// The plant's store, for reading; nothing where there is none yet.
pub fn store(settings: &Settings) -> Result<Option<Reader>, StoreError> {
    let folder = &settings.store.folder;
    folder
        .join(FILE_NAME)
        .exists()
        .then(|| Reader::open(folder))
        .transpose()
}

/// The watch over a sump; nothing where none was kept yet.
pub fn watch(
    settings: &Settings,
    reader: &Reader,
    sump: &Arc<SumpSetup>,
) -> Result<Option<SumpWatch>, KeptError> {
    let Some(kept) = reader.snapshot(&sump.name)? else {
        return Ok(None);
    };
    let snapshot: SumpSnapshot =
        serde_json::from_slice(&kept.body).map_err(|error| KeptError::Unreadable {
            sump: Arc::clone(&sump.name),
            error,
        })?;
    let setup = Arc::clone(sump);
    let watch = SumpWatch::restore(setup, settings.admission, snapshot);
    Ok(Some(watch))
}
