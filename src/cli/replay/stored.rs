//! History as the store has it.

use std::collections::HashMap;
use std::path::{Path, PathBuf};

use anyhow::Context;
use jiff::tz::TimeZone;
use serde::Deserialize;

use super::EntryAtLine;
use crate::alarm::performance::Period;
use crate::cli::alarms::day_or_moment;
use crate::cli::history::Refusals;
use crate::engine::{Entry, Form, Reading};
use crate::settings::Settings;
use crate::store::{FILE_NAME, Reader, SeriesId, StoredReading};
use crate::units::{Span, Timestamp};

/// Readings are taken from the store by the hour.
const HOUR: Span = Span::from_hours(1);
/// Lines of the journal read at once.
const AT_ONCE: usize = 1000;
/// The kind of the journal's lines about entries.
const KIND: &str = "entry";

/// What is asked of a store.
#[derive(Debug)]
pub(in crate::cli) struct Asked {
    folder: PathBuf,
    file: PathBuf,
    from: Option<Timestamp>,
    to: Timestamp,
}

impl Asked {
    pub(super) fn new(folder: &Path, from: Option<&str>, to: Option<&str>) -> anyhow::Result<Self> {
        let now = jiff::Timestamp::now();
        let zone = TimeZone::system();
        let time = |text: &str| day_or_moment(text, now, &zone);
        let to = to.map(time).transpose().context("--to")?;
        Ok(Asked {
            folder: folder.to_owned(),
            file: folder.join(FILE_NAME),
            from: from.map(time).transpose().context("--from")?,
            to: to.unwrap_or(Timestamp::from_millis(now.as_millisecond())),
        })
    }

    /// The store's file.
    pub(super) fn file(&self) -> &Path {
        &self.file
    }
}

/// A store, and the time that is wanted of it.
pub(super) struct Kept {
    reader: Reader,
    file: PathBuf,
    period: Period,
}

/// What is read of an entry's line.
#[derive(Deserialize)]
struct Line {
    entry: Entry,
    /// It came out of history and changed nothing.
    #[serde(default)]
    late: bool,
}

impl Kept {
    /// Opens the store. The time begins with the first live reading, or later
    /// where that is asked for.
    pub(super) fn open(asked: &Asked) -> anyhow::Result<Self> {
        let reader = Reader::open(&asked.folder)?;
        let first = reader.first_live_reading()?;
        let first = first.with_context(|| {
            format!("{} keeps no readings that came live", asked.file.display())
        })?;
        let from = asked.from.map_or(first, |from| from.max(first));
        Ok(Kept {
            reader,
            file: asked.file.clone(),
            period: Period::new(from, asked.to),
        })
    }

    /// How many hours there are, the last of which may be shorter.
    pub(super) fn hours(&self) -> u64 {
        self.period.parts(HOUR)
    }

    /// The readings that arrived in an hour of the time, in the order of their
    /// arrival, without those that came late: they changed nothing.
    pub(super) fn readings(
        &self,
        settings: &Settings,
        hour: u64,
    ) -> anyhow::Result<Vec<StoredReading>> {
        let from = self.period.from + Span::from_millis(HOUR.millis() * hour.cast_signed());
        let to = (from + HOUR).min(self.period.to);
        let admission = settings.admission;
        let apart = admission.late_after.max(admission.future_skew).max(HOUR);
        Ok(self.reader.live_readings_arrived(from, to, apart)?)
    }

    /// The entries that were made in the time, in the order in which they came.
    pub(super) fn entries(
        &self,
        settings: &Settings,
        refusals: &mut Refusals,
    ) -> anyhow::Result<Vec<EntryAtLine>> {
        let mut entries = Vec::new();
        let mut after = None;
        loop {
            let page = self.reader.journal_of_kind(KIND, after.as_ref(), AT_ONCE)?;
            let Some(last) = page.last() else {
                return Ok(entries);
            };
            after = Some(last.key());
            for line in page.iter().filter(|line| self.period.has(line.time)) {
                let read: Line = match serde_json::from_str(&line.body) {
                    Ok(read) => read,
                    Err(why) => {
                        refusals.tell(&self.file, line.seq, &why);
                        continue;
                    }
                };
                let mut sumps = settings.sumps.iter();
                let sump = sumps.position(|sump| *sump.name == *line.sump);
                if let Some(sump) = sump.filter(|_| !read.late) {
                    entries.push(EntryAtLine {
                        line: line.seq,
                        came: line.time,
                        sump,
                        entry: read.entry,
                    });
                }
            }
        }
    }

    /// Where each series of readings stands in the settings; those that they no
    /// longer have, or have as another quantity, have no place.
    pub(super) fn places(
        &self,
        settings: &Settings,
    ) -> anyhow::Result<HashMap<SeriesId, (usize, u16)>> {
        let mut places = HashMap::new();
        for series in self.reader.series_of_readings()? {
            let mut sumps = settings.sumps.iter();
            let Some(sump) = sumps.position(|sump| *sump.name == *series.sump) else {
                continue;
            };
            let mut channels = (0u16..).zip(&settings.sumps[sump].channels);
            let found = channels.find(|(_, channel)| {
                *channel.name == *series.channel && channel.quantity.name() == series.quantity
            });
            if let Some((channel, _)) = found {
                places.insert(series.id, (sump, channel));
            }
        }
        Ok(places)
    }
}

/// A stored reading as it came.
pub(super) fn reading(stored: &StoredReading, channel: u16) -> Reading {
    Reading {
        channel,
        claimed: Some(stored.time),
        arrival: stored.time + stored.delay,
        value: stored.value,
        form: Form::Settled,
        quality: stored.quality,
    }
}
