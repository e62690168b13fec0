//! `replay`: history through the same engine that runs live, from files or from
//! the store.

pub(super) mod compared;
mod stored;

use std::collections::{BTreeMap, HashSet};
use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::Context;

use super::history::{AtLine, Places, Refusals, Row, RowError, Rows};
use super::progress::Progress;
use crate::engine::{
    CorrectionError, Effect, Entry, Event, Form, JournalBody, JournalRecord, Reading, Shard,
    SumpWatch, Suppressor,
};
use crate::ingest::decode::decode_entry;
use crate::settings::Settings;
use crate::units::{Timestamp, to_wire};
use stored::Kept;

/// Where the history is.
#[derive(Debug)]
pub(super) enum History {
    Files {
        /// CSV with `time,sump,channel,value` and perhaps `arrival` and
        /// `quality`.
        readings: PathBuf,
        /// JSON objects, one a line.
        entries: Option<PathBuf>,
    },
    Store(stored::Asked),
}

impl History {
    /// What the store in `folder` has of the time from `from` to before `to`.
    pub(super) fn stored(
        folder: &Path,
        from: Option<&str>,
        to: Option<&str>,
    ) -> anyhow::Result<Self> {
        stored::Asked::new(folder, from, to).map(History::Store)
    }
}

/// What came of it.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Counts {
    readings: u64,
    entries: u64,
    pub(super) refused: u64,
    lines: u64,
    alarms: u64,
    /// Alarms that live the plant's alarm about a start tells of.
    of_start: u64,
}

/// Replays, tells what was refused, writes the journal to `out`, or standard
/// output if that is nowhere, and returns the counts.
pub(super) fn replay(
    settings: &Settings,
    history: &History,
    out: Option<&Path>,
) -> anyhow::Result<Counts> {
    let to: Box<dyn Write> = match out {
        Some(path) => Box::new(
            File::create(path).with_context(|| format!("cannot write {}", path.display()))?,
        ),
        None => Box::new(io::stdout().lock()),
    };
    let mut to = BufWriter::new(to);
    let mut write = |line: &str| writeln!(to, "{line}").context("cannot write the journal");
    let played = play(settings, history, &mut write)?;
    to.flush().context("cannot write the journal")?;
    played.tell();
    played.words.iter().for_each(|words| eprintln!("{words}"));
    Ok(played.counts)
}

/// What a replay came to.
struct Played {
    counts: Counts,
    /// When the first event came and when the last, where any did.
    time: Option<(Timestamp, Timestamp)>,
    /// What the balance says of each sump at the end.
    words: Vec<String>,
}

impl Played {
    fn tell(&self) {
        let counts = self.counts;
        eprintln!(
            "readings {}, entries {}, refused {}, journal lines {}, alarms raised {}",
            counts.readings, counts.entries, counts.refused, counts.lines, counts.alarms
        );
        if counts.of_start > 0 {
            eprintln!(
                "{} more were suppressed at the start after a stand-still: live, one alarm of the plant tells of them",
                counts.of_start
            );
        }
    }
}

/// Drives the engine with the history; each line of the journal goes to `out`,
/// in order.
fn play(
    settings: &Settings,
    history: &History,
    out: &mut dyn FnMut(&str) -> anyhow::Result<()>,
) -> anyhow::Result<Played> {
    let mut refusals = Refusals::default();
    let (entries, from) = match history {
        History::Files {
            entries: Some(path),
            ..
        } => (read_entries(path, settings, &mut refusals)?, path.as_path()),
        History::Files { entries: None, .. } => (Vec::new(), Path::new("")),
        History::Store(asked) => {
            let entries = Kept::open(asked)?.entries(settings, &mut refusals)?;
            (entries, asked.file())
        }
    };
    let mut player = Player {
        settings,
        shard: None,
        began: None,
        clock: Timestamp::MIN,
        entries: entries.into_iter().peekable(),
        entries_from: from,
        known: HashSet::new(),
        effects: Vec::new(),
        held: BTreeMap::new(),
        out,
        counts: Counts::default(),
        refusals,
    };
    match history {
        History::Files { readings, .. } => player.readings_of_file(readings)?,
        History::Store(asked) => player.readings_of_store(&Kept::open(asked)?)?,
    }
    player.finish()?;
    Ok(Played {
        counts: Counts {
            refused: player.refusals.count,
            ..player.counts
        },
        time: player.began.map(|began| (began, player.clock)),
        words: player.where_fluid_goes(),
    })
}

