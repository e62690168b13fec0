//! Many entries on their way to the daemon, in parts.

use std::fs::File;
use std::io::{BufRead, BufReader, Read};
use std::path::Path;

use anyhow::Context;
use serde_json::Value;

use super::history::Refusals;
use crate::ingest::control::{Answer, Client, ClientError, Imported, Request};

/// Entries sent at once, by count and by length.
const AT_ONCE: usize = 500;
const BYTES_AT_ONCE: usize = 256 << 10;
/// Longest line that is read, bytes. What is longer is no entry.
const LONGEST_LINE: u64 = 16 << 10;

/// Entries on their way, and the lines that they stood at.
pub(super) struct Sender<'a> {
    client: &'a mut Client,
    /// They are out of history.
    history: bool,
    path: &'a Path,
    entries: Vec<Value>,
    lines: Vec<u64>,
    bytes: usize,
    sent: Imported,
}

impl<'a> Sender<'a> {
    pub(super) fn new(client: &'a mut Client, path: &'a Path, history: bool) -> Self {
        Sender {
            client,
            history,
            path,
            entries: Vec::new(),
            lines: Vec::new(),
            bytes: 0,
            sent: Imported::default(),
        }
    }

    /// Adds an entry that stands at this line; sends them when there are
    /// enough.
    pub(super) fn push(
        &mut self,
        line: u64,
        entry: Value,
        refusals: &mut Refusals,
    ) -> Result<(), ClientError> {
        self.bytes += entry.to_string().len();
        self.entries.push(entry);
        self.lines.push(line);
        if self.entries.len() == AT_ONCE || self.bytes >= BYTES_AT_ONCE {
            self.send(refusals)?;
        }
        Ok(())
    }

    /// Sends what is left, and gives what became of all of them.
    pub(super) fn finish(mut self, refusals: &mut Refusals) -> Result<Imported, ClientError> {
        self.send(refusals)?;
        Ok(self.sent)
    }

    fn send(&mut self, refusals: &mut Refusals) -> Result<(), ClientError> {
        if self.entries.is_empty() {
            return Ok(());
        }
        self.bytes = 0;
        let answer = self.client.ask(Request::Entries {
            history: self.history,
            entries: std::mem::take(&mut self.entries),
        })?;
        let Answer::Imported(imported) = answer else {
            return Err(ClientError::Unasked);
        };
        self.sent.stored += imported.stored;
        self.sent.known += imported.known;
        for refused in &imported.refused {
            let line = self.lines.get(refused.row).copied().unwrap_or_default();
            refusals.tell(self.path, line, &refused.why);
        }
        self.lines.clear();
        Ok(())
    }
}

/// Whether the first thing in the file is a JSON object.
pub(super) fn begins_with_brace(path: &Path) -> anyhow::Result<bool> {
    let unreadable = || format!("cannot read {}", path.display());
    let file = File::open(path).with_context(unreadable)?;
    for byte in BufReader::new(file).bytes() {
        let byte = byte.with_context(unreadable)?;
        if !byte.is_ascii_whitespace() {
            return Ok(byte == b'{');
        }
    }
    Ok(false)
}

/// Calls `each` with the JSON of each line that is not empty: the number of the
/// line, how many bytes have been read, and the JSON or why it is none.
pub(super) fn each_json_line(
    path: &Path,
    mut each: impl FnMut(u64, u64, Result<Value, String>) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let unreadable = || format!("cannot read {}", path.display());
    let mut file = BufReader::new(File::open(path).with_context(unreadable)?);
    let (mut line, mut number, mut bytes) = (Vec::new(), 0, 0);
    loop {
        line.clear();
        let mut bounded = (&mut file).take(LONGEST_LINE + 1);
        let mut came = bounded
            .read_until(b'\n', &mut line)
            .with_context(unreadable)?;
        if came == 0 {
            return Ok(());
        }
        number += 1;
        let too_long = came as u64 > LONGEST_LINE && line.last() != Some(&b'\n');
        if too_long {
            came += file.skip_until(b'\n').with_context(unreadable)?;
        }
        bytes += came as u64;
        let text = line.trim_ascii();
        if too_long {
            let why = format!("it is longer than {LONGEST_LINE} bytes");
            each(number, bytes, Err(why))?;
        } else if !text.is_empty() {
            let json = serde_json::from_slice(text);
            each(
                number,
                bytes,
                json.map_err(|why| format!("it is not JSON: {why}")),
            )?;
        }
    }
}
