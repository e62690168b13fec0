//! Files of history, as `replay` and `import` read them: readings as CSV,
//! entries as JSON lines. What cannot be read is told with its line.

use std::collections::HashMap;
use std::fmt::Display;
use std::io::{Chain, Read};
use std::path::{Path, PathBuf};

use anyhow::Context;

use crate::engine::Quality;
use crate::ingest::decode::{QualityError, decode_quality};
use crate::settings::nearest;
use crate::units::{TimeError, Timestamp};

/// So many refused lines are told one by one; the rest is counted.
const TOLD: u64 = 20;

/// What was refused so far, over all files.
#[derive(Debug, Default)]
pub(super) struct Refusals {
    pub(super) count: u64,
}

impl Refusals {
    /// Counts a line that is not taken, and tells it unless there were many.
    pub(super) fn tell(&mut self, path: &Path, line: u64, why: &dyn Display) {
        self.count += 1;
        if self.count <= TOLD {
            eprintln!("{}:{line}: refused: {why}", path.display());
        } else if self.count == TOLD + 1 {
            eprintln!("further refusals are only counted");
        }
    }
}

/// Why a row is no reading.
#[derive(Debug, thiserror::Error)]
pub(super) enum RowError {
    #[error("it has no {0}")]
    Missing(&'static str),
    #[error(transparent)]
    Time(#[from] TimeError),
    #[error(transparent)]
    Quality(#[from] QualityError),
    #[error("\"{0}\" is not a finite number in the channel's unit")]
    Value(String),
    #[error("there is no sump \"{found}\" in the settings{}", meant(near))]
    Sump { found: String, near: Option<String> },
    #[error("sump {sump} has no channel \"{found}\"{}", meant(near))]
    Channel {
        sump: String,
        found: String,
        near: Option<String>,
    },
    #[error(transparent)]
    Csv(csv::Error),
}

fn meant(near: &Option<String>) -> String {
    near.as_ref()
        .map(|near| format!("; did you mean \"{near}\"?"))
        .unwrap_or_default()
}

/// The sumps and channels there are, by name.
pub(super) struct Places<'a>(HashMap<&'a str, (usize, HashMap<&'a str, u16>)>);

impl<'a> Places<'a> {
    /// Of these sumps, each with the names of its channels in their order.
    pub(super) fn new<C: Iterator<Item = &'a str>>(
        sumps: impl Iterator<Item = (&'a str, C)>,
    ) -> Self {
        let places = sumps.enumerate().map(|(ix, (name, channels))| {
            let channels = channels.zip(0u16..).collect();
            (name, (ix, channels))
        });
        Places(places.collect())
    }

    /// Where the sump and the channel of a row stand.
    pub(super) fn find(&self, row: &Row<'_>) -> Result<(usize, u16), RowError> {
        let (sump, channels) = self.0.get(row.sump).ok_or_else(|| RowError::Sump {
            found: row.sump.to_owned(),
            near: near(row.sump, self.0.keys().copied()),
        })?;
        let channel = channels.get(row.channel).ok_or_else(|| RowError::Channel {
            sump: row.sump.to_owned(),
            found: row.channel.to_owned(),
            near: near(row.channel, channels.keys().copied()),
        })?;
        Ok((*sump, *channel))
    }
}

/// The nearest name; of several equally near ones the first by name.
fn near<'a>(wrong: &str, names: impl Iterator<Item = &'a str>) -> Option<String> {
    let mut names: Vec<&str> = names.collect();
    names.sort_unstable();
    nearest(wrong, names).map(str::to_owned)
}

/// One reading of a file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Row<'a> {
    pub(super) time: Timestamp,
    /// When it came; its time where the file does not say.
    pub(super) arrival: Timestamp,
    pub(super) sump: &'a str,
    pub(super) channel: &'a str,
    pub(super) value: f64,
    /// Its marks; good where the file does not say.
    pub(super) quality: Quality,
}

/// A CSV file with a header, whose lines that begin with `#` and empty lines
/// are passed over.
pub(super) struct Table<R> {
    path: PathBuf,
    reader: csv::Reader<Chain<R, &'static [u8]>>,
    record: csv::StringRecord,
}

impl<R: Read> Table<R> {
    pub(super) fn open(file: R, path: &Path) -> Self {
        let reader = csv::ReaderBuilder::new()
            .comment(Some(b'#'))
            .flexible(true)
            .terminator(csv::Terminator::Any(b'\n'))
            // So that the last line ends too.
            .from_reader(file.chain(&b"\n"[..]));
        Table {
            path: path.to_owned(),
            reader,
            record: csv::StringRecord::new(),
        }
    }

    /// The names of the columns.
    pub(super) fn header(&mut self) -> anyhow::Result<&csv::StringRecord> {
        let header = self.reader.headers();
        header.with_context(|| format!("cannot read {}", self.path.display()))
    }

    /// Bytes that have been read.
    pub(super) fn bytes(&self) -> u64 {
        self.reader.position().byte()
    }

    /// The line and the cells of the next row; nothing at the end.
    pub(super) fn next(
        &mut self,
    ) -> anyhow::Result<Option<(u64, Result<&csv::StringRecord, csv::Error>)>> {
        loop {
            let read = self.reader.read_record(&mut self.record);
            let line = self.line();
            match read {
                Ok(false) => return Ok(None),
                Ok(true) if self.record.iter().all(|cell| cell.trim().is_empty()) => {}
                Ok(true) => return Ok(Some((line, Ok(&self.record)))),
                Err(error) if matches!(error.kind(), csv::ErrorKind::Io(_)) => {
                    let context = || format!("cannot read {}", self.path.display());
                    return Err(error).with_context(context);
                }
                Err(error) => return Ok(Some((line, Err(error)))),
            }
        }
    }

    /// The line at which the row just read begins: the reader stands behind
    /// its end, and tells where it stood before the remarks and empty lines in
    /// front of it.
    fn line(&self) -> u64 {
        let within: usize = self
            .record
            .iter()
            .map(|cell| cell.matches('\n').count())
            .sum();
        let behind = self.reader.position().line();
        behind.saturating_sub(1 + within as u64)
    }
}

/// The rows of a file of readings, with the columns `time`, `sump`, `channel`,
/// `value` and perhaps `arrival` and `quality`, in any order.
pub(super) struct Rows<R> {
    table: Table<R>,
    columns: Columns,
}

/// What stands at a line.
pub(super) struct AtLine<'a> {
    pub(super) line: u64,
    pub(super) row: Result<Row<'a>, RowError>,
}

impl<R: Read> Rows<R> {
    /// Reads the header.
    pub(super) fn open(file: R, path: &Path) -> anyhow::Result<Self> {
        let mut table = Table::open(file, path);
        let columns = Columns::find(table.header()?);
        let columns = columns.with_context(|| path.display().to_string())?;
        Ok(Rows { table, columns })
    }

