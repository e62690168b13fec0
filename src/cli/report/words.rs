//! The words that a plant lays over those of reports.

use crate::report::words::{OwnWords, Words, WordsError};
use crate::settings::{MessageTexts, REPORT_WORDS};

/// The plant's own words, of every language.
pub(in crate::cli) fn own(texts: &MessageTexts) -> Vec<OwnWords<'_>> {
    let files = texts.files.iter();
    files
        .filter(|file| file.name == REPORT_WORDS)
        .filter_map(|file| {
            Some(OwnWords {
                language: file.language.as_deref()?,
                shown: &file.shown,
                text: &file.text,
            })
        })
        .collect()
}

/// The words of the language that is asked for, or of the plant's messages;
/// English where a plant's own language has none of a report.
///
/// # Errors
/// When there is no such language, or something is wrong with the plant's own.
pub(super) fn asked(texts: &MessageTexts, language: Option<&str>) -> Result<Words, WordsError> {
    let own = own(texts);
    match language {
        Some(language) => Words::of(language, &own),
        None => match Words::of(&texts.language, &own) {
            Err(WordsError::Language { .. }) => Words::of("en", &own),
            found => found,
        },
    }
}