/// An entry of the history.
struct EntryAtLine {
    /// Its line in the file, or in its sump's journal.
    line: u64,
    /// When it came.
    came: Timestamp,
    /// Place of its sump.
    sump: usize,
    entry: Entry,
}

/// The entries by time; those that cannot be read are told and counted.
fn read_entries(
    path: &Path,
    settings: &Settings,
    refusals: &mut Refusals,
) -> anyhow::Result<Vec<EntryAtLine>> {
    let mut entries = Vec::new();
    for (number, line) in BufReader::new(opened(path)?).lines().enumerate() {
        let line = line.with_context(|| format!("cannot read {}", path.display()))?;
        if line.trim().is_empty() {
            continue;
        }
        let line_number = number as u64 + 1;
        match decode_entry(line.as_bytes(), &settings.sumps) {
            // What is said of the plant moves no sump.
            Ok((sump, _)) if sump >= settings.sumps.len() => {}
            Ok((sump, entry)) => entries.push(EntryAtLine {
                line: line_number,
                came: entry.time,
                sump,
                entry,
            }),
            Err(why) => refusals.tell(path, line_number, &why),
        }
    }
    entries.sort_by_key(|at_line| at_line.came);
    Ok(entries)
}

fn opened(path: &Path) -> anyhow::Result<File> {
    File::open(path).with_context(|| format!("cannot open {}", path.display()))
}

/// Drives the engine and holds the journal back until it is in order.
struct Player<'a> {
    settings: &'a Settings,
    /// Made when the first event tells when it all begins.
    shard: Option<Shard>,
    /// When that was.
    began: Option<Timestamp>,
    /// Newest arrival; never goes back.
    clock: Timestamp,
    entries: std::iter::Peekable<std::vec::IntoIter<EntryAtLine>>,
    /// The file that they are from.
    entries_from: &'a Path,
    /// Those that have been, by place of the sump and id: a watch remembers the
    /// newest alone, and the daemon asks its journal.
    known: HashSet<(usize, String)>,
    effects: Vec<Effect>,
    /// Lines that an earlier one might still have to precede.
    held: BTreeMap<(Timestamp, Arc<str>, u64), String>,
    out: &'a mut dyn FnMut(&str) -> anyhow::Result<()>,
    counts: Counts,
    refusals: Refusals,
}

