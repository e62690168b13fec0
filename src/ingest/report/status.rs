//! Where a source stands, as it goes over the wire.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use serde::Serialize;

use crate::units::Timestamp;

use super::skew::ClockStatus;
use super::wire::WireStatus;
use crate::ingest::refusals::IngestCounters;

/// Where a source stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SourceStatus {
    /// When this was so.
    pub time: Timestamp,
    /// The source's name in the settings.
    pub source: Arc<str>,
    /// Of what kind it is.
    pub kind: &'static str,
    /// Where it is.
    pub address: String,
    /// Whether there is a connection.
    pub connected: bool,
    /// Since when.
    pub since: Timestamp,
    /// Why there is none.
    pub why: Option<String>,
    /// Topics that it will not give us, some of them.
    pub refused_topics: Vec<RefusedTopic>,
    /// How many such topics are not named.
    pub refused_others: usize,
    /// What it counts, since the start.
    pub counts: Counts,
    /// Topics that messages came on and that nobody has, some of them.
    pub unknown_topics: Vec<UnknownTopic>,
    /// What could not be read last, some topics.
    pub unreadable_topics: Vec<UnreadableTopic>,
    /// How its clock stands to ours.
    pub clock: ClockStatus,
    /// What only a wire has to say; left out for others.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wire: Option<WireStatus>,
    /// The gist in words.
    pub text: String,
}

/// A topic that we may not subscribe to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RefusedTopic {
    /// The topic or filter.
    pub topic: String,
    /// Why.
    pub why: &'static str,
}

/// A topic that nobody has.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UnknownTopic {
    /// The topic.
    pub topic: String,
    /// Its messages.
    pub count: u64,
}

/// A topic with messages that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UnreadableTopic {
    /// The topic.
    pub topic: String,
    /// Such messages.
    pub count: u64,
    /// When the last of them came.
    pub time: Timestamp,
    /// What is wrong with it.
    pub why: String,
    /// How it begins.
    pub payload: String,
}

/// What a source counts, as [`IngestCounters`] does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Messages received; of a wire, lines or answers.
    pub received: u64,
    /// Messages that could not be read.
    pub unreadable: u64,
    /// Messages larger than allowed.
    pub oversized: u64,
    /// Messages of topics that nobody has.
    pub unknown_topic: u64,
    /// Retained messages without a time of their own.
    pub retained: u64,
    /// Messages delivered again and known.
    pub repeated: u64,
    /// Messages delivered again and perhaps known.
    pub undecided: u64,
}

impl Counts {
    /// As the counters stand.
    pub fn of(counters: &IngestCounters) -> Self {
        let of = |counter: &AtomicU64| counter.load(Ordering::Relaxed);
        Counts {
            received: of(&counters.received),
            unreadable: of(&counters.refused),
            oversized: of(&counters.oversized),
            unknown_topic: of(&counters.unknown_topic),
            retained: of(&counters.retained),
            repeated: of(&counters.repeated),
            undecided: of(&counters.undecided),
        }
    }
}

impl SourceStatus {
    /// With the gist in words, for the log and for technicians.
    pub(super) fn with_text(mut self) -> Self {
        let mut sentences = vec![match &self.why {
            None => format!("Connected since {}.", self.since),
            Some(why) => format!("Not connected since {}: {why}.", self.since),
        }];
        let refused = self.refused_topics.len() + self.refused_others;
        if let Some(first) = self.refused_topics.first() {
            sentences.push(format!(
                "Subscriptions refused: {refused}, \"{}\" among them: {}.",
                first.topic, first.why
            ));
        }
        let newest = self.unreadable_topics.iter().max_by_key(|topic| topic.time);
        if let Some(last) = newest {
            let count = self.counts.unreadable + self.counts.oversized;
            sentences.push(format!(
                "Messages that could not be read: {count}, the last on \"{}\": {}.",
                last.topic, last.why
            ));
        }
        if let Some(first) = self.unknown_topics.first() {
            sentences.push(format!(
                "Messages on topics that no channel has: {}, \"{}\" among them.",
                self.counts.unknown_topic, first.topic
            ));
        }
        match &self.wire {
            Some(wire) => sentences.extend(wire.sentences()),
            None => sentences.push(self.clock.text.clone()),
        }
        self.text = sentences.join(" ");
        self
    }
}
