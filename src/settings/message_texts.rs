//! The texts of messages that a plant lays over the built-in ones.

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::Path;
use std::sync::Arc;

use super::defaults;
use super::key_path::KeyPath;
use super::problem::Problem;
use super::raw::RawMessages;
use super::review::Review;
use super::sources::is_name;

/// Languages that come with the program.
const BUILT_IN: [&str; 2] = ["de", "en"];
/// Most files that a plant's folder may hold.
const MOST_FILES: usize = 500;
/// Longest file, in bytes.
const LONGEST_FILE: u64 = 64 * 1024;
/// Ending of layouts.
const LAYOUT: &str = "txt";
/// The file of a language's sentences.
const PHRASES: &str = "phrases.toml";
/// The file of its words for reports.
pub const REPORT_WORDS: &str = "report.toml";

/// In which words messages are told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessageTexts {
    /// The language of the plant: of the sumps' own topics, and of contacts
    /// that have none of their own.
    pub language: Arc<str>,
    /// Every language that there is, by name.
    pub languages: BTreeSet<Arc<str>>,
    /// The plant's own files, by language and name.
    pub files: Vec<TextFile>,
}

/// One file of texts.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct TextFile {
    /// The language that it is for; all where it has none.
    pub language: Option<Arc<str>>,
    /// Its name without a folder.
    pub name: String,
    /// Where it stands, as people are told.
    pub shown: String,
    /// What it says.
    pub text: String,
}

impl Default for MessageTexts {
    fn default() -> Self {
        MessageTexts {
            language: defaults::LANGUAGE.into(),
            languages: BUILT_IN.into_iter().map(Arc::from).collect(),
            files: Vec::new(),
        }
    }
}

/// Reads `[messages]` folder and language; paths are relative to `base`.
pub(super) fn message_texts(
    review: &mut Review,
    raw: &RawMessages,
    base: &Path,
) -> Option<MessageTexts> {
    let at = KeyPath::root().key("messages");
    let mut texts = MessageTexts::default();
    if let Some(folder) = &raw.folder {
        let read = read_folder(&base.join(folder), &mut texts);
        review.good(&at.key("folder"), read)?;
        texts.files.sort();
    }
    texts.language = language(
        review,
        &at.key("language"),
        raw.language.as_deref(),
        Some(&texts),
    )?;
    Some(texts)
}

/// The language of this name; the plant's where none is written.
pub(super) fn language(
    review: &mut Review,
    at: &KeyPath,
    written: Option<&str>,
    texts: Option<&MessageTexts>,
) -> Option<Arc<str>> {
    let texts = texts?;
    let Some(name) = written else {
        return Some(Arc::clone(&texts.language));
    };
    let found = texts.languages.get(name);
    if found.is_none() {
        let known = texts.languages.iter().map(|known| &**known);
        review.unknown_name(at, "language", name, known);
    }
    found.cloned()
}

fn read_folder(folder: &Path, texts: &mut MessageTexts) -> Result<(), Problem> {
    for entry in fs::read_dir(folder).map_err(|error| unreadable(folder, &error))? {
        let path = entry.map_err(|error| unreadable(folder, &error))?.path();
        if path.is_dir() {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if !is_name(&name) {
                return Err(Problem::BadName(name.into_owned()));
            }
            let language: Arc<str> = name.into();
            texts.languages.insert(Arc::clone(&language));
            for entry in fs::read_dir(&path).map_err(|error| unreadable(&path, &error))? {
                let path = entry.map_err(|error| unreadable(&path, &error))?.path();
                take(&path, Some(&language), texts)?;
            }
        } else {
            take(&path, None, texts)?;
        }
    }
    Ok(())
}

/// Takes layouts, and of a language its sentences; passes over what else lies
/// there.
fn take(path: &Path, language: Option<&Arc<str>>, texts: &mut MessageTexts) -> Result<(), Problem> {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let is_layout = path.extension().is_some_and(|ending| ending == LAYOUT);
    let is_toml = path.extension().is_some_and(|ending| ending == "toml");
    let is_read = [PHRASES, REPORT_WORDS].contains(&&*name) && language.is_some();
    if is_toml && !is_read {
        let shown = path.display();
        return Err(Problem::Other(format!(
            "{shown} is never read: the sentences of a language stand in {PHRASES} and {REPORT_WORDS}, in the folder of the language"
        )));
    }
    if !is_layout && !is_toml {
        return Ok(());
    }
    let length = fs::metadata(path)
        .map_err(|error| unreadable(path, &error))?
        .len();
    if length > LONGEST_FILE || texts.files.len() == MOST_FILES {
        let shown = path.display();
        return Err(Problem::Other(format!(
            "{shown} is too much: at most {MOST_FILES} files of {LONGEST_FILE} bytes each"
        )));
    }
    let text = fs::read_to_string(path).map_err(|error| unreadable(path, &error))?;
    texts.files.push(TextFile {
        language: language.cloned(),
        name: name.into_owned(),
        shown: path.display().to_string(),
        text,
    });
    Ok(())
}

fn unreadable(path: &Path, error: &io::Error) -> Problem {
    Problem::Other(format!("{} cannot be read: {error}", path.display()))
}
