//! One target: reads, sends, and moves its cursor.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::settings::TargetSettings;
use crate::store::{Batch, FollowRow, Following, Reader, Stats, StoreError, WriterHandle};
use crate::units::Timestamp;

use super::answer::Answer;
use super::back_off::BackOff;
use super::dead_letters::{DeadLetter, DeadLetters};
use super::division::Division;
use super::feed::{COUNT_MOST, Chunk, Feed, FeedError, LOOK_EVERY};
use super::lines::Lines;
use super::report::{DeadLetterNews, LastError, Progress, Stand, TargetReport};
use super::server::Server;

/// After the store could not be read.
const STORE_PAUSE: Duration = Duration::from_secs(5);
/// A server that is slow gets no fewer lines at once.
const FEWEST: usize = 100;
/// When so many lines one after the other were refused, each alone, and nothing was
/// taken in between, the fault is hardly in the lines: from then on there is a pause
/// before each further one, so that a proxy that answers 400 to everything does not
/// empty the store into the file of dead letters. Choice.
const IN_A_ROW: usize = 1000;

/// Forwards to one target.
pub struct Target<A> {
    /// Its settings.
    pub settings: Arc<TargetSettings>,
    /// Name of the plant.
    pub plant: Arc<str>,
    /// Folder of the store.
    pub folder: PathBuf,
    /// Moves its cursor.
    pub writer: WriterHandle<A>,
    /// Of the writer.
    pub stats: Arc<Stats>,
    /// The time.
    pub now: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    /// What it says of itself.
    pub report: Arc<TargetReport>,
}

/// What was read of the store, and the reader to go on with.
struct Fetched {
    feed: Feed,
    chunk: Result<Option<Chunk>, FeedError>,
    progress: Progress,
}

/// The way to the server, and how it has been of late.
struct Way {
    server: Option<Server>,
    back_off: BackOff,
    /// Lines that are sent at once.
    most: usize,
    /// Lines refused one after the other.
    in_a_row: usize,
}

/// A line that is given up, by its place.
struct Dead {
    line: usize,
    words: Arc<str>,
}

