//! `import`: history from files into the store of the running daemon.
//!
//! An import that was broken off goes on where it stopped: the store keeps,
//! with the rows, how many of a file it has dealt with. The file is known by a
//! digest of its content and of the plant's channels, so that neither its name
//! nor its folder matters, and a file whose rows were refused for want of a
//! channel begins anew once there is one. When a file is through, the store
//! forgets how far it was: imported again, it is read again, and the store
//! says that it knows every row.

use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail};
use serde::Serialize;

use super::entries::{self, Sender};
use super::history::{AtLine, Places, Refusals, Row, Rows};
use super::progress::Progress;
use crate::engine::Quality;
use crate::ingest::control::{
    Answer, Client, ClientError, HistoryRow, Imported, Request, Who, channels_digest,
};
use crate::ingest::decode::encode_quality;
use crate::ingest::fnv1a;
use crate::settings::Settings;

/// Rows sent at once; the next ones follow when these are on the disk, so that
/// live readings never stand behind more than this.
const ROWS_AT_ONCE: usize = 1000;
/// Files are digested in blocks of so many bytes.
const BLOCK: u64 = 64 << 10;

/// What became of one file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(super) struct FileCounts {
    file: PathBuf,
    /// "readings" or "entries".
    kind: &'static str,
    /// Rows or entries in it.
    rows: u64,
    /// Newly stored.
    stored: u64,
    /// Dealt with by an import that was broken off.
    earlier: u64,
    /// There before, the same.
    known: u64,
    /// There before with another value, which stays.
    conflicts: u64,
    /// Not taken.
    pub(super) refused: u64,
}

impl FileCounts {
    fn new(file: &Path, kind: &'static str) -> Self {
        FileCounts {
            file: file.to_owned(),
            kind,
            rows: 0,
            stored: 0,
            earlier: 0,
            known: 0,
            conflicts: 0,
            refused: 0,
        }
    }

    fn add(&mut self, imported: &Imported) {
        self.stored += imported.stored;
        self.known += imported.known;
        self.conflicts += imported.conflicts;
    }

    /// The counts in words.
    fn text(&self) -> String {
        let mut text = format!(
            "{}: {} {}: {} stored, {} known before, {} refused",
            self.file.display(),
            self.rows,
            self.kind,
            self.stored,
            self.known,
            self.refused
        );
        if self.earlier > 0 {
            text += &format!(
                ", {} dealt with by an earlier import that was broken off",
                self.earlier
            );
        }
        if self.conflicts > 0 {
            text += &format!(
                ", {} kept already with another value, which stays",
                self.conflicts
            );
        }
        text
    }
}

/// Imports the files one after the other, tells what was refused, and gives
/// the counts of each.
pub(super) fn import(settings: &Settings, files: &[PathBuf]) -> anyhow::Result<Vec<FileCounts>> {
    let folder = &settings.store.folder;
    let mut client = Client::connect(folder)?;
    let who = client.who()?;
    if who.plant != *settings.plant.name {
        bail!(
            "the daemon on the store in {} watches the plant {}, and the settings are those of {}; restart it, or name the other settings",
            folder.display(),
            who.plant,
            settings.plant.name
        );
    }
    let sizes = files.iter().map(|path| size(path));
    let mut importer = Importer {
        client,
        who: &who,
        refusals: Refusals::default(),
        progress: Progress::new("import", sizes.sum::<anyhow::Result<u64>>()?),
        before: 0,
    };
    let mut counts = Vec::with_capacity(files.len());
    for path in files {
        counts.push(importer.file(path)?);
    }
    importer.progress.done();
    Ok(counts)
}

/// What became of the files, for people or as one object.
pub(super) fn told(counts: &[FileCounts], json: bool) -> String {
    if json {
        let files = serde_json::json!({ "files": counts });
        return format!("{files}\n");
    }
    counts.iter().map(|counts| counts.text() + "\n").collect()
}

fn open(path: &Path) -> anyhow::Result<File> {
    File::open(path).with_context(|| format!("cannot open {}", path.display()))
}

fn size(path: &Path) -> anyhow::Result<u64> {
    let meta = open(path)?.metadata();
    Ok(meta
        .with_context(|| format!("cannot read {}", path.display()))?
        .len())
}

struct Importer<'a> {
    client: Client,
    who: &'a Who,
    refusals: Refusals,
    progress: Progress,
    /// Bytes of the files that are through.
    before: u64,
}

