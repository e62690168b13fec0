//! What was said on the way to a receiver, without what is secret.

use std::fmt;

/// Most lines that are kept of one delivery.
const MOST: usize = 200;

/// Lines of both sides.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Dialogue {
    lines: Vec<String>,
}

impl Dialogue {
    /// We said this.
    pub(super) fn ours(&mut self, line: impl fmt::Display) {
        self.push(format!("> {line}"));
    }

    /// They said this.
    pub(super) fn theirs(&mut self, line: impl fmt::Display) {
        self.push(format!("< {line}"));
    }

    /// Neither side said this.
    pub(super) fn remark(&mut self, line: impl fmt::Display) {
        self.push(format!("* {line}"));
    }

    fn push(&mut self, line: String) {
        if self.lines.len() < MOST {
            // Nothing that a server says moves the reader's cursor.
            let plain = line.chars().map(|c| if c.is_control() { '·' } else { c });
            self.lines.push(plain.collect());
        }
    }

    /// The lines: `>` ours, `<` theirs, `*` remarks.
    pub fn lines(&self) -> &[String] {
        &self.lines
    }
}
