//! Entries on their way to a watch: are they there already, and is what they
//! correct?

use std::collections::HashSet;
use std::path::PathBuf;

use crate::engine::{Correction, CorrectionError, Entry, PlantWatch, SumpWatch};
use crate::ingest::EntryOutcome;
use crate::settings::nearest;
use crate::store::Reader;
use crate::units::Timestamp;

/// A watch that takes entries: of a sump, or of the plant.
pub(super) trait Takes {
    fn knows_entry(&self, id: &str) -> bool;
    fn check_entry(&self, entry: &Entry) -> Result<Correction, CorrectionError>;
    fn is_ahead(&self, entry: &Entry, arrival: Timestamp) -> bool;
    fn names_in_vain(&self, entry: &Entry) -> Option<String>;
    fn newest_ids(&self) -> Vec<&str>;
}

/// As the watch itself has them.
macro_rules! takes {
    ($($watch:ty),*) => {$(
        impl Takes for $watch {
            fn knows_entry(&self, id: &str) -> bool {
                <$watch>::knows_entry(self, id)
            }
            fn check_entry(&self, entry: &Entry) -> Result<Correction, CorrectionError> {
                <$watch>::check_entry(self, entry)
            }
            fn is_ahead(&self, entry: &Entry, arrival: Timestamp) -> bool {
                <$watch>::is_ahead(self, entry, arrival)
            }
            fn names_in_vain(&self, entry: &Entry) -> Option<String> {
                <$watch>::names_in_vain(self, entry)
            }
            fn newest_ids(&self) -> Vec<&str> {
                self.entry_ids().collect()
            }
        }
    )*};
}

takes!(SumpWatch, PlantWatch);

/// The journal, for what lies further back than a watch remembers.
pub(super) struct Journal {
    folder: PathBuf,
    /// Opened when it is first needed.
    reader: Option<Reader>,
    /// Sump and id of entries that may still be on their way to the store.
    under_way: HashSet<(String, String)>,
}

/// So many entries may be on their way to the store before it is waited for.
const UNDER_WAY: usize = 1024;

impl Journal {
    pub(super) fn new(folder: PathBuf) -> Self {
        Journal {
            folder,
            reader: None,
            under_way: HashSet::new(),
        }
    }

    /// An entry is on its way to the store.
    pub(super) fn handle_taken(&mut self, entry: &Entry) {
        let key = (entry.sump.clone(), entry.id.clone());
        self.under_way.insert(key);
    }

    /// Whether so many entries are on their way that they are to be waited for.
    pub(super) fn is_crowded(&self) -> bool {
        self.under_way.len() >= UNDER_WAY
    }

    /// Every entry that was on its way is in the store.
    pub(super) fn handle_stored(&mut self) {
        self.under_way.clear();
    }

    /// What will become of an entry that arrives at `arrival`.
    pub(super) fn judge(
        &mut self,
        watch: &impl Takes,
        entry: &Entry,
        arrival: Timestamp,
    ) -> EntryOutcome {
        if self.knows(watch, entry) {
            return EntryOutcome::Known;
        }
        match watch.check_entry(entry) {
            Ok(Correction::Plain) if watch.is_ahead(entry, arrival) => EntryOutcome::Taken {
                note: Some(format!(
                    "{} is yet to come; taken as of now, {arrival}",
                    entry.time
                )),
            },
            Ok(Correction::Plain) => EntryOutcome::Taken {
                note: watch.names_in_vain(entry),
            },
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
                    && let Some(near) = nearest(found, watch.newest_ids())
                {
                    why += &format!("; did you mean \"{near}\"?");
                }
                EntryOutcome::Refused { why }
            }
        }
    }

    /// What will become of an entry out of history: it may correct one that is
    /// yet to come out of the same file, but not what another has superseded.
    pub(super) fn judge_past(&mut self, watch: &impl Takes, entry: &Entry) -> EntryOutcome {
        if self.knows(watch, entry) {
            return EntryOutcome::Known;
        }
        match watch.check_entry(entry) {
            Err(error @ CorrectionError::Superseded { .. }) => EntryOutcome::Refused {
                why: error.to_string(),
            },
            _ => EntryOutcome::Taken { note: None },
        }
    }

    /// Whether the entry was taken before, however many came in between.
    /// Without an answer it was not: an entry is rather kept twice than lost.
    fn knows(&mut self, watch: &impl Takes, entry: &Entry) -> bool {
        watch.knows_entry(&entry.id) || self.has(&entry.sump, &entry.id).unwrap_or(false)
    }

    /// Whether the journal holds what the entry supersedes. Without an answer
    /// it is taken to: a correction is rather kept than lost.
    fn has_superseded(&mut self, entry: &Entry) -> bool {
        let superseded = entry.supersedes.as_deref();
        superseded.is_some_and(|id| self.has(&entry.sump, id).unwrap_or(true))
    }

    /// Whether an entry is in the journal or on its way there; nothing when the
    /// store cannot be asked.
    fn has(&mut self, sump: &str, id: &str) -> Option<bool> {
        if self.under_way.contains(&(sump.to_owned(), id.to_owned())) {
            return Some(true);
        }
        if self.reader.is_none() {
            self.reader = Reader::open(&self.folder).ok();
        }
        self.reader.as_ref()?.has_entry(sump, id).ok()
    }
}

