//! Renaming a store's file out of the way; nothing is ever deleted.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use super::error::StoreError;

/// Renames the file and its write-ahead log, so that they still belong
/// together, to the first free name with this word in it.
pub(super) fn set_aside(path: &Path, word: &str) -> Result<PathBuf, StoreError> {
    let aside = (1u32..)
        .map(|n| with(path, &format!(".{word}-{n}")))
        .find(|name| !name.exists())
        .expect("a folder holds fewer than 2^32 files");
    let rename = || -> io::Result<()> {
        for ending in ["-wal", "-shm"] {
            match fs::rename(with(path, ending), with(&aside, ending)) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
        fs::rename(path, &aside)
    };
    rename().map_err(|source| StoreError::SetAside {
        path: path.to_owned(),
        source,
    })?;
    Ok(aside)
}

/// The path with something at its end.
pub(super) fn with(base: &Path, ending: &str) -> PathBuf {
    let mut name = base.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}
