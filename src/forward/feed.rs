//! What a target is to be sent next, out of the store.
//!
//! The journal comes first, as it is small; then values; then what came late. Each
//! window is read by itself and is over in milliseconds.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::Ordering::Acquire;
use std::time::{Duration, Instant};

use crate::settings::{History, TargetSettings};
use crate::store::{FollowRow, FollowStep, Following, Reader, Standing, Stats, StoreError, Window};
use crate::units::{Span, Timestamp};

use super::ahead::Ahead;
use super::journal_points::{JournalPoints, Wanted};
use super::lines::Lines;
use super::report::Progress;
use super::value_points::ValuePoints;

/// What is younger is not sent yet: what was measured together comes in one after
/// the other, and would be sent a second time otherwise. Choice: more than a commit
/// and a source's delay take, less than a person waits for.
pub(super) const SETTLING: Span = Span::from_secs(2);
/// Once all is sent the store is asked this often. Choice.
pub(super) const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Values are read this many at a time; they are sent in smaller portions.
const READ_AHEAD: usize = 50_000;
/// What waits is counted this often, and up to so many.
const COUNT_EVERY: Duration = Duration::from_secs(10);
pub(super) const COUNT_MOST: usize = 100_000;

/// Why a target cannot be fed.
#[derive(Debug, thiserror::Error)]
#[error("the store cannot be read for it: {0}")]
pub struct FeedError(#[from] StoreError);

/// Lines to be sent, and the step that is made once they are there.
#[derive(Debug)]
pub(super) struct Chunk {
    pub(super) lines: Lines,
    pub(super) step: FollowRow,
    /// Whether there is more at once.
    pub(super) is_backlog: bool,
    /// Whether it came late, behind where the target stands.
    pub(super) is_late: bool,
}

/// Reads for one target. Where it stands is in its mind; the store has it once a
/// chunk is settled.
pub(super) struct Feed {
    reader: Reader,
    stats: Arc<Stats>,
    plant: Arc<str>,
    values: Option<Stream>,
    journal: Option<Stream>,
    points: ValuePoints,
    wanted: Wanted,
    /// Names of the sumps; none for all and the plant itself.
    sumps: Option<Vec<Arc<str>>>,
    counted: Option<Instant>,
    /// Values that waited behind what was read, when they were counted last.
    behind: u64,
    progress: Progress,
    not_finite: u64,
    unreadable: u64,
}

/// One of the two ways through the store.
struct Stream {
    following: Following,
    cursor: String,
    position: Timestamp,
    /// When all there was had been read.
    at_the_end: Option<Instant>,
    /// When there was nothing late.
    none_late: Option<Instant>,
    /// Values that are read and not sent yet.
    ahead: Option<Ahead>,
}

impl Feed {
    /// Opens the store; gives the steps with which a target begins that is new.
    pub(super) fn open(
        folder: &Path,
        stats: Arc<Stats>,
        plant: Arc<str>,
        settings: &TargetSettings,
        now: Timestamp,
    ) -> Result<(Self, Vec<FollowRow>), FeedError> {
        let reader = Reader::open(folder)?;
        let what = settings.what;
        let series = reader.all_series()?;
        let points = ValuePoints::new(&plant, &series, |series| {
            let is_wanted = match series.kind {
                crate::store::SeriesKind::Reading => what.readings,
                crate::store::SeriesKind::Estimate => what.estimates,
            };
            is_wanted && is_among(settings.sumps.as_deref(), &series.sump)
        });
        let wanted = Wanted {
            alarms: what.alarms,
            doses: what.doses,
            entries: what.entries,
        };
        let mut steps = Vec::new();
        let mut begin = |following: Following| -> Result<Stream, FeedError> {
            let cursor = following.cursor(&settings.name);
            let known = reader.standing(&cursor)?;
            let position = known.map(|standing| standing.position);
            let position = position.unwrap_or_else(|| {
                let position = match settings.history {
                    History::All => Timestamp::MIN,
                    History::FromNow => now - SETTLING,
                };
                steps.push(FollowRow {
                    cursor: cursor.clone(),
                    moved_at: now,
                    step: FollowStep::Begin(position),
                });
                position
            });
            Ok(Stream {
                following,
                cursor,
                position,
                at_the_end: None,
                none_late: None,
                ahead: None,
            })
        };
        let has_values = what.readings || what.estimates;
        let values = has_values.then(|| begin(Following::Values)).transpose()?;
        let journal = wanted
            .is_any()
            .then(|| begin(Following::Journal))
            .transpose()?;
        let feed = Feed {
            reader,
            stats,
            plant,
            values,
            journal,
            points,
            wanted,
            sumps: settings.sumps.clone(),
            counted: None,
            behind: 0,
            progress: Progress::default(),
            not_finite: 0,
            unreadable: 0,
        };
        Ok((feed, steps))
    }

    /// What is to be sent next, of at most so many rows; nothing where all is
    /// sent. What came late is only asked for with `may_be_late`, when every chunk
    /// before is settled.
    pub(super) fn next(
        &mut self,
        now: Timestamp,
        most: usize,
        may_be_late: bool,
    ) -> Result<Option<Chunk>, FeedError> {
        let (mut journal, mut values) = (self.journal.take(), self.values.take());
        let chunk = self.find(&mut journal, &mut values, now, most, may_be_late);
        (self.journal, self.values) = (journal, values);
        chunk
    }

    fn find(
        &mut self,
        journal: &mut Option<Stream>,
        values: &mut Option<Stream>,
        now: Timestamp,
        most: usize,
        may_be_late: bool,
    ) -> Result<Option<Chunk>, FeedError> {
        let streams = [journal, values];
        let mut streams = streams.map(|stream| stream.as_mut());
        for stream in streams.iter_mut().flatten() {
            if let Some(chunk) = self.ahead(stream, now, most)? {
                return Ok(Some(chunk));
            }
        }
        for stream in streams.iter_mut().flatten().filter(|_| may_be_late) {
            if let Some(chunk) = self.late(stream, now, most)? {
                return Ok(Some(chunk));
            }
        }
        Ok(None)
    }

    /// How far it has come, for whoever wants to know; and what could not be
    /// written since this was asked last.
    pub(super) fn progress(&mut self) -> (Progress, u64, u64) {
        let position = |stream: &Option<Stream>| {
            let position = stream.as_ref().map(|stream| stream.position);
            position.filter(|position| *position > Timestamp::MIN)
        };
        self.progress.position = position(&self.values);
        self.progress.journal_position = position(&self.journal);
        let left_out = (
            std::mem::take(&mut self.not_finite),
            std::mem::take(&mut self.unreadable),
        );
        (self.progress, left_out.0, left_out.1)
    }

    /// The next ones ahead.
    fn ahead(
        &mut self,
        stream: &mut Stream,
        now: Timestamp,
        most: usize,
    ) -> Result<Option<Chunk>, FeedError> {
        let found = match stream.following {
            Following::Values => self.values_ahead(stream, now, most)?,
            Following::Journal => self.journal_ahead(stream, now, most)?,
        };
        let Some((lines, to, seen, is_backlog)) = found else {
            return Ok(None);
        };
        stream.position = to;
        let step = FollowRow {
            cursor: stream.cursor.clone(),
            moved_at: now,
            step: FollowStep::Through { to, seen },
        };
        Ok(Some(Chunk {
            lines,
            step,
            is_backlog,
            is_late: false,
        }))
    }

    fn values_ahead(
        &mut self,
        stream: &mut Stream,
        now: Timestamp,
        most: usize,
    ) -> Result<Option<Passed>, FeedError> {
        let mut ahead = match stream.ahead.take().filter(Ahead::is_of_use) {
            Some(ahead) => ahead,
            None => match self.read_values(stream, now)? {
                Some(ahead) => ahead,
                None => return Ok(None),
            },
        };
        ahead.pass(most);
        let passed = ahead.passed();
        let lines = self.points.lines(passed, &mut self.not_finite);
        let is_behind = !ahead.is_the_end();
        self.progress.is_behind = is_behind;
        self.progress.waiting = (passed.len() + ahead.left()) as u64 + self.behind;
        self.progress.waiting_or_more = self.behind == COUNT_MOST as u64;
        let (through, seen) = (ahead.through(), ahead.seen());
        stream.ahead = Some(ahead);
        Ok(through.map(|to| (lines, to, seen, is_behind)))
    }

    fn read_values(
        &mut self,
        stream: &mut Stream,
        now: Timestamp,
    ) -> Result<Option<Ahead>, FeedError> {
        let (after, to) = (stream.position, now - SETTLING);
        if to <= after || is_within(stream.at_the_end, LOOK_EVERY) {
            return Ok(None);
        }
        let seen = self.stats.commit_number.load(Acquire);
        let window = self.reader.values_between(after, to, READ_AHEAD)?;
        stream.at_the_end = window.is_all.then(Instant::now);
        if window.is_all {
            (self.counted, self.behind) = (None, 0);
        } else if !is_within(self.counted, COUNT_EVERY) {
            self.behind = self.reader.count_values_after(window.through, COUNT_MOST)?;
            self.counted = Some(Instant::now());
        }
        if window.rows.is_empty() {
            self.progress.is_behind = false;
            self.progress.waiting = 0;
            return Ok(None);
        }
        Ok(Some(Ahead::new(window, seen)))
    }

    fn journal_ahead(
        &mut self,
        stream: &mut Stream,
        now: Timestamp,
        most: usize,
    ) -> Result<Option<Passed>, FeedError> {
        let (after, to) = (stream.position, now - SETTLING);
        if to <= after || is_within(stream.at_the_end, LOOK_EVERY) {
            return Ok(None);
        }
        let seen = self.stats.commit_number.load(Acquire);
        let read = self.read(Following::Journal, after, to, most)?;
        stream.at_the_end = read.is_all.then(Instant::now);
        let to = match read.is_all {
            true => read.last,
            false => Some(read.through),
        };
        Ok(to.map(|to| (read.lines, to, seen, !read.is_all)))
    }

    /// The next window of what came late.
    fn late(
        &mut self,
        stream: &mut Stream,
        now: Timestamp,
        most: usize,
    ) -> Result<Option<Chunk>, FeedError> {
        if is_within(stream.none_late, LOOK_EVERY) {
            return Ok(None);
        }
        let standing = self.reader.standing(&stream.cursor)?;
        let late = standing
            .map(|Standing { late, .. }| late)
            .unwrap_or_default();
        if stream.following == Following::Values {
            self.progress.late_spans = late.len();
        }
        let Some(&(first, last)) = late.first() else {
            stream.none_late = Some(Instant::now());
            return Ok(None);
        };
        let seen = self.stats.commit_number.load(Acquire);
        let before = first - Span::from_millis(1);
        let read = self.read(stream.following, before, last, most)?;
        if read.is_all && late.len() == 1 {
            // What comes late all the time is sent from time to time.
            stream.none_late = Some(Instant::now());
        }
        let step = FollowRow {
            cursor: stream.cursor.clone(),
            moved_at: now,
            step: FollowStep::Late {
                first,
                last: read.through,
                seen,
            },
        };
        Ok(Some(Chunk {
            lines: read.lines,
            step,
            is_backlog: !read.is_all,
            is_late: true,
        }))
    }

    /// A window as lines.
    fn read(
        &mut self,
        following: Following,
        after: Timestamp,
        to: Timestamp,
        most: usize,
    ) -> Result<Read, FeedError> {
        Ok(match following {
            Following::Values => {
                let window = self.reader.values_between(after, to, most)?;
                let lines = self.points.lines(&window.rows, &mut self.not_finite);
                Read::of(lines, &window, |row| row.time)
            }
            Following::Journal => {
                let window = self.reader.journal_between(after, to, most)?;
                let mut points = JournalPoints::new(&self.plant);
                for row in &window.rows {
                    if is_among(self.sumps.as_deref(), &row.sump) {
                        points.add(row, self.wanted);
                    }
                }
                let (lines, not_finite, unreadable) = points.finish();
                self.not_finite += not_finite;
                self.unreadable += unreadable;
                Read::of(lines, &window, |row| row.time)
            }
        })
    }
}

/// What is passed next: its lines, up to which time, as of which commit, and whether
/// there is more at once.
type Passed = (Lines, Timestamp, u64, bool);

/// A window as lines.
struct Read {
    lines: Lines,
    /// Time of the last row.
    last: Option<Timestamp>,
    through: Timestamp,
    is_all: bool,
}

impl Read {
    fn of<T>(lines: Lines, window: &Window<T>, time: impl Fn(&T) -> Timestamp) -> Self {
        Read {
            lines,
            last: window.rows.last().map(time),
            through: window.through,
            is_all: window.is_all,
        }
    }
}

/// Whether something happened so short a time ago.
fn is_within(last: Option<Instant>, time: Duration) -> bool {
    last.is_some_and(|last| last.elapsed() < time)
}

/// Whether a sump is wanted; what is the plant's only goes with all of them.
fn is_among(sumps: Option<&[Arc<str>]>, sump: &str) -> bool {
    sumps.is_none_or(|sumps| sumps.iter().any(|wanted| **wanted == *sump))
}