    /// Bytes that have been read.
    pub(super) fn bytes(&self) -> u64 {
        self.table.bytes()
    }

    /// The next row, readable or not; nothing at the end.
    pub(super) fn next(&mut self) -> anyhow::Result<Option<AtLine<'_>>> {
        let Some((line, cells)) = self.table.next()? else {
            return Ok(None);
        };
        let row = match cells {
            Ok(cells) => self.columns.read(cells),
            Err(error) => Err(RowError::Csv(error)),
        };
        Ok(Some(AtLine { line, row }))
    }
}

/// Where each column stands.
struct Columns {
    time: usize,
    sump: usize,
    channel: usize,
    value: usize,
    arrival: Option<usize>,
    quality: Option<usize>,
}

impl Columns {
    fn find(header: &csv::StringRecord) -> anyhow::Result<Self> {
        let place = |name: &str| header.iter().position(|column| column.trim() == name);
        let needed = |name: &str| {
            place(name).with_context(|| {
                format!(
                    "the header has no column \"{name}\"; needed are time,sump,channel,value, and arrival where readings came late, and quality where some have marks"
                )
            })
        };
        Ok(Columns {
            time: needed("time")?,
            sump: needed("sump")?,
            channel: needed("channel")?,
            value: needed("value")?,
            arrival: place("arrival"),
            quality: place("quality"),
        })
    }

