//! A file that is written beside its place and put there once it is whole: a
//! failure, a stop and a reader never meet half of it.

use std::fs::{self, File, OpenOptions};
use std::io;
use std::path::{Path, PathBuf};

use super::{NO, WRONG};

/// A file under way.
#[derive(Debug)]
pub(super) struct Beside {
    place: PathBuf,
    part: PathBuf,
    over: bool,
    whole: bool,
}

/// Why a file is not there.
#[derive(Debug, thiserror::Error)]
pub(super) enum BesideError {
    #[error("{} is there already; give another name, or --force to write over it", place.display())]
    There { place: PathBuf },
    #[error("{} is a folder; name a file in it", place.display())]
    IsFolder { place: PathBuf },
    #[error("{} is no name of a file", place.display())]
    NoName { place: PathBuf },
    #[error(
        "{} cannot be written: there is no folder {}; make it first",
        place.display(),
        folder.display()
    )]
    NoFolder { place: PathBuf, folder: PathBuf },
    #[error("{} cannot be written: {}", place.display(), with_what_to_do(error))]
    Io { place: PathBuf, error: io::Error },
}

impl BesideError {
    /// The exit status that tells a calling program.
    pub(super) fn status(&self) -> u8 {
        match self {
            BesideError::NoFolder { .. } | BesideError::Io { .. } => NO,
            _ => WRONG,
        }
    }
}

/// The error of a file that is written, and what helps.
pub(super) fn with_what_to_do(error: &io::Error) -> String {
    let what = match error.kind() {
        io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => {
            "make room there, or name a file on another disk"
        }
        io::ErrorKind::PermissionDenied => {
            "name a file where you may write, or run this as who may"
        }
        _ => return error.to_string(),
    };
    format!("{error}; {what}")
}

/// The folder of a file.
fn folder_of(place: &Path) -> &Path {
    let folder = place.parent();
    let named = folder.filter(|folder| !folder.as_os_str().is_empty());
    named.unwrap_or(Path::new("."))
}

impl Beside {
    /// Begins a file; `over` says whether one that is there may go.
    ///
    /// # Errors
    /// When there is one that may not, or the folder takes none.
    pub(super) fn begin(place: &Path, over: bool) -> Result<(Self, File), BesideError> {
        if place.is_dir() {
            return Err(BesideError::IsFolder {
                place: place.to_owned(),
            });
        }
        if !over && place.symlink_metadata().is_ok() {
            return Err(BesideError::There {
                place: place.to_owned(),
            });
        }
        let replaces_no_file = place.metadata().is_ok_and(|there| !there.is_file());
        let name = place.file_name().filter(|_| !replaces_no_file);
        let name = name.ok_or_else(|| BesideError::NoName {
            place: place.to_owned(),
        })?;
        let folder = folder_of(place);
        if !folder.is_dir() {
            return Err(BesideError::NoFolder {
                place: place.to_owned(),
                folder: folder.to_owned(),
            });
        }
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}.part", std::process::id()));
        let part = place.with_file_name(hidden);
        let file = OpenOptions::new()
            .read(true)
            .write(true)
            .create_new(true)
            .open(&part)
            .map_err(|error| BesideError::Io {
                place: place.to_owned(),
                error,
            })?;
        let beside = Beside {
            place: place.to_owned(),
            part,
            over,
            whole: false,
        };
        Ok((beside, file))
    }

    /// Puts the file in its place, once it is on the disk.
    ///
    /// # Errors
    /// When the disk refuses, or somebody else has put one there meanwhile.
    pub(super) fn finish(mut self, file: &File) -> Result<(), BesideError> {
        let put = file.sync_all().and_then(|()| {
            if self.over {
                return fs::rename(&self.part, &self.place);
            }
            match fs::hard_link(&self.part, &self.place) {
                Ok(()) => fs::remove_file(&self.part),
                Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(error),
                // A file system without links, as on many memory sticks.
                Err(_) if !self.place.exists() => fs::rename(&self.part, &self.place),
                Err(error) => Err(error),
            }
        });
        match put {
            Ok(()) => {
                self.whole = true;
                Ok(())
            }
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Err(BesideError::There {
                place: self.place.clone(),
            }),
            Err(error) => Err(BesideError::Io {
                place: self.place.clone(),
                error,
            }),
        }
    }
}

impl Drop for Beside {
    fn drop(&mut self) {
        if !self.whole {
            // What cannot be removed now is told by its name.
            let _ = fs::remove_file(&self.part);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn names(folder: &Path) -> Vec<String> {
        let names = fs::read_dir(folder).unwrap();
        let mut names: Vec<String> = names
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn it_is_there_whole_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("a.csv");
        let (beside, mut file) = Beside::begin(&place, false).unwrap();
        file.write_all(b"one").unwrap();
        assert!(!place.exists());
        beside.finish(&file).unwrap();
        assert_eq!(fs::read(&place).unwrap(), b"one");
        // Given up in the middle: nothing of it is left.
        let (beside, mut file) = Beside::begin(&place, true).unwrap();
        file.write_all(b"tw").unwrap();
        drop(beside);
        assert_eq!(fs::read(&place).unwrap(), b"one");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }

    #[test]
    fn what_is_there_stays_unless_it_may_go() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("a.csv");
        // Somebody else is faster.
        let (beside, file) = Beside::begin(&place, false).unwrap();
        fs::write(&place, "theirs").unwrap();
        let late = beside.finish(&file).unwrap_err();
        assert!(matches!(late, BesideError::There { .. }), "{late}");
        let told = Beside::begin(&place, false).unwrap_err().to_string();
        assert!(told.contains("--force"), "{told}");
        let (beside, file) = Beside::begin(&place, true).unwrap();
        beside.finish(&file).unwrap();
        assert_eq!(fs::read(&place).unwrap(), b"");
        assert_eq!(names(folder.path()), ["a.csv"]);
    }
}
