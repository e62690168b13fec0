//! The file with the lines that a server will not take.
//!
//! One JSON object a line: when, the target, the server's words, the line. Only
//! whoever runs the daemon can read it. Once it is full it becomes the one before
//! the last, and a new one is begun: two files a target, never more.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::units::Timestamp;

/// A file is not longer than this and one line, bytes. Choice: some ten thousand
/// lines, enough to see what is wrong.
const LONGEST: u64 = 4 << 20;

/// One line that was refused for good.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(super) struct DeadLetter<'a> {
    /// When.
    pub(super) time: Timestamp,
    /// By which target.
    pub(super) target: &'a str,
    /// The server's words.
    pub(super) words: &'a str,
    /// The line, without its end.
    pub(super) line: &'a str,
}

/// The files of one target.
#[derive(Debug)]
pub(super) struct DeadLetters {
    path: PathBuf,
}

impl DeadLetters {
    /// In the store's folder.
    pub(super) fn new(folder: &Path, target: &str) -> Self {
        DeadLetters {
            path: folder.join(format!("dead-letters-{target}.jsonl")),
        }
    }

    /// Where they are.
    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Writes some of them to the end of the file.
    ///
    /// # Errors
    /// When the disk refuses.
    pub(super) fn append(&self, letters: &[DeadLetter<'_>]) -> io::Result<()> {
        let mut file = self.open()?;
        let mut length = file.metadata()?.len();
        let mut text = Vec::new();
        for letter in letters {
            serde_json::to_writer(&mut text, letter).map_err(io::Error::from)?;
            text.push(b'\n');
            if length + text.len() as u64 > LONGEST {
                file.write_all(&text)?;
                text.clear();
                fs::rename(&self.path, self.path.with_extension("jsonl.1"))?;
                file = self.open()?;
                length = 0;
            }
        }
        file.write_all(&text)
    }

    fn open(&self) -> io::Result<File> {
        OpenOptions::new()
            .create(true)
            .append(true)
            .mode(0o600)
            .open(&self.path)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn two_files_hold_the_newest_and_nobody_else_reads_them() {
        let folder = tempfile::tempdir().unwrap();
        let letters = DeadLetters::new(folder.path(), "plant-history");
        let line = "x".repeat(1000);
        let letter = |number: i64| DeadLetter {
            time: Timestamp::from_millis(number),
            target: "plant-history",
            words: "status 400: \"no\"",
            line: &line,
        };
        let all: Vec<_> = (0..15_000).map(letter).collect();
        for some in all.chunks(700) {
            letters.append(some).unwrap();
        }
        let names: Vec<_> = fs::read_dir(folder.path())
            .unwrap()
            .map(Result::unwrap)
            .collect();
        assert_eq!(names.len(), 2);
        for entry in names {
            let meta = entry.metadata().unwrap();
            assert!(meta.len() <= LONGEST + 2000, "{}", meta.len());
            assert_eq!(meta.permissions().mode() & 0o777, 0o600);
        }
        let newest = fs::read_to_string(letters.path()).unwrap();
        let last: serde_json::Value = serde_json::from_str(newest.lines().last().unwrap()).unwrap();
        assert_eq!(last["words"], "status 400: \"no\"");
        assert_eq!(last["time"], "1970-01-01T00:00:14.999Z");
    }
}
