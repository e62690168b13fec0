//! Line protocol: one point a line.
//!
//! ```text
//! measurement,tag=word,tag=word field=1.0,field=2.5 1772431800000
//! ```
//!
//! Comma, space and equals are escaped with a backslash. Servers disagree about what
//! a backslash in front of other characters means, so a backslash becomes `/`; what
//! ends a line, and every other control character, becomes `_`. An empty tag is left
//! out, as line protocol has none.

use crate::units::Timestamp;

/// The beginning of a point's line: measurement and tags.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Head(Vec<u8>);

impl Head {
    /// A measurement without tags yet.
    pub(super) fn new(measurement: &str) -> Self {
        let mut line = Vec::with_capacity(96);
        escape(measurement, false, &mut line);
        Head(line)
    }

    /// With one tag more, unless its word is empty.
    #[must_use]
    pub(super) fn tag(mut self, name: &str, word: &str) -> Self {
        if !word.is_empty() {
            self.0.push(b',');
            escape(name, true, &mut self.0);
            self.0.push(b'=');
            escape(word, true, &mut self.0);
        }
        self
    }
}

/// Writes one point behind what is in `out`; says whether there is a point: not
/// without a finite field. Fields that are not finite are left out and counted.
pub(super) fn write(
    out: &mut Vec<u8>,
    head: &Head,
    fields: &[(&str, f64)],
    time: Timestamp,
    not_finite: &mut u64,
) -> bool {
    let begun = out.len();
    out.extend_from_slice(&head.0);
    let mut separator = b' ';
    for (name, value) in fields {
        if !value.is_finite() {
            *not_finite += 1;
            continue;
        }
        out.push(separator);
        separator = b',';
        escape(name, true, out);
        out.push(b'=');
        number(*value, out);
    }
    if separator == b' ' {
        out.truncate(begun);
        return false;
    }
    out.push(b' ');
    integer(time.millis(), out);
    out.push(b'\n');
    true
}

/// A float: it has a point or an exponent, and gives back the same float when it is
/// read.
fn number(value: f64, out: &mut Vec<u8>) {
    use std::io::Write;
    write!(out, "{value:?}").expect("a vector takes everything");
}

fn integer(value: i64, out: &mut Vec<u8>) {
    use std::io::Write;
    write!(out, "{value}").expect("a vector takes everything");
}

fn escape(text: &str, is_tag: bool, out: &mut Vec<u8>) {
    for c in text.chars() {
        match c {
            ',' | ' ' => out.extend([b'\\', c as u8]),
            '=' if is_tag => out.extend(b"\\="),
            '\\' => out.push(b'/'),
            c if c.is_control() => out.push(b'_'),
            c => out.extend_from_slice(c.encode_utf8(&mut [0; 4]).as_bytes()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A point, as whoever reads line protocol has it.
    #[derive(Debug, PartialEq)]
    struct Read {
        measurement: String,
        tags: Vec<(String, String)>,
        fields: Vec<(String, f64)>,
        time: i64,
    }

    /// Takes text up to one of the characters that are not escaped.
    fn take(text: &mut std::str::Chars<'_>, ends: &str) -> (String, Option<char>) {
        let mut taken = String::new();
        while let Some(c) = text.next() {
            match c {
                '\\' => {
                    let rest = text.as_str().chars().next();
                    match rest {
                        Some(next) if ", =".contains(next) => {
                            taken.push(next);
                            text.next();
                        }
                        _ => taken.push('\\'),
                    }
                }
                c if ends.contains(c) => return (taken, Some(c)),
                c => taken.push(c),
            }
        }
        (taken, None)
    }

    fn parse(line: &str) -> Read {
        let mut text = line.strip_suffix('\n').expect("a whole line").chars();
        let (measurement, mut end) = take(&mut text, ", ");
        let mut tags = Vec::new();
        while end == Some(',') {
            let (name, _) = take(&mut text, "=");
            let (word, next) = take(&mut text, ", ");
            tags.push((name, word));
            end = next;
        }
        let mut fields = Vec::new();
        loop {
            let (name, _) = take(&mut text, "=");
            let (value, next) = take(&mut text, ", ");
            assert!(value.contains(['.', 'e']), "{value} is no float");
            fields.push((name, value.parse().unwrap()));
            if next == Some(' ') {
                break;
            }
        }
        Read {
            measurement,
            tags,
            fields,
            time: text.as_str().parse().unwrap(),
        }
    }

    /// What a word becomes that cannot be written as it is.
    fn plain(text: &str) -> String {
        let plain = text.chars().map(|c| match c {
            '\\' => '/',
            c if c.is_control() => '_',
            c => c,
        });
        plain.collect()
    }

    #[test]
    fn a_point_is_one_line() {
        let head = Head::new("reading")
            .tag("sump", "mill, 4")
            .tag("unit", "")
            .tag("channel", "a=b\\");
        let (mut out, mut not_finite) = (Vec::new(), 0);
        let fields = [("value", 7.0), ("marks", 1.0), ("more", f64::NAN)];
        let time = Timestamp::from_millis(1_772_431_800_000);
        assert!(write(&mut out, &head, &fields, time, &mut not_finite));
        assert_eq!(
            String::from_utf8(out).unwrap(),
            "reading,sump=mill\\,\\ 4,channel=a\\=b/ value=7.0,marks=1.0 1772431800000\n"
        );
        assert_eq!(not_finite, 1);
    }

    #[test]
    fn a_point_without_a_number_is_none() {
        let (mut out, mut not_finite) = (b"before\n".to_vec(), 0);
        let fields = [("value", f64::INFINITY)];
        let head = Head::new("reading");
        let time = Timestamp::from_millis(0);
        assert!(!write(&mut out, &head, &fields, time, &mut not_finite));
        assert_eq!((&*out, not_finite), (&b"before\n"[..], 1));
    }

    proptest! {
        /// Whatever the words and numbers are, a reader of another make finds them
        /// again, on one line.
        #[test]
        fn what_is_written_is_read(
            measurement in "\\PC{1,8}|[a-z,= \\\\\n\"]{1,8}",
            tags in proptest::collection::vec(("[a-z]{1,6}", "\\PC{0,8}|[a,= \\\\\r\n\"]{0,8}"), 0..5),
            fields in proptest::collection::vec(("[a-z, =]{1,6}", any::<f64>()), 1..4),
            millis in any::<i64>(),
        ) {
            let mut head = Head::new(&measurement);
            for (name, word) in &tags {
                head = head.tag(name, word);
            }
            let given: Vec<_> = fields.iter().map(|(name, value)| (name.as_str(), *value)).collect();
            let (mut out, mut not_finite) = (Vec::new(), 0);
            let time = Timestamp::from_millis(millis);
            let written = write(&mut out, &head, &given, time, &mut not_finite);
            let finite: Vec<_> = fields.iter().filter(|(_, value)| value.is_finite()).cloned().collect();
            prop_assert_eq!(written, !finite.is_empty());
            prop_assert_eq!(not_finite as usize, fields.len() - finite.len());
            if written {
                let line = String::from_utf8(out).unwrap();
                prop_assert_eq!(line.matches('\n').count(), 1);
                let wanted = Read {
                    measurement: plain(&measurement),
                    tags: tags.iter().filter(|(_, word)| !word.is_empty())
                        .map(|(name, word)| (name.clone(), plain(word))).collect(),
                    fields: finite,
                    time: millis,
                };
                prop_assert_eq!(parse(&line), wanted);
            }
        }
    }
}
