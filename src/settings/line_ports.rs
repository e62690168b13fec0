//! `[serial.NAME]`: ports on which instruments send lines.

use crate::line::{
    CheckKind, Checksum, Columns, LONGEST_LINE, LineEnd, LineFormat, Pattern, Shape,
};

use super::defaults;
use super::key_path::KeyPath;
use super::measure;
use super::ports::{self, RawPort, Usual};
use super::problem::Problem;
use super::raw::{Named, RawChecksum, RawSerial};
use super::review::Review;
use super::wires::{Parity, PortSettings, SerialSettings, StopBits};

const USUAL: Usual = Usual {
    baud: defaults::SERIAL_BAUD,
    parity: Parity::None,
    bare_stop_bits: StopBits::One,
};

/// The ports by name. Nothing stands in place of one that is wrong.
#[derive(Debug, Default)]
pub(super) struct LinePorts {
    /// The names, in order.
    pub(super) names: Vec<String>,
    /// Their settings, in the same order.
    pub(super) settings: Vec<Option<SerialSettings>>,
}

impl LinePorts {
    /// The ports with their paths.
    pub(super) fn ports(&self) -> impl Iterator<Item = (KeyPath, &PortSettings)> {
        let all = self.settings.iter().flatten();
        all.map(|one| (KeyPath::root().key("serial").key(&one.name), &one.port))
    }
}

/// Reads every port.
pub(super) fn line_ports(review: &mut Review, tables: Named) -> LinePorts {
    let at = KeyPath::root().key("serial");
    let mut ports = LinePorts::default();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawSerial = review.take(&at, part);
        let settings = line_port(review, &at, &name, &raw);
        ports.names.push(name);
        ports.settings.push(settings);
    }
    ports
}

fn line_port(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawSerial,
) -> Option<SerialSettings> {
    let written = RawPort {
        device: raw.device.as_deref(),
        baud: raw.baud,
        data_bits: raw.data_bits,
        parity: raw.parity.as_deref(),
        stop_bits: raw.stop_bits,
    };
    let port = ports::port(review, at, written, USUAL);
    let end = match raw.line_end.as_deref() {
        None => Some(LineEnd::default()),
        Some(word) => review.one_of(&at.key("line_end"), word, &LineEnd::NAMES),
    };
    let path = at.key("longest_line");
    let usual = LONGEST_LINE as u32;
    let longest = review.or_default(&path, raw.longest_line.as_ref(), measure::bytes, usual);
    let longest = longest
        .and_then(|bytes| review.within(&path, bytes, (16, 65_536), |bytes| format!("{bytes} B")));
    let shape = shape(review, at, raw);
    let checksum = match &raw.checksum {
        None => Some(None),
        Some(raw) => checksum(review, &at.key("checksum"), raw).map(Some),
    };
    Some(SerialSettings {
        name: name.into(),
        port: port?,
        end: end?,
        longest: longest? as usize,
        format: LineFormat {
            checksum: checksum?,
            shape: shape?,
        },
    })
}

fn shape(review: &mut Review, at: &KeyPath, raw: &RawSerial) -> Option<Shape> {
    match (&raw.pattern, &raw.delimiter) {
        (Some(_), Some(_)) => {
            let problem = Problem::NotBoth("pattern", "delimiter");
            review.tell(&at.key("delimiter"), problem);
            None
        }
        (None, None) => {
            let example = "pattern = \"BX={brix} T={temp} *\", or delimiter = \";\" for columns";
            review.missing(&at.key("pattern"), example);
            None
        }
        (Some(pattern), None) => {
            if raw.header_lines.is_some() {
                review.tell(
                    &at.key("header_lines"),
                    Problem::OnlyFor("lines with a delimiter"),
                );
            }
            let pattern = Pattern::parse(pattern);
            review.good(&at.key("pattern"), pattern).map(Shape::Pattern)
        }
        (None, Some(delimiter)) => Some(Shape::Columns(Columns {
            delimiter: character(review, &at.key("delimiter"), delimiter)?.into(),
            header: raw.header_lines.unwrap_or(0),
        })),
    }
}

fn checksum(review: &mut Review, at: &KeyPath, raw: &RawChecksum) -> Option<Checksum> {
    let path = at.key("kind");
    let word = review.required(&path, raw.kind.as_deref(), "kind = \"xor\"");
    let kind = word.and_then(|word| review.one_of(&path, word, &CheckKind::NAMES));
    let mark = raw.mark.as_deref().unwrap_or(defaults::CHECK_MARK);
    let mark = character(review, &at.key("mark"), mark);
    let start = match raw.start.as_deref() {
        None => Some(None),
        Some(start) => character(review, &at.key("start"), start).map(Some),
    };
    Some(Checksum {
        kind: kind?,
        start: start?,
        mark: mark?,
    })
}

/// A single character, as lines have it: ASCII, visible or blank or tab.
fn character(review: &mut Review, path: &KeyPath, written: &str) -> Option<u8> {
    match written.as_bytes() {
        [byte] if byte.is_ascii_graphic() || matches!(byte, b' ' | b'\t') => Some(*byte),
        _ => {
            let found = format!("\"{}\"", written.chars().take(20).collect::<String>());
            let allowed = "one character of ASCII".to_owned();
            review.tell(path, Problem::OutOfRange { found, allowed });
            None
        }
    }
}