    fn read<'a>(&self, record: &'a csv::StringRecord) -> Result<Row<'a>, RowError> {
        let cell = |ix: usize, name| record.get(ix).map(str::trim).ok_or(RowError::Missing(name));
        let time = Timestamp::parse(cell(self.time, "time")?)?;
        let optional = |ix: Option<usize>| ix.and_then(|ix| record.get(ix)).map_or("", str::trim);
        let arrival = match optional(self.arrival) {
            "" => time,
            text => Timestamp::parse(text)?,
        };
        let text = cell(self.value, "value")?;
        let value = text.parse().ok().filter(|value: &f64| value.is_finite());
        Ok(Row {
            time,
            arrival,
            sump: cell(self.sump, "sump")?,
            channel: cell(self.channel, "channel")?,
            value: value.ok_or_else(|| RowError::Value(text.to_owned()))?,
            quality: decode_quality(optional(self.quality))?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_come_with_their_lines_and_what_is_wrong_with_them() {
        let text = "# written by a logger\n\
                    value,arrival,time,sump,channel\n\
                    4.1,,2026-03-02T00:00:00Z,s0,brix\n\
                    # a remark\n\
                    \r\n\
                    much,,2026-03-02T00:00:00Z,s0,brix\r\n\
                    4.2, 2026-03-02T01:00:00Z ,2026-03-02T00:01:00Z, s0 ,brix\n\
                    4.3";
        let mut rows = Rows::open(text.as_bytes(), Path::new("a.csv")).unwrap();
        let mut seen = Vec::new();
        while let Some(AtLine { line, row }) = rows.next().unwrap() {
            seen.push((
                line,
                row.map(|row| (row.sump.to_owned(), row.value, row.arrival - row.time)),
            ));
        }
        let lines: Vec<_> = seen.iter().map(|(line, _)| *line).collect();
        assert_eq!(lines, [3, 6, 7, 8]);
        assert_eq!(seen[0].1.as_ref().unwrap().1, 4.1);
        assert!(matches!(&seen[1].1, Err(RowError::Value(found)) if found == "much"));
        let third = seen[2].1.as_ref().unwrap();
        assert_eq!((third.0.as_str(), third.2.secs_f64()), ("s0", 3540.0));
        assert!(matches!(seen[3].1, Err(RowError::Missing("time"))));
        assert_eq!(rows.bytes(), text.len() as u64 + 1);
    }

    #[test]
    fn marks_are_read_and_unknown_ones_refused_with_the_nearest() {
        let text = "time,quality,sump,channel,value\n\
                    2026-03-02T00:00:00Z,,s0,brix,4.1\n\
                    2026-03-02T00:01:00Z,good,s0,brix,4.1\n\
                    2026-03-02T00:02:00Z,late fault,s0,brix,4.1\n\
                    2026-03-02T00:03:00Z,unsur,s0,brix,4.1\n";
        let mut rows = Rows::open(text.as_bytes(), Path::new("a.csv")).unwrap();
        let mut seen = Vec::new();
        while let Some(AtLine { row, .. }) = rows.next().unwrap() {
            seen.push(row.map(|row| row.quality).map_err(|why| why.to_string()));
        }
        let marks = Quality::LATE.with(Quality::FAULT);
        assert_eq!(seen[..3], [Ok(Quality::GOOD), Ok(Quality::GOOD), Ok(marks)]);
        let told = seen[3].as_ref().unwrap_err();
        assert!(told.contains("did you mean \"unsure\"?"), "{told}");
    }

    #[test]
    fn a_missing_column_is_named() {
        let told = Rows::open("time,sump,value\n".as_bytes(), Path::new("a.csv"));
        let told = format!("{:#}", told.err().unwrap());
        assert!(
            told.contains("no column \"channel\"") && told.contains("a.csv"),
            "{told}"
        );
    }
}
