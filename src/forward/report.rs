//! How a target stands, for the people who look after it: the target writes into
//! its report, and anybody may read where it stands.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde::Serialize;
use tokio::sync::Notify;

use crate::units::{Span, Timestamp};

/// How it goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Stand {
    /// The first attempt is not over yet.
    Starting,
    /// The server takes what is sent.
    Sending,
    /// The server is away or busy: the same is sent again.
    Waiting,
    /// The server will take nothing until a person has mended something.
    Refused,
    /// The daemon was stopped.
    Stopped,
}

/// Where one target stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TargetStatus {
    /// When this was so.
    pub time: Timestamp,
    /// The target's name in the settings.
    pub target: Arc<str>,
    /// Where it is.
    pub address: String,
    /// How it goes on.
    pub stand: Stand,
    /// Since when.
    pub since: Timestamp,
    /// Why not, while nothing is taken.
    pub why: Option<String>,
    /// Readings and estimates up to this time are there; none before the first, or
    /// where none are wanted.
    pub position: Option<Timestamp>,
    /// The journal up to this time is there.
    pub journal_position: Option<Timestamp>,
    /// How far it is behind, s; 0 once it has caught up.
    pub behind_s: f64,
    /// Readings and estimates that wait for it.
    pub waiting: u64,
    /// Whether there may be more that wait: they are not counted to the end.
    pub waiting_or_more: bool,
    /// Stretches of time with what came late, that are yet to be sent.
    pub late_spans: usize,
    /// When the server last took something.
    pub last_success: Option<Timestamp>,
    /// The last thing that went wrong, and when.
    pub last_error: Option<LastError>,
    /// What was said of the last line that was refused for good, and when.
    pub last_dead_letter: Option<LastError>,
    /// Since the start.
    pub counts: TargetCounts,
    /// The gist in words.
    pub text: String,
}

/// The last thing that went wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LastError {
    /// When.
    pub time: Timestamp,
    /// What.
    pub words: String,
}

/// What a target counts since the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct TargetCounts {
    /// Lines that the server has taken.
    pub lines: u64,
    /// Requests.
    pub requests: u64,
    /// Times that the same was sent again because the server was away, busy or
    /// refused us.
    pub retries: u64,
    /// Lines that the server will never take, written into the file of dead letters.
    pub dead_letters: u64,
    /// Dead letters that could not be written into the file.
    pub dead_letters_lost: u64,
    /// Values that are no finite number, which line protocol does not have.
    pub not_finite: u64,
    /// Lines of the journal that this version cannot read.
    pub unreadable: u64,
}

/// Dead letters of one batch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct DeadLetterNews {
    /// The server's words to the last one, and when.
    pub(super) last: LastError,
    /// How many.
    pub(super) count: u64,
    /// Whether they are in the file.
    pub(super) is_written: bool,
}

/// How far the reading of the store has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Progress {
    pub(super) position: Option<Timestamp>,
    pub(super) journal_position: Option<Timestamp>,
    pub(super) is_behind: bool,
    pub(super) waiting: u64,
    pub(super) waiting_or_more: bool,
    pub(super) late_spans: usize,
}

/// What one target is doing, written by the target and readable from anywhere.
#[derive(Debug)]
pub struct TargetReport {
    /// The target's name in the settings.
    pub name: Arc<str>,
    address: String,
    told: Mutex<Told>,
    /// Something changed that people wait to hear of.
    is_changed: AtomicBool,
    changes: Arc<Notify>,
}

#[derive(Debug)]
struct Told {
    stand: Stand,
    since: Timestamp,
    why: Option<String>,
    progress: Progress,
    last_success: Option<Timestamp>,
    last_error: Option<LastError>,
    last_dead_letter: Option<LastError>,
    counts: TargetCounts,
}

impl TargetReport {
    /// Of a target that begins at `now`; `changes` is woken when there is
    /// something new.
    pub fn new(name: Arc<str>, address: String, changes: Arc<Notify>, now: Timestamp) -> Self {
        TargetReport {
            name,
            address,
            told: Mutex::new(Told {
                stand: Stand::Starting,
                since: now,
                why: None,
                progress: Progress::default(),
                last_success: None,
                last_error: None,
                last_dead_letter: None,
                counts: TargetCounts::default(),
            }),
            is_changed: AtomicBool::new(true),
            changes,
        }
    }

    /// The server took so many lines. Says whether it is news that it takes any.
    pub(super) fn handle_taken(&self, lines: usize, now: Timestamp) -> bool {
        let mut told = self.lock();
        told.counts.lines += lines as u64;
        told.counts.requests += 1;
        told.last_success = Some(now);
        self.stand(told, Stand::Sending, None, now)
    }

    /// The server complained about a request, which goes on in parts.
    pub(super) fn handle_complaint(&self, why: &str, now: Timestamp) {
        let mut told = self.lock();
        told.counts.requests += 1;
        told.last_error = Some(LastError {
            time: now,
            words: why.to_owned(),
        });
    }

    /// Nothing was taken, and the same will be sent again. Says whether it is news.
    pub(super) fn handle_failed(&self, stand: Stand, why: &str, now: Timestamp) -> bool {
        let mut told = self.lock();
        told.counts.requests += 1;
        told.counts.retries += 1;
        told.last_error = Some(LastError {
            time: now,
            words: why.to_owned(),
        });
        self.stand(told, stand, Some(why), now)
    }

