//! The lines that were heard.

use std::collections::VecDeque;
use std::time::Duration;

use crate::line::{Framed, Framer, LONGEST_LINE, LineEnd};
use crate::units::{Span, Timestamp};

/// The newest lines are kept, so many.
const KEPT: usize = 64;

/// What a port has sent.
#[derive(Debug)]
pub struct Heard {
    framer: Framer,
    kept: VecDeque<Vec<u8>>,
    ends: Ends,
    /// Whole lines.
    pub lines: u64,
    /// Pieces of lines: begun before the port was opened, too long, or with a
    /// pause in them.
    pub pieces: u64,
    /// Bytes in all.
    pub bytes: u64,
    /// When the first and the newest line ended.
    times: Option<(Timestamp, Timestamp)>,
}

/// What ended lines.
#[derive(Debug, Clone, Copy, Default)]
struct Ends {
    cr: u64,
    lf: u64,
    crlf: u64,
    after_cr: bool,
}

impl Heard {
    /// Of a port opened just now.
    pub fn new() -> Self {
        Heard {
            framer: Framer::new(LineEnd::Any, LONGEST_LINE),
            kept: VecDeque::new(),
            ends: Ends::default(),
            lines: 0,
            pieces: 0,
            bytes: 0,
            times: None,
        }
    }

    /// Takes what came in at `now`, counted from any fixed moment, which is
    /// `arrival` by the clock.
    pub fn handle_input(&mut self, bytes: &[u8], now: Duration, arrival: Timestamp) {
        self.bytes += bytes.len() as u64;
        bytes.iter().for_each(|byte| self.ends.count(*byte));
        let Heard {
            kept,
            lines,
            pieces,
            times,
            ..
        } = self;
        self.framer.handle_input(bytes, now, |framed| {
            let Framed::Line(line) = framed else {
                return *pieces += 1;
            };
            if kept.len() == KEPT {
                kept.pop_front();
            }
            kept.push_back(line.to_vec());
            *lines += 1;
            times.get_or_insert((arrival, arrival)).1 = arrival;
        });
    }

    /// The newest lines, the newest last.
    pub fn kept(&self) -> impl DoubleEndedIterator<Item = &[u8]> {
        self.kept.iter().map(Vec::as_slice)
    }

    /// Mean time between lines, once there were two.
    pub fn interval(&self) -> Option<Span> {
        let (first, last) = self.times?;
        let gaps = i64::try_from(self.lines).ok()? - 1;
        (gaps > 0).then(|| Span::from_millis((last - first).millis() / gaps))
    }

    /// When the newest line ended.
    pub fn last(&self) -> Option<Timestamp> {
        self.times.map(|(_, last)| last)
    }

    /// What ends lines, in words.
    pub fn end(&self) -> &'static str {
        match self.ends {
            Ends {
                cr: 0,
                lf: 0,
                crlf: 0,
                ..
            } => "no line end",
            Ends { cr: 0, lf: 0, .. } => "lines end in CR LF",
            Ends { lf: 0, crlf: 0, .. } => "lines end in CR",
            Ends { cr: 0, crlf: 0, .. } => "lines end in LF",
            _ => "line ends differ",
        }
    }
}

impl Default for Heard {
    fn default() -> Self {
        Self::new()
    }
}

impl Ends {
    fn count(&mut self, byte: u8) {
        match byte {
            b'\n' if self.after_cr => {
                self.cr -= 1;
                self.crlf += 1;
            }
            b'\n' => self.lf += 1,
            b'\r' => self.cr += 1,
            _ => {}
        }
        self.after_cr = byte == b'\r';
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn heard(text: &[u8]) -> Heard {
        let mut heard = Heard::new();
        for (second, part) in text.split_inclusive(|byte| *byte == b'\n').enumerate() {
            let at = Timestamp::from_millis(1000 * second as i64);
            heard.handle_input(part, Duration::from_secs(9), at);
        }
        heard
    }

    #[test]
    fn lines_are_counted_with_their_rate_and_end() {
        let heard = heard(b"half\r\na1\r\nb2\r\nc3\r\n");
        assert_eq!((heard.lines, heard.pieces), (3, 1));
        assert_eq!(heard.interval(), Some(Span::from_secs(1)));
        assert_eq!(heard.end(), "lines end in CR LF");
        assert_eq!(heard.kept().last(), Some(&b"c3"[..]));
    }

    #[test]
    fn every_line_end_has_its_words() {
        for (text, words) in [
            ("a", "no line end"),
            ("a\rb\r", "lines end in CR"),
            ("a\nb\n", "lines end in LF"),
            ("a\nb\r", "line ends differ"),
        ] {
            assert_eq!(heard(text.as_bytes()).end(), words);
        }
    }

    #[test]
    fn lines_kept_are_bounded() {
        let heard = heard("7.4\n".repeat(200).as_bytes());
        assert_eq!(heard.kept().count(), KEPT);
        assert_eq!(heard.lines, 199);
    }
}
