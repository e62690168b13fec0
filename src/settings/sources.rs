//! The texts that settings are read from: files of a folder, or texts handed
//! in, and the environment.

use std::ffi::OsStr;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::key_path::KeyPath;
use super::mistake::{Mistake, Place};
use super::problem::Problem;

/// Every environment variable that is a setting begins so.
pub(super) const PREFIX: &str = "SUMPWARD__";
/// The folder of the fluids' data sheets.
const FLUIDS: &str = "fluids";
/// Ending of settings files.
const ENDING: &str = "toml";

/// One text of settings.
#[derive(Debug)]
pub(super) struct Source {
    /// Its name in messages.
    pub(super) name: Arc<str>,
    /// Its text.
    pub(super) text: String,
    /// Where in the tree of settings it hangs: the root, or a fluid.
    pub(super) mount: KeyPath,
}

/// Everything that settings are made from.
#[derive(Debug)]
pub(super) struct Sources {
    /// Named in a mistake that belongs to no file.
    pub(super) whole: Arc<str>,
    /// Paths in settings are relative to this folder.
    pub(super) base: PathBuf,
    /// The texts, earlier ones first.
    pub(super) texts: Vec<Source>,
    /// Name and value of variables that begin with [`PREFIX`], by name.
    pub(super) variables: Vec<(String, String)>,
    /// What could not even be read.
    pub(super) mistakes: Vec<Mistake>,
}

impl Sources {
    /// Reads `*.toml` and `fluids/*.toml` of a folder, by name.
    pub(super) fn of_folder(dir: &Path, env: impl Iterator<Item = (String, String)>) -> Self {
        let whole: Arc<str> = dir.display().to_string().into();
        let mut sources = Sources {
            whole: whole.clone(),
            base: dir.to_owned(),
            texts: Vec::new(),
            variables: variables(env),
            mistakes: Vec::new(),
        };
        match toml_files(dir) {
            Ok(files) if files.is_empty() => sources.tell(&whole, Problem::NoFiles),
            Ok(files) => sources.read_all(&files, false),
            Err(error) => sources.tell(&whole, Problem::Unreadable(error)),
        }
        let fluids = dir.join(FLUIDS);
        match toml_files(&fluids) {
            Ok(files) => sources.read_all(&files, true),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => sources.tell(
                &fluids.display().to_string().into(),
                Problem::Unreadable(error),
            ),
        }
        sources
    }

    /// Takes texts by name; one named `fluids/x.toml` is the data sheet of the
    /// fluid `x`.
    pub(super) fn of_texts(
        files: &[(&str, &str)],
        env: impl Iterator<Item = (String, String)>,
    ) -> Self {
        let mut sources = Sources {
            whole: files.first().map_or("settings", |(name, _)| name).into(),
            base: PathBuf::from("."),
            texts: Vec::new(),
            variables: variables(env),
            mistakes: Vec::new(),
        };
        for (name, text) in files {
            let path = Path::new(name);
            let is_fluid = path.parent().is_some_and(|folder| folder.ends_with(FLUIDS));
            sources.take(path, (*text).to_owned(), is_fluid);
        }
        sources
    }

    fn read_all(&mut self, files: &[PathBuf], are_fluids: bool) {
        for file in files {
            let name: Arc<str> = file.display().to_string().into();
            match fs::read(file).map(String::from_utf8) {
                Ok(Ok(text)) => self.take(file, text, are_fluids),
                Ok(Err(_)) => self.tell(&name, Problem::NotText),
                Err(error) => self.tell(&name, Problem::Unreadable(error)),
            }
        }
    }

    fn take(&mut self, file: &Path, text: String, is_fluid: bool) {
        let name: Arc<str> = file.display().to_string().into();
        let mount = if is_fluid {
            let stem = file.file_stem().unwrap_or_default().to_string_lossy();
            if !is_name(&stem) {
                return self.tell(&name, Problem::BadName(stem.into_owned()));
            }
            KeyPath::root().key("fluid").key(&stem)
        } else {
            KeyPath::root()
        };
        self.texts.push(Source { name, text, mount });
    }

    fn tell(&mut self, file: &Arc<str>, problem: Problem) {
        self.mistakes.push(Mistake {
            place: Place::File(file.clone()),
            path: String::new(),
            problem,
        });
    }
}

/// Whether a name can be one level of a topic and part of a variable's name.
pub(super) fn is_name(name: &str) -> bool {
    let fits = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-' || b == b'_';
    (1..=64).contains(&name.len()) && name.bytes().all(fits)
}

fn variables(env: impl Iterator<Item = (String, String)>) -> Vec<(String, String)> {
    let mut ours: Vec<_> = env.filter(|(name, _)| name.starts_with(PREFIX)).collect();
    ours.sort();
    ours
}

fn toml_files(dir: &Path) -> io::Result<Vec<PathBuf>> {
    let mut files = Vec::new();
    for entry in fs::read_dir(dir)? {
        let path = entry?.path();
        let hidden = path
            .file_name()
            .is_some_and(|name| name.as_encoded_bytes().starts_with(b"."));
        if path.extension() == Some(OsStr::new(ENDING)) && !hidden && path.is_file() {
            files.push(path);
        }
    }
    files.sort();
    Ok(files)
}