    /// Lines went into the file of dead letters.
    pub(super) fn handle_dead(&self, news: DeadLetterNews) {
        let mut told = self.lock();
        let before = told.counts.dead_letters;
        told.counts.dead_letters += news.count;
        if !news.is_written {
            told.counts.dead_letters_lost += news.count;
        }
        told.last_dead_letter = Some(news.last);
        drop(told);
        if before == 0 {
            self.mark_changed();
        }
    }

    /// So much more could not be written as line protocol.
    pub(super) fn handle_left_out(&self, not_finite: u64, unreadable: u64) {
        let mut told = self.lock();
        told.counts.not_finite += not_finite;
        told.counts.unreadable += unreadable;
    }

    /// So far it has come.
    pub(super) fn handle_progress(&self, progress: Progress) {
        let mut told = self.lock();
        let is_news = told.progress.is_behind && !progress.is_behind;
        told.progress = progress;
        drop(told);
        if is_news {
            self.mark_changed();
        }
    }

    /// So much waits, counted while nothing is taken.
    pub(super) fn handle_waiting(&self, waiting: u64, or_more: bool) {
        let mut told = self.lock();
        told.progress.waiting = waiting;
        told.progress.waiting_or_more = or_more;
    }

    /// The daemon stops.
    pub fn handle_stopped(&self, now: Timestamp) {
        let told = self.lock();
        self.stand(told, Stand::Stopped, None, now);
    }

    /// Whether there is something new since this was asked last.
    pub fn take_change(&self) -> bool {
        self.is_changed.swap(false, Ordering::AcqRel)
    }

    /// There is something new that people wait to hear of.
    pub fn mark_changed(&self) {
        self.is_changed.store(true, Ordering::Release);
        self.changes.notify_one();
    }

    /// Where the target stands.
    pub fn status(&self, now: Timestamp) -> TargetStatus {
        let told = self.lock();
        let progress = told.progress;
        let is_behind = progress.is_behind || matches!(told.stand, Stand::Waiting | Stand::Refused);
        let behind = |position: Timestamp| (now - position).max(Span::ZERO).secs_f64();
        let mut status = TargetStatus {
            time: now,
            target: Arc::clone(&self.name),
            address: self.address.clone(),
            stand: told.stand,
            since: told.since,
            why: told.why.clone(),
            position: progress.position,
            journal_position: progress.journal_position,
            behind_s: progress
                .position
                .or(progress.journal_position)
                .filter(|_| is_behind)
                .map_or(0.0, behind),
            waiting: progress.waiting,
            waiting_or_more: progress.waiting_or_more,
            late_spans: progress.late_spans,
            last_success: told.last_success,
            last_error: told.last_error.clone(),
            last_dead_letter: told.last_dead_letter.clone(),
            counts: told.counts,
            text: String::new(),
        };
        status.text = text(&status);
        status
    }

    /// Says how it goes on, and whether that is news.
    fn stand(
        &self,
        mut told: MutexGuard<'_, Told>,
        stand: Stand,
        why: Option<&str>,
        now: Timestamp,
    ) -> bool {
        let is_news = told.stand != stand;
        if is_news {
            told.stand = stand;
            told.since = now;
        }
        if told.why.as_deref() != why {
            told.why = why.map(str::to_owned);
        }
        drop(told);
        if is_news {
            self.mark_changed();
        }
        is_news
    }

    fn lock(&self) -> MutexGuard<'_, Told> {
        self.told.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn text(status: &TargetStatus) -> String {
    let why = status.why.as_deref().unwrap_or("no reason given");
    let since = status.since;
    let mut text = match status.stand {
        Stand::Starting => "starting".to_owned(),
        Stand::Sending => format!("sending since {since}"),
        Stand::Waiting => {
            format!("waiting since {since}: {why}; the same is sent again by itself")
        }
        Stand::Refused => format!(
            "refused since {since}: {why}; look at url, org, bucket and token, and at the server"
        ),
        Stand::Stopped => "the daemon was stopped".to_owned(),
    };
    if status.behind_s > 0.0 {
        let more = if status.waiting_or_more {
            " or more"
        } else {
            ""
        };
        text += &format!(
            "; behind by {:.0} s, {}{more} values wait",
            status.behind_s, status.waiting
        );
    }
    let dead = status.counts.dead_letters;
    if dead > 0 {
        text += &format!("; {dead} lines refused for good, see the file of dead letters");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        Timestamp::from_millis(seconds * 1000)
    }

    #[test]
    fn what_changes_is_told_once_and_says_what_to_do() {
        let report =
            TargetReport::new("history".into(), "http://h:1".into(), Arc::default(), at(0));
        assert!(report.take_change());
        report.handle_taken(10, at(1));
        assert!(report.take_change());
        report.handle_taken(10, at(2));
        assert!(!report.take_change(), "nothing new");
        assert!(report.handle_failed(Stand::Refused, "status 401", at(3)));
        assert!(!report.handle_failed(Stand::Refused, "status 401", at(4)));
        report.handle_progress(Progress {
            position: Some(at(-97)),
            is_behind: true,
            waiting: 7,
            ..Progress::default()
        });
        let status = report.status(at(3));
        assert_eq!((status.since, status.behind_s), (at(3), 100.0));
        assert_eq!(
            status.text,
            "refused since 1970-01-01T00:00:03Z: status 401; look at url, org, bucket and token, and \
             at the server; behind by 100 s, 7 values wait"
        );
        assert_eq!((status.counts.lines, status.counts.retries), (20, 2));
        assert_eq!(status.last_success, Some(at(2)));
    }
}