impl<A: Send + 'static> Target<A> {
    /// Works until `stop`. A batch under way is then given up and sent again at the
    /// next start.
    pub async fn run(self, stop: CancellationToken) {
        tokio::select! {
            () = stop.cancelled() => {}
            result = self.work() => {
                if let Err(error) = result {
                    tracing::debug!(forward = %self.settings.name, "forwarding ends: {error}");
                }
            }
        }
        self.report.handle_stopped((self.now)());
    }

    /// Ends only when the store has.
    async fn work(&self) -> Result<(), StoreError> {
        let mut feed = self.begin().await?;
        let mut way = Way {
            server: None,
            back_off: BackOff::default(),
            most: self.settings.batch,
            in_a_row: 0,
        };
        let mut reading: Option<JoinHandle<Fetched>> = None;
        loop {
            let was_ahead = reading.is_some();
            let handle = match (reading.take(), feed.take()) {
                (Some(handle), _) => handle,
                (None, Some(feed)) => self.fetch(feed, true),
                (None, None) => return Err(StoreError::Stopped),
            };
            let fetched = handle.await.map_err(|_| StoreError::Stopped)?;
            let Fetched {
                feed: read,
                chunk,
                progress,
            } = fetched;
            match chunk {
                Ok(Some(chunk)) => {
                    if chunk.is_backlog && !chunk.is_late {
                        // The next one is read while this one is under way.
                        reading = Some(self.fetch(read, false));
                    } else {
                        feed = Some(read);
                    }
                    self.deliver(&chunk.lines, &mut way).await;
                    self.settle(vec![chunk.step]).await?;
                    self.report.handle_progress(progress);
                }
                Ok(None) => {
                    feed = Some(read);
                    self.report.handle_progress(progress);
                    if !was_ahead {
                        tokio::time::sleep(LOOK_EVERY).await;
                    }
                }
                Err(error) => {
                    feed = Some(read);
                    tracing::warn!(forward = %self.settings.name, "{error}");
                    tokio::time::sleep(STORE_PAUSE).await;
                }
            }
        }
    }

    /// Opens the store, and has a target that is new begin there.
    async fn begin(&self) -> Result<Option<Feed>, StoreError> {
        loop {
            let (folder, stats) = (self.folder.clone(), Arc::clone(&self.stats));
            let (plant, settings) = (Arc::clone(&self.plant), Arc::clone(&self.settings));
            let now = (self.now)();
            let opened = tokio::task::spawn_blocking(move || {
                Feed::open(&folder, stats, plant, &settings, now)
            });
            match opened.await.map_err(|_| StoreError::Stopped)? {
                Ok((mut feed, steps)) => {
                    let (progress, ..) = feed.progress();
                    self.report.handle_progress(progress);
                    self.settle(steps).await?;
                    return Ok(Some(feed));
                }
                Err(error) => {
                    tracing::warn!(forward = %self.settings.name, "{error}");
                    tokio::time::sleep(STORE_PAUSE).await;
                }
            }
        }
    }

    fn fetch(&self, mut feed: Feed, may_be_late: bool) -> JoinHandle<Fetched> {
        let (now, most) = ((self.now)(), self.settings.batch);
        let report = Arc::clone(&self.report);
        tokio::task::spawn_blocking(move || {
            let chunk = feed.next(now, most, may_be_late);
            let (progress, not_finite, unreadable) = feed.progress();
            report.handle_left_out(not_finite, unreadable);
            Fetched {
                feed,
                chunk,
                progress,
            }
        })
    }

    /// Sends lines until each of them is there or a dead letter.
    async fn deliver(&self, lines: &Lines, way: &mut Way) {
        let mut division = Division::new(lines.len(), way.most);
        let mut dead = Vec::new();
        while let Some(part) = division.next() {
            let count = part.len();
            match self.send(lines, part, way).await {
                Answer::Taken => {
                    division.handle_taken();
                    self.handle_taken(count, way);
                }
                Answer::BadLines(complaint) => {
                    self.report.handle_complaint(&complaint.words, (self.now)());
                    let bad = division.handle_bad(&complaint);
                    if !complaint.is_certain {
                        way.in_a_row += bad.len();
                    }
                    let words: Arc<str> = complaint.words.into();
                    let is_suspect = !bad.is_empty() && way.in_a_row > IN_A_ROW;
                    dead.extend(bad.map(|line| Dead {
                        line,
                        words: Arc::clone(&words),
                    }));
                    if is_suspect {
                        let why = format!("it refuses every line alone, the last one with {words}");
                        self.fail(Stand::Refused, &why, way).await;
                    }
                }
                Answer::TooLarge(words) => {
                    self.report.handle_complaint(&words, (self.now)());
                    let words: Arc<str> = words.into();
                    dead.extend(division.handle_too_large().map(|line| Dead {
                        line,
                        words: Arc::clone(&words),
                    }));
                    way.most = division.most();
                }
                Answer::Slow(words) => {
                    way.most = (count / 2).max(FEWEST);
                    division.limit(way.most);
                    self.fail(Stand::Waiting, &words, way).await;
                }
                Answer::Passing(words) => self.fail(Stand::Waiting, &words, way).await,
                Answer::Shut(words) => self.fail(Stand::Refused, &words, way).await,
            }
        }
        self.bury(lines, &dead);
    }

    async fn send(&self, lines: &Lines, part: std::ops::Range<usize>, way: &mut Way) -> Answer {
        if way.server.is_none() {
            match Server::new(&self.settings) {
                Ok(server) => way.server = Some(server),
                Err(error) => return Answer::Shut(error.to_string()),
            }
        }
        match &way.server {
            Some(server) => server.write(lines.text(part)).await,
            None => Answer::Shut("there is no way to it".to_owned()),
        }
    }

    fn handle_taken(&self, count: usize, way: &mut Way) {
        way.back_off.handle_taken();
        way.in_a_row = 0;
        way.most = (way.most * 2).min(self.settings.batch);
        if self.report.handle_taken(count, (self.now)()) {
            tracing::info!(forward = %self.settings.name, "takes lines");
        }
    }

    /// Tells, and waits before the same is sent again.
    async fn fail(&self, stand: Stand, why: &str, way: &mut Way) {
        let target = &*self.settings.name;
        let pause = match stand {
            Stand::Refused => way.back_off.shut(),
            _ => way.back_off.passing(),
        };
        if self.report.handle_failed(stand, why, (self.now)()) {
            match stand {
                Stand::Refused => {
                    tracing::error!(
                        forward = target,
                        "refuses us until a person mends it: {why}"
                    );
                }
                _ => tracing::warn!(
                    forward = target,
                    "nothing is taken, it is sent again: {why}"
                ),
            }
        }
        // Certificates are read anew, and no connection is used that may be dead.
        way.server = None;
        self.recount().await;
        tokio::time::sleep(pause).await;
    }

    /// Counts what waits by now.
    async fn recount(&self) {
        let (folder, report) = (self.folder.clone(), Arc::clone(&self.report));
        let cursor = Following::Values.cursor(&self.settings.name);
        let count = move || -> Result<(), StoreError> {
            let reader = Reader::open(&folder)?;
            if let Some(standing) = reader.standing(&cursor)? {
                let waiting = reader.count_values_after(standing.position, COUNT_MOST)?;
                report.handle_waiting(waiting, waiting == COUNT_MOST as u64);
            }
            Ok(())
        };
        // The count is for people; without it the last one stands.
        let _ = tokio::task::spawn_blocking(count).await;
    }

    /// Writes dead letters into their file.
    fn bury(&self, lines: &Lines, dead: &[Dead]) {
        if dead.is_empty() {
            return;
        }
        let target = &*self.settings.name;
        let time = (self.now)();
        let texts: Vec<_> = dead
            .iter()
            .map(|dead| lines.text(dead.line..dead.line + 1))
            .collect();
        let letters = dead.iter().zip(&texts).map(|(dead, text)| DeadLetter {
            time,
            target,
            words: &dead.words,
            line: std::str::from_utf8(text).unwrap_or_default().trim_end(),
        });
        let letters: Vec<_> = letters.collect();
        let last = letters[letters.len() - 1].words.to_owned();
        let file = DeadLetters::new(&self.folder, target);
        let written = file.append(&letters);
        let before = self.report.status(time).counts.dead_letters;
        self.report.handle_dead(DeadLetterNews {
            last: LastError { time, words: last },
            count: dead.len() as u64,
            is_written: written.is_ok(),
        });
        let all = before + dead.len() as u64;
        let words = letters[0].words;
        if before == 0 || before.ilog2() != all.ilog2() {
            tracing::error!(
                forward = target,
                lines = all,
                file = %file.path().display(),
                "lines are refused for good and put aside: {words}"
            );
        }
        if let Err(error) = written {
            tracing::error!(
                forward = target,
                "the file of dead letters cannot be written: {error}"
            );
        }
    }

    /// Has the store note how far it is, and waits until that is on the disk.
    async fn settle(&self, followed: Vec<FollowRow>) -> Result<(), StoreError> {
        if followed.is_empty() {
            return Ok(());
        }
        let batch = Batch {
            followed,
            urgent: true,
            ..Batch::default()
        };
        let writer = self.writer.clone();
        let written = tokio::task::spawn_blocking(move || {
            writer.submit(batch)?;
            writer.flush()
        });
        written.await.map_err(|_| StoreError::Stopped)?
    }
}
