//! What a source is doing, for the people who have to find out why nothing
//! comes: a source writes into its report, and anybody may read where it
//! stands.
//!
//! Promises: every list is bounded, and what a list has no room for is
//! counted; writing costs a lock that nobody holds for long.

mod skew;
mod status;
mod wire;

use std::collections::BTreeMap;
use std::fmt::{self, Display};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Instant;

use tokio::sync::Notify;

use crate::engine::{AdmissionSetup, Lost};
use crate::units::Timestamp;

use super::refusals::{IngestCounters, Refusals, beginning, shown};
pub use skew::ClockStatus;
use skew::Skew;
pub use status::{Counts, RefusedTopic, SourceStatus, UnknownTopic, UnreadableTopic};
pub use wire::{MasterStatus, Said, SlaveStatus, WireStatus};

/// Unknown topics that are named.
const UNKNOWN: usize = 20;
/// Topics of which the last unreadable message is shown.
const UNREADABLE: usize = 20;
/// Refused subscriptions that are named.
const REFUSED: usize = 20;
/// So much of a topic is shown, in characters.
const TOPIC: usize = 200;

/// Which source it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SourceName {
    /// Of what kind: the table of settings that it stands in, as `broker`,
    /// `modbus` or `serial`; or `control`.
    pub kind: &'static str,
    /// Its name in the settings.
    pub name: Arc<str>,
    /// Where it is: host and port, or a device.
    pub address: String,
}

/// The path of its settings.
impl fmt::Display for SourceName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.kind, self.name)
    }
}

/// What one source is doing, written by the source and readable from anywhere.
#[derive(Debug)]
pub struct SourceReport {
    /// Which source it is.
    pub source: SourceName,
    /// What it counts.
    pub counters: Arc<IngestCounters>,
    admission: AdmissionSetup,
    told: Mutex<Told>,
    /// Something changed that people wait to hear of.
    is_changed: AtomicBool,
    changes: Arc<Notify>,
}

#[derive(Debug)]
struct Told {
    link: Link,
    refused: Vec<RefusedTopic>,
    refused_others: usize,
    unknown: BTreeMap<String, u64>,
    unreadable: BTreeMap<String, Last>,
    refusals: Refusals,
    skew: Skew,
    /// Where it is a wire.
    wire: Option<WireStatus>,
}

/// Whether there is a connection, and since when.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Link {
    since: Timestamp,
    /// Why there is none; nothing while it stands.
    why_not: Option<String>,
}

/// How a source's connection stands, as far as it is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Standing {
    /// The first attempt is not over yet.
    Starting,
    /// There is a connection.
    Connected,
    /// There is none.
    Lost(Lost),
}

/// Said in the place of a reason until the first attempt is over.
const STARTING: &str = "starting";

/// The last message of a topic that could not be read.
#[derive(Debug)]
struct Last {
    count: u64,
    time: Timestamp,
    why: String,
    payload: Vec<u8>,
    bytes: usize,
}

/// Bytes of an unreadable payload that are kept.
const KEPT: usize = 64;

impl SourceReport {
    /// Of a source that begins at `now`; `changes` is woken when there is
    /// something new.
    pub fn new(
        source: SourceName,
        counters: Arc<IngestCounters>,
        admission: AdmissionSetup,
        changes: Arc<Notify>,
        now: Timestamp,
    ) -> Self {
        let link = Link {
            since: now,
            why_not: Some(STARTING.to_owned()),
        };
        SourceReport {
            source,
            counters,
            admission,
            told: Mutex::new(Told {
                link,
                refused: Vec::new(),
                refused_others: 0,
                unknown: BTreeMap::new(),
                unreadable: BTreeMap::new(),
                refusals: Refusals::default(),
                skew: Skew::default(),
                wire: None,
            }),
            is_changed: AtomicBool::new(true),
            changes,
        }
    }

    /// The connection stands since `now`.
    pub fn handle_connected(&self, now: Timestamp) {
        let mut told = self.lock();
        told.link = Link {
            since: now,
            why_not: None,
        };
        told.refused.clear();
        told.refused_others = 0;
        drop(told);
        self.mark_changed();
    }

    /// There is no connection, for this reason.
    pub fn handle_lost(&self, now: Timestamp, why: &str) {
        let mut told = self.lock();
        if told.link.why_not.as_deref() == Some(why) {
            return;
        }
        if told.link.why_not.is_none() {
            told.link.since = now;
            if let Some(wire) = &mut told.wire {
                wire.handle_lost(now);
            }
        }
        told.link.why_not = Some(why.to_owned());
        drop(told);
        self.mark_changed();
    }

