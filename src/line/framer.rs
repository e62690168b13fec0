//! Bytes to lines.

use std::time::Duration;

/// Bytes that a line has at most, where the settings do not say otherwise.
/// Choice: several times what instruments send.
pub const LONGEST_LINE: usize = 512;

/// Between the bytes of a line no more time passes. Choice: instruments send a
/// line in one go, which at 300 bit/s is a byte every 37 ms.
const LONGEST_PAUSE: Duration = Duration::from_secs(1);

const CR: u8 = b'\r';
const LF: u8 = b'\n';

/// What ends a line.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum LineEnd {
    /// CR, LF or both.
    #[default]
    Any,
    /// CR alone; LF is passed over.
    Cr,
    /// LF alone; CR is passed over.
    Lf,
    /// LF right after CR, and nothing else.
    CrLf,
}

impl LineEnd {
    /// Every kind with its name in settings.
    pub const NAMES: [(&'static str, LineEnd); 4] = [
        ("any", LineEnd::Any),
        ("cr", LineEnd::Cr),
        ("lf", LineEnd::Lf),
        ("crlf", LineEnd::CrLf),
    ];

    fn is_here(self, byte: u8, after_cr: bool) -> bool {
        match self {
            LineEnd::Any => byte == CR || byte == LF,
            LineEnd::Cr => byte == CR,
            LineEnd::Lf => byte == LF,
            LineEnd::CrLf => byte == LF && after_cr,
        }
    }
}

/// What a piece of input between two ends was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Framed<'a> {
    /// A line, without its end and without control characters; never empty.
    Line(&'a [u8]),
    /// Dropped: its beginning was not heard, as the port was just opened or
    /// input was dropped.
    Partial,
    /// Dropped: longer than a line may be.
    Overlong,
    /// Dropped: it paused in its middle, so that its halves may belong to two
    /// lines.
    Interrupted,
}

/// Cuts the bytes of a port into lines.
///
/// What comes before the first end after opening, or after a gap, is dropped. Control characters
/// but the tab, NUL and DEL among them, are padding or noise and passed over;
/// empty lines too.
#[derive(Debug)]
pub struct Framer {
    end: LineEnd,
    longest: usize,
    line: Vec<u8>,
    fate: Fate,
    after_cr: bool,
    last_input: Duration,
}

/// What becomes of the line that is coming in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    Line,
    Partial,
    Overlong,
    Interrupted,
}

impl Framer {
    /// Of a port opened just now; lines have at most `longest` bytes.
    pub fn new(end: LineEnd, longest: usize) -> Self {
        Framer {
            end,
            longest,
            line: Vec::with_capacity(longest),
            fate: Fate::Partial,
            after_cr: false,
            last_input: Duration::ZERO,
        }
    }

