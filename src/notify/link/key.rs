//! The secret that links are signed with: of the settings, or made once and kept
//! beside the store.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

/// Its file in the store's folder.
const NAME: &str = "link.key";
/// Its name while it is written.
const UNREADY_NAME: &str = "link.key.new";
/// Bytes of chance.
const BYTES: usize = 32;
/// The system's source of chance.
const CHANCE: &str = "/dev/urandom";

/// Why there is no secret.
#[derive(Debug, thiserror::Error)]
pub enum LinkKeyError {
    /// It cannot be read or made.
    #[error(
        "the key of links {} cannot be read or made: {source}; see to it that the daemon may write into the store's folder, or name web.key_file",
        path.display()
    )]
    Io {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Others may read it.
    #[error(
        "the key of links {} can be read by others: take that right away (chmod 600), or delete it; with a new one the links that were sent are void",
        path.display()
    )]
    Open {
        /// The file.
        path: PathBuf,
    },
    /// It is cut off.
    #[error(
        "the key of links {} is not whole: delete it, and a new one is made; the links that were sent are void then",
        path.display()
    )]
    Short {
        /// The file.
        path: PathBuf,
    },
}

/// The secret of the store in `folder`; made where there is none. Whoever calls
/// this holds the folder's lock.
pub(super) fn kept(folder: &Path) -> Result<Vec<u8>, LinkKeyError> {
    let path = folder.join(NAME);
    let failed = |source| LinkKeyError::Io {
        path: path.clone(),
        source,
    };
    let mut file = match File::open(&path) {
        Ok(file) => file,
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            return make(folder).map_err(failed);
        }
        Err(error) => return Err(failed(error)),
    };
    if file.metadata().map_err(failed)?.permissions().mode() & 0o077 != 0 {
        return Err(LinkKeyError::Open { path });
    }
    let mut text = String::new();
    file.read_to_string(&mut text).map_err(failed)?;
    let text = text.trim_end();
    if text.len() != 2 * BYTES {
        return Err(LinkKeyError::Short { path });
    }
    Ok(text.as_bytes().to_vec())
}

/// Has its name only once it is whole and on the disk.
fn make(folder: &Path) -> io::Result<Vec<u8>> {
    let mut chance = [0; BYTES];
    File::open(CHANCE)?.read_exact(&mut chance)?;
    let text: String = chance.iter().map(|byte| format!("{byte:02x}")).collect();
    let unready = folder.join(UNREADY_NAME);
    if let Err(error) = std::fs::remove_file(&unready)
        && error.kind() != io::ErrorKind::NotFound
    {
        return Err(error);
    }
    let mut options = OpenOptions::new();
    let mut file = options
        .write(true)
        .create_new(true)
        .mode(0o600)
        .open(&unready)?;
    file.write_all(text.as_bytes())?;
    file.write_all(b"\n")?;
    file.sync_all()?;
    std::fs::rename(&unready, folder.join(NAME))?;
    File::open(folder)?.sync_all()?;
    Ok(text.into_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_is_made_once_and_read_by_its_owner_alone() {
        let folder = tempfile::tempdir().unwrap();
        let first = kept(folder.path()).unwrap();
        assert_eq!(first.len(), 64);
        assert_eq!(kept(folder.path()).unwrap(), first);
        let path = folder.path().join(NAME);
        let mode = |path: &Path| path.metadata().unwrap().permissions().mode() & 0o777;
        assert_eq!(mode(&path), 0o600);
        let other = tempfile::tempdir().unwrap();
        assert_ne!(kept(other.path()).unwrap(), first);
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o640)).unwrap();
        assert!(matches!(
            kept(folder.path()),
            Err(LinkKeyError::Open { .. })
        ));
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
        std::fs::write(&path, "0123\n").unwrap();
        assert!(matches!(
            kept(folder.path()),
            Err(LinkKeyError::Short { .. })
        ));
    }
}
