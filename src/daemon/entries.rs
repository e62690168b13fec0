//! Entries on their way to a watch: is what they correct there?

use std::path::PathBuf;

use crate::engine::{Correction, CorrectionError, Entry, SumpWatch};
use crate::ingest::EntryOutcome;
use crate::settings::nearest;
use crate::store::Reader;

/// The journal, for what lies further back than a watch remembers.
pub(super) struct Journal {
    folder: PathBuf,
    /// Opened when it is first needed.
    reader: Option<Reader>,
}

impl Journal {
    pub(super) fn new(folder: PathBuf) -> Self {
        Journal {
            folder,
            reader: None,
        }
    }

    /// What will become of an entry.
    pub(super) fn judge(&mut self, watch: &SumpWatch, entry: &Entry) -> EntryOutcome {
        if watch.knows_entry(&entry.id) {
            return EntryOutcome::Known;
        }
        match watch.check_entry(entry) {
            Ok(Correction::Plain) => EntryOutcome::Taken { note: None },
            Ok(Correction::Forgotten) => EntryOutcome::Taken {
                note: Some(FORGOTTEN.to_owned()),
            },
            Err(CorrectionError::Unknown { .. }) if self.has_superseded(entry) => {
                EntryOutcome::Taken {
                    note: Some(FORGOTTEN.to_owned()),
                }
            }
            Err(error) => {
                let mut why = error.to_string();
                let found = entry.supersedes.as_deref().unwrap_or_default();
                if !watch.knows_entry(found)
                    && let Some(near) = nearest(found, watch.entry_ids())
                {
                    why += &format!("; did you mean \"{near}\"?");
                }
                EntryOutcome::Refused { why }
            }
        }
    }

    /// What will become of an entry out of history: it may correct one that is
    /// yet to come out of the same file, but not what another has superseded.
    pub(super) fn judge_past(&self, watch: &SumpWatch, entry: &Entry) -> EntryOutcome {
        if watch.knows_entry(&entry.id) {
            return EntryOutcome::Known;
        }
        match watch.check_entry(entry) {
            Err(error @ CorrectionError::Superseded { .. }) => EntryOutcome::Refused {
                why: error.to_string(),
            },
            _ => EntryOutcome::Taken { note: None },
        }
    }

    /// Whether the journal holds what the entry supersedes. Without an answer
    /// it is taken to: a correction is rather kept than lost.
    fn has_superseded(&mut self, entry: &Entry) -> bool {
        let Some(found) = &entry.supersedes else {
            return false;
        };
        if self.reader.is_none() {
            self.reader = Reader::open(&self.folder).ok();
        }
        let looked_up = self
            .reader
            .as_ref()
            .map(|reader| reader.has_entry(&entry.sump, found));
        looked_up.is_none_or(|found| found.unwrap_or(true))
    }
}

/// Said of a correction whose entry the watch no longer has in mind.
const FORGOTTEN: &str =
    "what it supersedes lies too far back for anything to be undone; both are kept";