impl Player<'_> {
    /// What the balance says of each sump at the end.
    fn where_fluid_goes(&self) -> Vec<String> {
        let watches = self.shard.iter().flat_map(Shard::watches);
        let each = watches.flat_map(|watch| {
            let words = watch.status().balance.map(|balance| balance.words);
            let words = words.into_iter().flatten();
            words.map(|words| format!("{}: {words}", watch.setup().name))
        });
        each.collect()
    }

    fn readings_of_file(&mut self, path: &Path) -> anyhow::Result<()> {
        let file = opened(path)?;
        let size = file.metadata().map(|meta| meta.len()).unwrap_or(0);
        let mut progress = Progress::new("replay", size);
        let mut rows = Rows::open(file, path)?;
        let places = places(self.settings);
        while let Some(AtLine { line, row }) = rows.next()? {
            match row.and_then(|row| reading(&row, &places)) {
                Ok((sump, reading)) => self.reading(sump, reading)?,
                Err(why) => self.refusals.tell(path, line, &why),
            }
            progress.at(rows.bytes());
        }
        progress.done();
        Ok(())
    }

    fn readings_of_store(&mut self, kept: &Kept) -> anyhow::Result<()> {
        let mut progress = Progress::new("replay", kept.hours());
        let places = kept.places(self.settings)?;
        for hour in 0..kept.hours() {
            progress.at(hour);
            for stored in kept.readings(self.settings, hour)? {
                if let Some(&(sump, channel)) = places.get(&stored.series) {
                    self.reading(sump, stored::reading(&stored, channel))?;
                }
            }
        }
        progress.done();
        Ok(())
    }

    fn reading(&mut self, sump: usize, mut reading: Reading) -> anyhow::Result<()> {
        // Entries made before the reading arrived come first.
        while let Some(at_line) = self.entries.peek()
            && at_line.came < reading.arrival
        {
            self.next_entry()?;
        }
        self.counts.readings += 1;
        self.move_to(reading.arrival)?;
        reading.arrival = self.clock;
        self.deliver(sump, &Event::Reading(reading))
    }

    fn next_entry(&mut self) -> anyhow::Result<()> {
        if let Some(at_line) = self.entries.next() {
            let EntryAtLine {
                line,
                came,
                sump,
                entry,
            } = at_line;
            self.counts.entries += 1;
            self.move_to(came)?;
            if self.known.contains(&(sump, entry.id.clone())) {
                return Ok(());
            }
            if let Some(why @ CorrectionError::Superseded { .. }) = self.error_of(sump, &entry) {
                self.refusals.tell(self.entries_from, line, &why);
                return Ok(());
            }
            self.known.insert((sump, entry.id.clone()));
            self.deliver(sump, &Event::Entry(Box::new(entry), self.clock))?;
        }
        Ok(())
    }

    /// What the watch says against a correction.
    fn error_of(&self, sump: usize, entry: &Entry) -> Option<CorrectionError> {
        let watch = self.shard.as_ref()?.watches().get(sump)?;
        watch.check_entry(entry).err()
    }

    fn move_to(&mut self, arrival: Timestamp) -> anyhow::Result<()> {
        self.clock = self.clock.max(arrival);
        let (settings, clock) = (self.settings, self.clock);
        self.began.get_or_insert(clock);
        let shard = self.shard.get_or_insert_with(|| begin(settings, clock));
        let mut effects = Vec::new();
        shard.advance(clock, &mut self.effects, |_, of_one| effects.append(of_one));
        let passed = shard.passed().unwrap_or(Timestamp::MIN);
        self.hold(effects);
        self.write_before(passed)
    }

    fn deliver(&mut self, sump: usize, event: &Event) -> anyhow::Result<()> {
        if let Some(shard) = &mut self.shard {
            shard.deliver(sump, event, &mut self.effects);
        }
        let effects = std::mem::take(&mut self.effects);
        self.hold(effects);
        Ok(())
    }

    fn hold(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            if let Effect::Journal(record) = effect {
                self.counts.lines += 1;
                self.counts.alarms += u64::from(is_raised(&record));
                self.counts.of_start += u64::from(is_of_start(&record));
                let line = to_wire(&record).expect("a journal line has text keys only");
                self.held
                    .insert((record.time, record.sump, record.seq), line);
            }
        }
    }

    /// Writes what nothing can precede any more.
    fn write_before(&mut self, time: Timestamp) -> anyhow::Result<()> {
        while let Some(first) = self.held.first_entry()
            && first.key().0 < time
        {
            (self.out)(&first.remove())?;
        }
        Ok(())
    }

    fn finish(&mut self) -> anyhow::Result<()> {
        while self.entries.peek().is_some() {
            self.next_entry()?;
        }
        self.write_before(Timestamp::MAX)
    }
}

fn is_raised(record: &JournalRecord) -> bool {
    matches!(&record.body, JournalBody::Alarm(line) if line.transition == crate::alarm::Transition::Raised)
}

fn is_of_start(record: &JournalRecord) -> bool {
    matches!(&record.body, JournalBody::Alarm(line) if line.because == Some(Suppressor::StartUp))
}

fn begin(settings: &Settings, start: Timestamp) -> Shard {
    let watches = settings
        .sumps
        .iter()
        .map(|sump| SumpWatch::new(Arc::clone(sump), settings.admission, start));
    Shard::new(watches.collect())
}

fn places(settings: &Settings) -> Places<'_> {
    Places::new(settings.sumps.iter().map(|sump| {
        let channels = sump.channels.iter().map(|channel| &*channel.name);
        (&*sump.name, channels)
    }))
}

/// The reading of a row and the place of its sump.
fn reading(row: &Row<'_>, places: &Places<'_>) -> Result<(usize, Reading), RowError> {
    let (sump, channel) = places.find(row)?;
    let reading = Reading {
        channel,
        claimed: Some(row.time),
        arrival: row.arrival,
        value: row.value,
        form: Form::Settled,
        quality: row.quality,
    };
    Ok((sump, reading))
}
