//! A wrong setting and where it stands.

use std::fmt;
use std::sync::Arc;

use super::problem::Problem;

/// Where a setting stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// A file or folder as a whole.
    File(Arc<str>),
    /// A spot in a file.
    Spot {
        /// The file.
        file: Arc<str>,
        /// Line, from 1.
        line: usize,
        /// Column in characters, from 1.
        column: usize,
    },
    /// An environment variable.
    Variable(String),
}

/// One wrong setting.
#[derive(Debug)]
pub struct Mistake {
    /// Where it stands.
    pub place: Place,
    /// Its path, as `sump.turning-cell.target`; empty where a whole file is
    /// meant.
    pub path: String,
    /// What is wrong with it.
    pub problem: Problem,
}

/// Everything that is wrong with the settings, by file and line. Prints one
/// mistake a line, as `file:line:column: path: what is wrong`.
#[derive(Debug)]
pub struct SettingsError {
    /// Never empty.
    pub mistakes: Vec<Mistake>,
}

impl Place {
    /// Files by name, their lines as they come, the environment last.
    fn order(&self) -> (bool, &str, usize, usize) {
        match self {
            Place::File(file) => (false, file, 0, 0),
            Place::Spot { file, line, column } => (false, file, *line, *column),
            Place::Variable(name) => (true, name, 0, 0),
        }
    }
}

impl SettingsError {
    pub(super) fn new(mut mistakes: Vec<Mistake>) -> Self {
        mistakes.sort_by(|a, b| (a.place.order(), &a.path).cmp(&(b.place.order(), &b.path)));
        SettingsError { mistakes }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::File(file) => f.write_str(file),
            Place::Spot { file, line, column } => write!(f, "{file}:{line}:{column}"),
            Place::Variable(name) => f.write_str(name),
        }
    }
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.place)?;
        if !self.path.is_empty() {
            write!(f, "{}: ", self.path)?;
        }
        self.problem.fmt(f)
    }
}

impl fmt::Display for SettingsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, mistake) in self.mistakes.iter().enumerate() {
            if place > 0 {
                f.write_str("\n")?;
            }
            mistake.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for SettingsError {}
