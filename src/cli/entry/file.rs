//! Many entries from a file: JSON lines, or CSV whose columns are fields.
//!
//! Times without an offset are of the machine's zone and need their date, so
//! that the same file gives the same entries, and the same ids, on any day.

use std::fs::File;
use std::path::Path;

use anyhow::Context;
use jiff::tz::TimeZone;
use serde_json::{Map, Value, json};

use super::Told;
use super::when::dated;
use crate::cli::entries::{Sender, begins_with_brace, each_json_line};
use crate::cli::history::{Refusals, Table};
use crate::ingest::control::Client;

/// Fields that are numbers.
const NUMBERS: [&str; 3] = ["value", "litres", "strength_pct"];
/// The field that may hold several words.
const WORDS: &str = "look";

/// Hands over every entry of the file.
pub(super) fn enter(
    client: &mut Client,
    path: &Path,
    zone: &TimeZone,
    as_json: bool,
) -> anyhow::Result<Told> {
    let mut refusals = Refusals::default();
    let mut sender = Sender::new(client, path, false);
    let mut take = |line: u64, entry: Result<Value, String>| -> anyhow::Result<()> {
        match entry.and_then(|entry| with_offset(entry, zone)) {
            Ok(entry) => sender.push(line, entry, &mut refusals)?,
            Err(why) => refusals.tell(path, line, &why),
        }
        Ok(())
    };
    if begins_with_brace(path)? {
        each_json_line(path, |line, _, entry| take(line, entry))?;
    } else {
        each_row(path, take)?;
    }
    let sent = sender.finish(&mut refusals)?;
    let (stored, known, refused) = (sent.stored, sent.known, refusals.count);
    let text = if as_json {
        json!({"taken": stored, "known": known, "refused": refused}).to_string()
    } else {
        format!("taken {stored}, known before {known}, refused {refused}")
    };
    Ok(if refused == 0 {
        Told::Taken(text)
    } else {
        Told::Refused(text)
    })
}

/// With its time as the daemon takes it. A time that is none stays, for the
/// daemon to refuse with the rest.
fn with_offset(mut entry: Value, zone: &TimeZone) -> Result<Value, String> {
    if let Some(Value::String(time)) = entry.get_mut("time") {
        *time = dated(time, zone)
            .map_err(|why| format!("time: {why}"))?
            .to_string();
    }
    Ok(entry)
}

fn each_row(
    path: &Path,
    mut take: impl FnMut(u64, Result<Value, String>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let file = File::open(path).with_context(|| format!("cannot open {}", path.display()))?;
    let mut table = Table::open(file, path);
    let header = table.header()?.clone();
    while let Some((line, cells)) = table.next()? {
        let entry = cells.map(|cells| object(&header, cells));
        take(line, entry.map_err(|why| why.to_string()))?;
    }
    Ok(())
}

/// The fields whose cells are not empty.
fn object(header: &csv::StringRecord, cells: &csv::StringRecord) -> Value {
    let fields = header.iter().zip(cells).map(|(f, c)| (f.trim(), c.trim()));
    let filled = fields.filter(|(_, cell)| !cell.is_empty());
    let object: Map<String, Value> = filled
        .map(|(field, cell)| (field.to_owned(), value(field, cell)))
        .collect();
    Value::Object(object)
}

fn value(field: &str, cell: &str) -> Value {
    match cell.parse::<f64>() {
        Ok(number) if NUMBERS.contains(&field) => number.into(),
        _ if field == WORDS => cell.split_whitespace().collect::<Vec<_>>().into(),
        _ => cell.into(),
    }
}
