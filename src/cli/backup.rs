//! `backup` and `restore`: a copy of the store while the daemon runs, checked,
//! and put back while it does not.

use std::path::Path;

use super::progress::Progress;
use crate::settings::Settings;
use crate::store::{self, BackupError, Checked};

/// Copies the store to `file`; gives what to tell.
///
/// # Errors
/// When there is no store, the file is there already, or cannot be written.
pub(super) fn backup(settings: &Settings, file: &Path) -> Result<String, BackupError> {
    let mut bar: Option<Progress> = None;
    let made = store::backup(&settings.store.folder, file, |done, all| {
        bar.get_or_insert_with(|| Progress::new("copying", all))
            .at(done);
    });
    if let Some(mut bar) = bar {
        bar.done();
    }
    Ok(format!("{} holds {}\n", file.display(), told(&made?)))
}

/// Reads a copy through; gives what to tell.
///
/// # Errors
/// When it is not a whole store.
pub(super) fn check(file: &Path) -> Result<String, BackupError> {
    let checked = store::check(file)?;
    Ok(format!("{} is whole: {}\n", file.display(), told(&checked)))
}

/// Puts a copy in the place of the store; gives what to tell.
///
/// # Errors
/// When a daemon has the store, or the copy is not whole.
pub(super) fn restore(settings: &Settings, file: &Path) -> Result<String, BackupError> {
    let (checked, aside) = store::restore(file, &settings.store.folder)?;
    let before = aside.map_or_else(String::new, |aside| {
        format!("; the store before is now {}", aside.display())
    });
    let folder = settings.store.folder.display();
    Ok(format!(
        "the store in {folder} holds {}{before}\n",
        told(&checked)
    ))
}

fn told(checked: &Checked) -> String {
    let newest = checked
        .newest
        .map_or_else(String::new, |newest| format!(", the newest of {newest}"));
    format!(
        "{} values, {} lines of the journal and {} unsent messages{newest}; \
         {:.1} MB, schema {}, every part read and whole",
        checked.values,
        checked.journal,
        checked.messages,
        checked.bytes as f64 / 1e6,
        checked.schema
    )
}