/// Said of a correction whose entry the watch no longer has in mind.
const FORGOTTEN: &str =
    "what it supersedes lies too far back for anything to be undone; both are kept";

#[cfg(test)]
mod tests {
    use std::path::Path;
    use std::sync::Arc;

    use super::*;
    use crate::engine::{EntryKind, Event};
    use crate::settings::Settings;
    use crate::units::{Span, Timestamp};

    fn note(n: usize, supersedes: Option<&str>) -> Entry {
        Entry {
            id: format!("n{n}"),
            time: Timestamp::from_millis(0) + Span::from_secs(n as i64),
            sump: "mill-4".to_owned(),
            by: None,
            supersedes: supersedes.map(str::to_owned),
            kind: EntryKind::Note {
                text: "foam".to_owned(),
            },
        }
    }

    fn watch() -> SumpWatch {
        let config = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        let settings = Settings::load(&config, std::iter::empty()).expect("the example is valid");
        let mut sumps = settings.sumps.iter();
        let sump = sumps.find(|sump| &*sump.name == "mill-4").unwrap();
        SumpWatch::new(
            Arc::clone(sump),
            settings.admission,
            Timestamp::from_millis(0),
        )
    }

    #[test]
    fn what_no_commit_has_reached_is_known_once_the_watch_has_forgotten_it() {
        let store = tempfile::tempdir().unwrap();
        // There is no store yet, so that nobody but the journal's memory knows.
        let mut journal = Journal::new(store.path().to_owned());
        let mut watch = watch();
        for n in 0..100 {
            let entry = note(n, None);
            let taken = EntryOutcome::Taken { note: None };
            assert_eq!(journal.judge(&watch, &entry, Timestamp::MAX), taken, "{n}");
            journal.handle_taken(&entry);
            let event = Event::Entry(Box::new(entry.clone()), entry.time);
            watch.step(&event, &mut Vec::new());
        }
        assert!(!watch.knows_entry("n0"), "the watch has forgotten it");
        assert_eq!(
            journal.judge(&watch, &note(0, None), Timestamp::MAX),
            EntryOutcome::Known
        );
        assert_eq!(
            journal.judge_past(&watch, &note(0, None)),
            EntryOutcome::Known
        );
        let corrected = journal.judge(&watch, &note(101, Some("n0")), Timestamp::MAX);
        assert!(
            matches!(corrected, EntryOutcome::Taken { note: Some(_) }),
            "{corrected:?}"
        );
    }

    #[test]
    fn the_memory_of_what_is_under_way_says_when_it_is_full() {
        let mut journal = Journal::new(PathBuf::new());
        for n in 0..UNDER_WAY {
            assert!(!journal.is_crowded());
            journal.handle_taken(&note(n, None));
        }
        assert!(journal.is_crowded());
        journal.handle_stored();
        assert!(!journal.is_crowded());
    }
}