    /// Takes what came in at `now`, counted from any fixed moment, and hands on
    /// what has ended.
    pub fn handle_input(&mut self, bytes: &[u8], now: Duration, mut ended: impl FnMut(Framed<'_>)) {
        let paused = now.saturating_sub(self.last_input) > LONGEST_PAUSE;
        if paused && !self.line.is_empty() && self.fate == Fate::Line {
            self.fate = Fate::Interrupted;
        }
        if !bytes.is_empty() {
            self.last_input = now;
        }
        for byte in bytes {
            if self.end.is_here(*byte, self.after_cr) {
                if let Some(framed) = self.finished() {
                    ended(framed);
                }
                self.line.clear();
                self.fate = Fate::Line;
            } else {
                self.keep(*byte);
            }
            self.after_cr = *byte == CR;
        }
    }

    /// Input was dropped before it got here: the line that is coming in is not
    /// whole.
    pub fn handle_gap(&mut self) {
        self.fate = Fate::Partial;
        self.after_cr = false;
    }

    fn keep(&mut self, byte: u8) {
        if byte.is_ascii_control() && byte != b'\t' {
            return;
        }
        if self.line.len() < self.longest {
            self.line.push(byte);
        } else if self.fate == Fate::Line {
            self.fate = Fate::Overlong;
        }
    }

    fn finished(&self) -> Option<Framed<'_>> {
        match self.fate {
            _ if self.line.is_empty() => None,
            Fate::Line => Some(Framed::Line(&self.line)),
            Fate::Partial => Some(Framed::Partial),
            Fate::Overlong => Some(Framed::Overlong),
            Fate::Interrupted => Some(Framed::Interrupted),
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const NOW: Duration = Duration::from_secs(9);

    /// What comes out of a port that was opened before an end.
    fn framed(framer: &mut Framer, bytes: &[u8], now: Duration) -> Vec<String> {
        let mut out = Vec::new();
        framer.handle_input(bytes, now, |framed| {
            out.push(match framed {
                Framed::Line(line) => String::from_utf8_lossy(line).into_owned(),
                dropped => format!("{dropped:?}"),
            });
        });
        out
    }

    fn opened(end: LineEnd, longest: usize) -> Framer {
        let mut framer = Framer::new(end, longest);
        framed(&mut framer, b"\r\n", NOW);
        framer
    }

    #[test]
    fn every_end_ends_a_line() {
        for text in [
            "a\rb\rc\r",
            "a\nb\nc\n",
            "a\r\nb\r\nc\r\n",
            "a\n\rb\n\rc\n\r",
        ] {
            let mut framer = opened(LineEnd::Any, 9);
            assert_eq!(framed(&mut framer, text.as_bytes(), NOW), ["a", "b", "c"]);
        }
    }

    #[test]
    fn one_end_alone_where_the_settings_say_so() {
        let text = b"a\rb\nc\r\nd\n";
        for (end, want) in [
            (LineEnd::Cr, vec!["a", "bc"]),
            (LineEnd::Lf, vec!["ab", "c", "d"]),
            (LineEnd::CrLf, vec!["abc"]),
        ] {
            assert_eq!(framed(&mut opened(end, 9), text, NOW), want, "{end:?}");
        }
    }

    #[test]
    fn the_first_piece_after_opening_is_dropped() {
        let mut framer = Framer::new(LineEnd::Any, 9);
        assert_eq!(
            framed(&mut framer, b"2.1\r\n4.2\r\n", NOW),
            ["Partial", "4.2"]
        );
    }

    #[test]
    fn a_line_too_long_is_dropped_to_its_end() {
        let mut framer = opened(LineEnd::Any, 3);
        let got = framed(&mut framer, b"123\n1234\n12345678\n12\n", NOW);
        assert_eq!(got, ["123", "Overlong", "Overlong", "12"]);
        assert!(framer.line.capacity() < 16);
    }

    #[test]
    fn a_line_that_paused_is_dropped_to_its_end() {
        let mut framer = opened(LineEnd::Any, 9);
        assert_eq!(framed(&mut framer, b"4", NOW), [""; 0]);
        let later = NOW + Duration::from_millis(1001);
        assert_eq!(
            framed(&mut framer, b"12.5\n7\n", later),
            ["Interrupted", "7"]
        );
        // Between two lines it may pause as long as it likes.
        assert_eq!(framed(&mut framer, b"8\n", later * 2), ["8"]);
    }

    #[test]
    fn padding_is_passed_over() {
        let mut framer = opened(LineEnd::Any, 9);
        assert_eq!(
            framed(&mut framer, b"\0\x02a\x7f\tb\x03\n\0\n", NOW),
            ["a\tb"]
        );
    }

    proptest! {
        #[test]
        fn the_cut_of_the_input_does_not_matter(
            bytes in prop::collection::vec(prop_oneof![Just(CR), Just(LF), Just(b'1'), any::<u8>()], 0..80),
            at: prop::sample::Index,
        ) {
            let (mut whole, mut cut) = (opened(LineEnd::Any, 5), opened(LineEnd::Any, 5));
            let at = at.index(bytes.len() + 1);
            let mut parts = framed(&mut cut, &bytes[..at], NOW);
            parts.extend(framed(&mut cut, &bytes[at..], NOW));
            prop_assert_eq!(framed(&mut whole, &bytes, NOW), parts);
        }

        #[test]
        fn no_line_is_empty_overlong_or_with_control_characters(
            bytes in prop::collection::vec(any::<u8>(), 0..200),
        ) {
            Framer::new(LineEnd::Any, 20).handle_input(&bytes, NOW, |framed| {
                if let Framed::Line(line) = framed {
                    assert!((1..=20).contains(&line.len()));
                    assert!(line.iter().all(|b| *b == b'\t' || !b.is_ascii_control()));
                }
            });
        }
    }
}
