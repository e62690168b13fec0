//! Secrets, from files of their own or from the environment.

use std::fs;
use std::path::Path;

use super::key_path::KeyPath;
use super::problem::Problem;
use super::review::Review;
use super::secret::Secret;

/// A secret and how it is settled: the name of its key, and that of the key
/// which names its file.
#[derive(Debug, Clone, Copy)]
pub(super) struct Kept<'a> {
    pub(super) key: &'static str,
    pub(super) file_key: &'static str,
    pub(super) secret: Option<&'a Secret>,
    pub(super) file: Option<&'a str>,
}

/// The secret from its file or from the environment; in a settings file it was
/// refused before it came here. Paths are relative to `base`.
pub(super) fn secret(
    review: &mut Review,
    at: &KeyPath,
    kept: Kept<'_>,
    base: &Path,
) -> Option<Option<Secret>> {
    let path = at.key(kept.file_key);
    match (kept.secret, kept.file) {
        (secret, None) => Some(secret.cloned()),
        (Some(_), Some(_)) => {
            review.tell(&path, Problem::NotBoth(kept.key, kept.file_key));
            None
        }
        (None, Some(file)) => {
            let text = fs::read_to_string(base.join(file)).map_err(Problem::Unreadable);
            let words = review.good(&path, text)?;
            let words = words.trim_end_matches(['\r', '\n']);
            if words.is_empty() {
                review.tell(&path, Problem::EmptySecret);
                return None;
            }
            Some(Some(Secret::new(words)))
        }
    }
}
