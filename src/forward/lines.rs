//! Lines that are sent together, each of which can be told apart.

use std::ops::Range;

use bytes::Bytes;

/// Lines, one a point.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lines {
    bytes: Bytes,
    /// Where each line ends.
    ends: Vec<usize>,
}

impl Lines {
    /// Lines out of their text and where each ends.
    pub(super) fn new(text: Vec<u8>, ends: Vec<usize>) -> Self {
        Lines {
            bytes: text.into(),
            ends,
        }
    }

    /// How many.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// The text of some of them, uncopied.
    pub fn text(&self, lines: Range<usize>) -> Bytes {
        let begin = match lines.start {
            0 => 0,
            first => self.ends[first - 1],
        };
        let end = match lines.end {
            0 => 0,
            past => self.ends[past - 1],
        };
        self.bytes.slice(begin..end)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_can_be_told_apart() {
        let lines = Lines::new(b"a\nbb\nccc\n".to_vec(), vec![2, 5, 9]);
        assert_eq!(lines.len(), 3);
        assert_eq!(&lines.text(0..3)[..], b"a\nbb\nccc\n");
        assert_eq!(&lines.text(1..2)[..], b"bb\n");
        assert!(lines.text(2..2).is_empty());
    }
}
