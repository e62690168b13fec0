//! Lines that were heard, in words and as settings.

use super::check;
use super::heard::Heard;
use super::rate::PortFormat;
use super::shape::{self, Found};
use crate::line::{CheckKind, Checksum, LineFormat, Shape};
use crate::settings::{DataBits, Parity};
use crate::survey::guess;
use crate::survey::recognise::Seen;
use crate::survey::report::{Report, Row, Valued, counted};
use crate::survey::snippet::Snippets;

/// So many of the newest lines are shown.
const SHOWN: usize = 8;
/// So many characters of each.
const SHOWN_CHARACTERS: usize = 120;

/// The port that was listened on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Port {
    /// Its path, as settings are to have it.
    pub device: String,
    /// The name that settings are to give it.
    pub name: String,
    /// The rate listened with.
    pub format: PortFormat,
}

/// What was heard, with settings that would read it.
pub fn report(heard: &Heard, port: &Port) -> Report {
    let lines: Vec<&[u8]> = heard.kept().collect();
    let checksum = check::find(&lines);
    let texts = texts(&lines, checksum);
    let found = shape::find(&texts);
    let mut snippets = Snippets::default();
    let (mut settings, mut values) = (String::new(), Vec::new());
    if let Some(found) = &found {
        offer_port(&mut snippets, port, checksum, found);
        settings = snippets.take();
        values = newest(&texts, checksum, found);
        for (name, seen) in &values {
            offer_channel(&mut snippets, port, found, name, seen);
        }
    }
    let row = Row {
        name: port.device.clone(),
        noun: "line",
        format: format!("lines of text, {}, {}", port.format, heard.end()),
        messages: heard.lines,
        every: heard.interval(),
        last: heard.last(),
        values: values.into_iter().map(valued).collect(),
        notes: notes(heard, &lines, checksum, found.as_ref(), &texts),
        settings: snippets.take(),
        ..Row::default()
    };
    Report {
        rows: vec![row],
        notes: Vec::new(),
        settings,
    }
}

fn valued((place, seen): (String, Seen)) -> Valued {
    Valued {
        place,
        value: seen,
        unit: None,
    }
}

/// The part of each line that holds values, as text.
fn texts(lines: &[&[u8]], checksum: Option<Checksum>) -> Vec<String> {
    let covered = |line: &&[u8]| match checksum {
        Some(check) => check.verified(line).unwrap_or(line).to_vec(),
        None => line.to_vec(),
    };
    let ascii = |bytes: Vec<u8>| {
        let kept = bytes.into_iter().filter(u8::is_ascii);
        kept.map(char::from).collect()
    };
    lines.iter().map(covered).map(ascii).collect()
}

/// The values of the newest line that looks as most do.
fn newest(texts: &[String], checksum: Option<Checksum>, found: &Found) -> Vec<(String, Seen)> {
    let format = LineFormat {
        checksum,
        shape: found.shape.clone(),
    };
    let all = |text: &String| -> Option<Vec<(String, Seen)>> {
        let values = format.values(text).ok()?;
        let each = found.places.iter();
        each.map(|(name, place)| {
            let value = values.get(*place).ok()?;
            Some((name.clone(), Seen::Number(value)))
        })
        .collect()
    };
    texts.iter().rev().find_map(all).unwrap_or_default()
}

fn notes(
    heard: &Heard,
    lines: &[&[u8]],
    checksum: Option<Checksum>,
    found: Option<&Found>,
    texts: &[String],
) -> Vec<String> {
    let mut notes = Vec::new();
    let first = lines.len().saturating_sub(SHOWN);
    for line in &lines[first..] {
        let text = String::from_utf8_lossy(line);
        let shown: String = text.chars().take(SHOWN_CHARACTERS).collect();
        notes.push(format!("\"{shown}\""));
    }
    if let Some(check) = checksum {
        let name = check_name(check.kind);
        notes.push(format!(
            "the check at the end is \"{name}\"; it holds in all of them"
        ));
    }
    if heard.pieces > 0 {
        let pieces = counted(heard.pieces, "piece");
        notes.push(format!(
            "passed over: {pieces} of lines, such as the first after opening"
        ));
    }
    match found {
        Some(found) if found.fits < lines.len() => notes.push(format!(
            "the settings read {} of the newest {}; the others look otherwise",
            found.fits,
            counted(lines.len() as u64, "line")
        )),
        Some(_) => {}
        None if texts.iter().any(|text| shape::has_decimal_comma(text)) => notes.push(
            "the numbers have a decimal comma, which is not read; set the instrument to a \
             decimal point"
                .to_owned(),
        ),
        None if !lines.is_empty() => {
            notes.push(
                "no settings are offered: no numbers stand where they could be found".to_owned(),
            );
        }
        None => {}
    }
    notes
}

fn offer_port(snippets: &mut Snippets, port: &Port, checksum: Option<Checksum>, found: &Found) {
    snippets
        .source("serial", &port.name)
        .line("device", &port.device, None)
        .number("baud", port.format.baud);
    if port.format.data_bits == DataBits::Seven {
        snippets.number("data_bits", 7);
    }
    match port.format.parity {
        Parity::None => {}
        Parity::Even => {
            snippets.line("parity", "even", None);
        }
        Parity::Odd => {
            snippets.line("parity", "odd", None);
        }
    }
    match &found.shape {
        Shape::Pattern(_) => snippets.line("pattern", &found.written, None),
        Shape::Columns(_) => snippets.line("delimiter", &found.written, None),
    };
    if let Some(check) = checksum {
        snippets.written(&written(check));
    }
}

fn check_name(kind: CheckKind) -> &'static str {
    let known = CheckKind::NAMES.iter().find(|(_, known)| *known == kind);
    known.map_or("", |(name, _)| name)
}

fn written(check: Checksum) -> String {
    let quoted = |byte: u8| {
        let value = toml_edit::Value::from(char::from(byte).to_string());
        value.to_string().trim().to_owned()
    };
    let start = check
        .start
        .map(|start| format!(", start = {}", quoted(start)));
    format!(
        "checksum = {{ kind = \"{}\", mark = {}{} }}",
        check_name(check.kind),
        quoted(check.mark),
        start.unwrap_or_default()
    )
}

fn offer_channel(snippets: &mut Snippets, port: &Port, found: &Found, name: &str, seen: &Seen) {
    let quantity = guess::quantity(name).filter(|one| *one != crate::units::Quantity::State);
    snippets
        .channel_of(quantity, name, &format!("{name}: {seen}"))
        .line("serial", &port.name, None);
    match &found.shape {
        Shape::Pattern(_) => snippets.line("field", name, None),
        Shape::Columns(_) => snippets.number("column", name.trim_start_matches("column-")),
    };
}

#[cfg(test)]
mod tests;
