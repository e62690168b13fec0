//! `replay`: history from files through the same engine that runs live.

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
    SumpWatch,
};
use crate::ingest::decode::decode_entry;
use crate::settings::Settings;
use crate::units::{Timestamp, to_wire};

/// What to replay.
#[derive(Debug)]
pub(super) struct Replay {
    /// CSV with `time,sump,channel,value` and perhaps `arrival` and `quality`.
    pub(super) readings: PathBuf,
    /// JSON objects, one a line.
    pub(super) entries: Option<PathBuf>,
    /// Where the journal goes; standard output if nowhere.
    pub(super) out: Option<PathBuf>,
}

/// What came of it.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(super) struct Counts {
    readings: u64,
    entries: u64,
    pub(super) refused: u64,
    lines: u64,
    alarms: u64,
}

/// Replays, tells what was refused, and returns the counts.
pub(super) fn replay(settings: &Settings, what: &Replay) -> anyhow::Result<Counts> {
    let opened =
        |path: &Path| File::open(path).with_context(|| format!("cannot open {}", path.display()));
    let file = opened(&what.readings)?;
    let size = file.metadata().map(|meta| meta.len()).unwrap_or(0);
    let mut refusals = Refusals::default();
    let entries = match &what.entries {
        Some(path) => read_entries(opened(path)?, path, settings, &mut refusals)?,
        None => Vec::new(),
    };
    let out: Box<dyn Write> = match &what.out {
        Some(path) => Box::new(
            File::create(path).with_context(|| format!("cannot write {}", path.display()))?,
        ),
        None => Box::new(io::stdout().lock()),
    };
    let mut player = Player {
        settings,
        shard: None,
        clock: Timestamp::MIN,
        entries: entries.into_iter().peekable(),
        entries_from: what.entries.as_deref().unwrap_or(Path::new("")),
        known: HashSet::new(),
        effects: Vec::new(),
        held: BTreeMap::new(),
        out: BufWriter::new(out),
        counts: Counts::default(),
        refusals,
    };
    let mut progress = Progress::new("replay", size);
    player.readings(file, &what.readings, &mut progress)?;
    player.finish()?;
    progress.done();
    let counts = Counts {
        refused: player.refusals.count,
        ..player.counts
    };
    eprintln!(
        "readings {}, entries {}, refused {}, journal lines {}, alarms raised {}",
        counts.readings, counts.entries, counts.refused, counts.lines, counts.alarms
    );
    player.tell_where_fluid_goes();
    Ok(counts)
}

/// An entry of the file of entries.
struct EntryAtLine {
    line: u64,
    /// Place of its sump.
    sump: usize,
    entry: Entry,
}

/// The entries by time; those that cannot be read are told and counted.
fn read_entries(
    file: File,
    path: &Path,
    settings: &Settings,
    refusals: &mut Refusals,
) -> anyhow::Result<Vec<EntryAtLine>> {
    let mut entries = Vec::new();
    for (number, line) in BufReader::new(file).lines().enumerate() {
        let line = line.with_context(|| format!("cannot read {}", path.display()))?;
        if line.trim().is_empty() {
            continue;
        }
        let line_number = number as u64 + 1;
        match decode_entry(line.as_bytes(), &settings.sumps) {
            Ok((sump, entry)) => entries.push(EntryAtLine {
                line: line_number,
                sump,
                entry,
            }),
            Err(why) => refusals.tell(path, line_number, &why),
        }
    }
    entries.sort_by_key(|at_line| at_line.entry.time);
    Ok(entries)
}

/// Drives the engine and holds the journal back until it is in order.
struct Player<'a> {
    settings: &'a Settings,
    /// Made when the first event tells when it all begins.
    shard: Option<Shard>,
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
    out: BufWriter<Box<dyn Write + 'a>>,
    counts: Counts,
    refusals: Refusals,
}

impl Player<'_> {
    /// What the balance says of each sump at the end.
    fn tell_where_fluid_goes(&self) {
        for watch in self.shard.iter().flat_map(Shard::watches) {
            let words = watch.status().balance.map(|balance| balance.words);
            for words in words.into_iter().flatten() {
                eprintln!("{}: {words}", watch.setup().name);
            }
        }
    }

    fn readings(&mut self, file: File, path: &Path, progress: &mut Progress) -> anyhow::Result<()> {
        let mut rows = Rows::open(file, path)?;
        let places = places(self.settings);
        loop {
            progress.at(rows.bytes());
            let Some(AtLine { line, row }) = rows.next()? else {
                return Ok(());
            };
            match row.and_then(|row| reading(&row, &places)) {
                Ok((sump, reading)) => self.reading(sump, reading)?,
                Err(why) => self.refusals.tell(path, line, &why),
            }
        }
    }

    fn reading(&mut self, sump: usize, mut reading: Reading) -> anyhow::Result<()> {
        // Entries made before the reading arrived come first.
        while let Some(at_line) = self.entries.peek()
            && at_line.entry.time < reading.arrival
        {
            self.next_entry()?;
        }
        self.counts.readings += 1;
        self.move_to(reading.arrival)?;
        reading.arrival = self.clock;
        self.deliver(sump, &Event::Reading(reading))
    }

    fn next_entry(&mut self) -> anyhow::Result<()> {
        if let Some(EntryAtLine { line, sump, entry }) = self.entries.next() {
            self.counts.entries += 1;
            self.move_to(entry.time)?;
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
            writeln!(self.out, "{}", first.remove()).context("cannot write the journal")?;
        }
        Ok(())
    }

    fn finish(&mut self) -> anyhow::Result<()> {
        while self.entries.peek().is_some() {
            self.next_entry()?;
        }
        self.write_before(Timestamp::MAX)?;
        self.out.flush().context("cannot write the journal")
    }
}

fn is_raised(record: &JournalRecord) -> bool {
    matches!(&record.body, JournalBody::Alarm(line) if line.transition == crate::alarm::Transition::Raised)
}

fn begin(settings: &Settings, start: Timestamp) -> Shard {
    let watches = settings
        .sumps
        .iter()
        .map(|sump| SumpWatch::new(Arc::new(sump.clone()), settings.admission, start));
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