    /// These are the topics that the source will not give us.
    pub fn handle_refused<'a>(&self, refused: impl Iterator<Item = (&'a str, &'static str)>) {
        let mut told = self.lock();
        let mut refused = refused.peekable();
        let is_news = refused.peek().is_some();
        let named = refused.by_ref().take(REFUSED);
        told.refused = named
            .map(|(topic, why)| RefusedTopic {
                topic: cut(topic),
                why,
            })
            .collect();
        told.refused_others = refused.count();
        drop(told);
        if is_news {
            self.mark_changed();
        }
    }

    /// A message could not be read, or parts of it: counted, told in the log
    /// at a limited rate, and kept as the topic's last one.
    pub fn handle_unreadable(&self, topic: &str, payload: &[u8], why: &dyn Display, at: Timestamp) {
        let topic = beginning(topic);
        let mut told = self.lock();
        told.refusals.count(topic, payload, why, Instant::now());
        let last = Last {
            count: 1,
            time: at,
            why: why.to_string(),
            payload: payload[..payload.len().min(KEPT)].to_vec(),
            bytes: payload.len(),
        };
        if let Some(known) = told.unreadable.get_mut(topic) {
            let count = known.count + 1;
            *known = Last { count, ..last };
            return;
        }
        if told.unreadable.len() < UNREADABLE {
            told.unreadable.insert(topic.to_owned(), last);
            drop(told);
            self.mark_changed();
        }
    }

    /// A message came of a topic that nobody has.
    pub fn handle_unknown(&self, topic: &str) {
        IngestCounters::add(&self.counters.unknown_topic);
        let topic = beginning(topic);
        let mut told = self.lock();
        if let Some(count) = told.unknown.get_mut(topic) {
            *count += 1;
        } else if told.unknown.len() < UNKNOWN {
            told.unknown.insert(topic.to_owned(), 1);
            drop(told);
            self.mark_changed();
        }
    }

    /// A reading came that had a time of its own, and had not lain at the
    /// source for later.
    pub fn handle_claim(&self, claimed: Timestamp, arrival: Timestamp) {
        self.lock().skew.handle(claimed, arrival, &self.admission);
    }

    /// Whether there is something new since this was asked last.
    pub fn take_change(&self) -> bool {
        self.is_changed.swap(false, Ordering::AcqRel)
    }

    /// Where the source stands.
    pub fn status(&self, now: Timestamp) -> SourceStatus {
        let told = self.lock();
        SourceStatus {
            time: now,
            source: Arc::clone(&self.source.name),
            kind: self.source.kind,
            address: self.source.address.clone(),
            connected: told.link.why_not.is_none(),
            since: told.link.since,
            why: told.link.why_not.clone(),
            refused_topics: told.refused.clone(),
            refused_others: told.refused_others,
            counts: Counts::of(&self.counters),
            unknown_topics: unknown(&told.unknown),
            unreadable_topics: unreadable(&told.unreadable),
            clock: told.skew.status(&self.admission),
            wire: told.wire.clone(),
            text: String::new(),
        }
        .with_text()
    }

    /// How its connection stands.
    pub fn standing(&self) -> Standing {
        let told = self.lock();
        match told.link.why_not.as_deref() {
            None => Standing::Connected,
            Some(STARTING) => Standing::Starting,
            Some(why) => Standing::Lost(Lost {
                since: told.link.since,
                why: why.to_owned(),
            }),
        }
    }

    /// The counts in words, for the log.
    pub fn summary(&self) -> String {
        match &self.lock().wire {
            Some(wire) => format!("readings: {wire}"),
            None => format!("messages: {}", self.counters.summary()),
        }
    }

    /// There is something new that people wait to hear of.
    pub fn mark_changed(&self) {
        self.is_changed.store(true, Ordering::Release);
        self.changes.notify_one();
    }

    fn lock(&self) -> MutexGuard<'_, Told> {
        self.told.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn unknown(topics: &BTreeMap<String, u64>) -> Vec<UnknownTopic> {
    let one = |(topic, count): (&String, &u64)| UnknownTopic {
        topic: cut(topic),
        count: *count,
    };
    topics.iter().map(one).collect()
}

fn unreadable(topics: &BTreeMap<String, Last>) -> Vec<UnreadableTopic> {
    let one = |(topic, last): (&String, &Last)| UnreadableTopic {
        topic: cut(topic),
        count: last.count,
        time: last.time,
        why: last.why.clone(),
        payload: shown(&last.payload, last.bytes),
    };
    topics.iter().map(one).collect()
}

fn cut(topic: &str) -> String {
    topic.chars().take(TOPIC).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Span;

    pub(super) const START: Timestamp = Timestamp::from_millis(1_700_000_000_000);

    pub(super) fn report() -> SourceReport {
        let source = SourceName {
            kind: "broker",
            name: "main".into(),
            address: "127.0.0.1:1883".to_owned(),
        };
        let admission = AdmissionSetup {
            future_skew: Span::from_secs(60),
            oldest: Span::from_hours(24),
            late_after: Span::from_mins(2),
        };
        let changes = Arc::new(Notify::new());
        SourceReport::new(source, Arc::default(), admission, changes, START)
    }

    #[test]
    fn a_link_is_down_since_it_was_lost_whatever_was_tried_since() {
        let report = report();
        let at = |seconds| START + Span::from_secs(seconds);
        report.handle_connected(at(1));
        assert!(report.take_change() && !report.take_change());
        report.handle_lost(at(10), "closed");
        report.handle_lost(at(20), "nothing listens");
        let status = report.status(at(30));
        assert!(!status.connected);
        assert_eq!(status.since, at(10));
        assert_eq!(status.why.as_deref(), Some("nothing listens"));
        assert!(report.take_change());
        report.handle_lost(at(40), "nothing listens");
        assert!(!report.take_change(), "nothing new");
    }

    #[test]
    fn a_flood_of_topics_is_bounded_and_counted() {
        let report = report();
        for n in 0..1_000 {
            report.handle_unknown(&format!("odd/{n}"));
            report.handle_unreadable(&format!("t/{n}"), &[b'x'; 100_000], &"no number", START);
        }
        let status = report.status(START);
        assert_eq!(status.counts.unknown_topic, 1_000);
        assert_eq!(status.unknown_topics.len(), UNKNOWN);
        assert_eq!(status.unreadable_topics.len(), UNREADABLE);
        assert!(serde_json::to_string(&status).unwrap().len() < 16_000);
    }

    #[test]
    fn the_last_unreadable_message_of_a_topic_is_shown() {
        let report = report();
        report.handle_unreadable("t", b"first", &"no number", START);
        report.handle_unreadable("t", b"second\x07", &"no end", START + Span::from_secs(1));
        let told = &report.status(START).unreadable_topics[0];
        assert_eq!(
            (told.count, &*told.why, &*told.payload),
            (2, "no end", "second·")
        );
    }
}
