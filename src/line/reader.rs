//! From the bytes of a port to the values of its lines.

use std::time::Duration;

use serde::Serialize;

use super::format::{LineError, LineFormat, Shape, Values};
use super::framer::{Framed, Framer, LineEnd};

/// What a reader counts.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct LineCounts {
    /// Lines with values.
    #[serde(rename = "good")]
    pub lines: u64,
    /// Lines dropped since they do not look as the settings say.
    pub refused: u64,
    /// Lines dropped for their check.
    pub bad_checks: u64,
    /// Lines dropped as too long.
    pub overlong: u64,
    /// Lines dropped as they paused in their middle.
    pub interrupted: u64,
    /// Pieces of lines dropped after the port was opened.
    pub partial: u64,
    /// Heads of columns passed over after the port was opened.
    pub headers: u64,
    /// Bytes dropped as they may have lain waiting while nobody read them.
    pub old_bytes: u64,
}

impl LineCounts {
    /// Lines dropped, whole or in part, for whatever reason.
    pub fn dropped(&self) -> u64 {
        self.refused + self.bad_checks + self.overlong + self.interrupted + self.partial
    }
}

/// Reads one port, from its opening to its loss.
#[derive(Debug)]
pub struct LineReader {
    framer: Framer,
    format: LineFormat,
    headers: u16,
}

impl LineReader {
    /// Of a port opened just now, whose lines end so and have at most `longest`
    /// bytes.
    pub fn new(format: LineFormat, end: LineEnd, longest: usize) -> Self {
        LineReader {
            framer: Framer::new(end, longest),
            headers: match format.shape {
                Shape::Columns(columns) => columns.header,
                Shape::Pattern(_) => 0,
            },
            format,
        }
    }

    /// So many bytes that came in were dropped, as they are of an unknown time
    /// (see [`Freshness`](super::Freshness)).
    pub fn handle_old(&mut self, bytes: usize, counts: &mut LineCounts) {
        counts.old_bytes += bytes as u64;
        self.framer.handle_gap();
    }

    /// Takes what came in at `now`, counted from any fixed moment. Each line
    /// that ended is handed on: its bytes, and its values or why it has none.
    pub fn handle_input(
        &mut self,
        bytes: &[u8],
        now: Duration,
        counts: &mut LineCounts,
        mut each: impl FnMut(&[u8], Result<Values<'_>, LineError>),
    ) {
        let (format, headers) = (&self.format, &mut self.headers);
        self.framer.handle_input(bytes, now, |framed| {
            let line = match framed {
                Framed::Line(_) if *headers > 0 => {
                    *headers -= 1;
                    counts.headers += 1;
                    return;
                }
                Framed::Line(line) => line,
                Framed::Partial => return counts.partial += 1,
                Framed::Overlong => return counts.overlong += 1,
                Framed::Interrupted => return counts.interrupted += 1,
            };
            let text = match format.text(line) {
                Ok(text) => text,
                Err(error) => {
                    counts.bad_checks += 1;
                    return each(line, Err(error.into()));
                }
            };
            let values = format.values(&text);
            match values {
                Ok(_) => counts.lines += 1,
                Err(_) => counts.refused += 1,
            }
            each(line, values);
        });
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::{CheckKind, Checksum, Columns, Pattern, Place};
    use super::*;

    fn brix(checksum: Option<Checksum>) -> LineReader {
        let shape = Shape::Pattern(Pattern::parse("BX={brix} T={temp}").unwrap());
        LineReader::new(LineFormat { checksum, shape }, LineEnd::Any, 40)
    }

    fn read(reader: &mut LineReader, bytes: &[u8], at: Place) -> (Vec<f64>, LineCounts) {
        let (mut values, mut counts) = (Vec::new(), LineCounts::default());
        reader.handle_input(bytes, Duration::ZERO, &mut counts, |_, line| {
            values.extend(line.and_then(|line| line.get(at)).ok());
        });
        (values, counts)
    }

    #[test]
    fn every_line_is_a_value_or_counted() {
        let star = Checksum {
            kind: CheckKind::Xor,
            start: None,
            mark: b'*',
        };
        let line = |text: &str| format!("{text}*{:02X}\r\n", CheckKind::Xor.of(text.as_bytes()));
        let input = [
            "=1.0 T=20\r\n".to_owned(),
            line("BX=4.25 T=21.5"),
            "BX=4.25 T=21.5*00\r\n".to_owned(),
            line("ERROR 7"),
            format!("{}\r\n", "x".repeat(41)),
            line("BX= 4.5 T=21.0"),
        ]
        .concat();
        let (values, counts) = read(&mut brix(Some(star)), input.as_bytes(), Place::Field(0));
        assert_eq!(values, [4.25, 4.5]);
        let want = LineCounts {
            lines: 2,
            refused: 1,
            bad_checks: 1,
            overlong: 1,
            partial: 1,
            ..LineCounts::default()
        };
        assert_eq!(counts, want);
    }

    #[test]
    fn headers_are_passed_over_after_opening() {
        let columns = Columns {
            delimiter: ';',
            header: 2,
        };
        let format = LineFormat {
            checksum: None,
            shape: Shape::Columns(columns),
        };
        let mut reader = LineReader::new(format, LineEnd::Any, 40);
        let input = b"\n2024\nbrix;temp\n4.2;20\n";
        let (values, counts) = read(&mut reader, input, Place::Column(1));
        assert_eq!((values, counts.headers, counts.lines), (vec![4.2], 2, 1));
    }

    #[test]
    fn what_is_too_old_is_counted_and_takes_the_line_around_it_along() {
        let mut reader = brix(None);
        read(&mut reader, b"\nBX=1.25 T=20\nBX=2.", Place::Field(0));
        let mut counts = LineCounts::default();
        reader.handle_old(4000, &mut counts);
        assert_eq!((counts.old_bytes, counts.lines), (4000, 0));
        // Neither the half before it nor the half behind it is a line.
        let input = b"BX=3.75 T=20\nBX=4.25 T=20\n";
        let (values, counts) = read(&mut reader, input, Place::Field(0));
        assert_eq!((values, counts.partial), (vec![4.25], 1));
    }

    proptest! {
        #[test]
        fn no_bytes_panic_and_nothing_is_dropped_uncounted(
            bytes in prop::collection::vec(prop_oneof![any::<u8>(), Just(b'\n')], 0..300),
        ) {
            let mut reader = brix(None);
            read(&mut reader, b"\n", Place::Field(0));
            let (_, counts) = read(&mut reader, &bytes, Place::Field(0));
            let pieces = bytes.split(|byte| matches!(byte, b'\r' | b'\n'));
            let visible = |byte: &u8| *byte == b'\t' || !byte.is_ascii_control();
            let mut pieces: Vec<bool> = pieces.map(|piece| piece.iter().any(visible)).collect();
            // The last one has not ended.
            pieces.pop();
            let ended = pieces.into_iter().filter(|piece| *piece).count() as u64;
            prop_assert_eq!(counts.lines + counts.refused + counts.overlong, ended);
        }
    }
}
