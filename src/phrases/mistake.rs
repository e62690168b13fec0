//! What is wrong with the texts that people wrote, and where.

use std::fmt;

/// One mistake in a text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TextMistake {
    /// The file.
    pub file: String,
    /// The line, from 1, where it is known.
    pub line: Option<usize>,
    /// What is wrong, and what is allowed.
    pub what: String,
}

/// Everything that is wrong with a plant's texts. Prints one mistake a line, as
/// `file:line: what is wrong`.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct TextsError {
    /// Never empty.
    pub mistakes: Vec<TextMistake>,
}

impl TextsError {
    /// These, each once, by file and line.
    pub fn new(mut mistakes: Vec<TextMistake>) -> Self {
        mistakes.sort_by(|a, b| (&a.file, a.line, &a.what).cmp(&(&b.file, b.line, &b.what)));
        mistakes.dedup();
        TextsError { mistakes }
    }
}

impl fmt::Display for TextMistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "{}:{line}: {}", self.file, self.what),
            None => write!(f, "{}: {}", self.file, self.what),
        }
    }
}

impl fmt::Display for TextsError {
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