impl Importer<'_> {
    fn file(&mut self, path: &Path) -> anyhow::Result<FileCounts> {
        let refused = self.refusals.count;
        let mut counts = if entries::begins_with_brace(path)? {
            self.entries(path)?
        } else {
            let digest = digest(open(path)?);
            let unreadable = || format!("cannot read {}", path.display());
            self.readings(path, digest.with_context(unreadable)?)?
        };
        counts.refused = self.refusals.count - refused;
        self.before += size(path)?;
        Ok(counts)
    }

    fn readings(&mut self, path: &Path, digest: String) -> anyhow::Result<FileCounts> {
        let mut counts = FileCounts::new(path, "readings");
        let file = format!("{digest}-{:x}", channels_digest(&self.who.sumps));
        let position = Request::ImportPosition { file: file.clone() };
        let Answer::ImportPosition { rows: dealt_with } = self.client.ask(position)? else {
            return Err(ClientError::Unasked.into());
        };
        let places = places(self.who);
        let mut rows = Rows::open(open(path)?, path)?;
        let mut chunk = Chunk::default();
        loop {
            self.progress.at(self.before + rows.bytes());
            let Some(AtLine { line, row }) = rows.next()? else {
                break;
            };
            counts.rows += 1;
            let row = row.and_then(|row| places.find(&row).map(|_| row));
            match row {
                Err(why) => self.refusals.tell(path, line, &why),
                Ok(_) if counts.rows <= dealt_with => counts.earlier += 1,
                Ok(row) => chunk.push(line, &row),
            }
            if chunk.rows.len() == ROWS_AT_ONCE {
                self.send(path, &file, &mut chunk, &mut counts, false)?;
            }
        }
        self.send(path, &file, &mut chunk, &mut counts, true)?;
        Ok(counts)
    }

    fn send(
        &mut self,
        path: &Path,
        file: &str,
        chunk: &mut Chunk,
        counts: &mut FileCounts,
        last: bool,
    ) -> anyhow::Result<()> {
        let answer = self.client.ask(Request::ImportReadings {
            file: file.to_owned(),
            done: counts.rows,
            last,
            rows: std::mem::take(&mut chunk.rows),
        })?;
        self.settle(path, answer, &mut chunk.lines, counts)
    }

    fn entries(&mut self, path: &Path) -> anyhow::Result<FileCounts> {
        let mut counts = FileCounts::new(path, "entries");
        let mut sender = Sender::new(&mut self.client, path, true);
        let refusals = &mut self.refusals;
        entries::each_json_line(path, |line, bytes, entry| {
            self.progress.at(self.before + bytes);
            counts.rows += 1;
            match entry {
                Ok(entry) => sender.push(line, entry, refusals)?,
                Err(why) => refusals.tell(path, line, &why),
            }
            Ok(())
        })?;
        counts.add(&sender.finish(refusals)?);
        Ok(counts)
    }

    /// Counts what became of a chunk, whose rows stood at these lines.
    fn settle(
        &mut self,
        path: &Path,
        answer: Answer,
        lines: &mut Vec<u64>,
        counts: &mut FileCounts,
    ) -> anyhow::Result<()> {
        let Answer::Imported(imported) = answer else {
            return Err(ClientError::Unasked.into());
        };
        counts.add(&imported);
        for refused in &imported.refused {
            let line = lines.get(refused.row).copied().unwrap_or_default();
            self.refusals.tell(path, line, &refused.why);
        }
        lines.clear();
        Ok(())
    }
}

/// Rows on their way, and the lines that they stood at.
#[derive(Default)]
struct Chunk {
    rows: Vec<HistoryRow>,
    lines: Vec<u64>,
}

impl Chunk {
    fn push(&mut self, line: u64, row: &Row<'_>) {
        self.lines.push(line);
        self.rows.push(HistoryRow {
            time: row.time,
            sump: row.sump.to_owned(),
            channel: row.channel.to_owned(),
            value: row.value,
            quality: (row.quality != Quality::GOOD).then(|| encode_quality(row.quality)),
        });
    }
}

fn places(who: &Who) -> Places<'_> {
    Places::new(who.sumps.iter().map(|sump| {
        let channels = sump.channels.iter().map(|channel| &*channel.name);
        (&*sump.name, channels)
    }))
}

/// Tells the content of a file from any other: a hash of each block, chained,
/// and the length.
fn digest(mut file: impl Read) -> std::io::Result<String> {
    let (mut hash, mut length) = (0u64, 0);
    let mut block = Vec::with_capacity(BLOCK as usize);
    loop {
        block.clear();
        (&mut file).take(BLOCK).read_to_end(&mut block)?;
        if block.is_empty() {
            return Ok(format!("{hash:016x}-{length:x}"));
        }
        length += block.len();
        hash = fnv1a(hash.to_le_bytes().into_iter().chain(block.iter().copied()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_digest_tells_contents_apart_and_not_how_they_are_read() {
        let text = vec![b'x'; 3 * BLOCK as usize + 7];
        let one = digest(&text[..]).unwrap();
        let (first, rest) = text.split_at(1000);
        assert_eq!(one, digest(first.chain(rest)).unwrap());
        let mut other = text.clone();
        other[2 * BLOCK as usize] = b'y';
        assert_ne!(one, digest(&other[..]).unwrap());
        assert_ne!(one, digest(&text[1..]).unwrap());
        assert!(one.len() <= 34, "{one} leaves room for the channels");
    }
}
