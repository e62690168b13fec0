//! What could not be read, a topic at a time.

use std::collections::HashMap;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Topics that are told apart; the rest is counted together.
const TOPICS: usize = 1000;
/// The same topic is told at most so often.
const TELL_EVERY: Duration = Duration::from_secs(300);
/// So much of a topic is kept, in bytes.
const TOPIC_KEPT: usize = 256;
/// So much of a payload is shown.
const SHOWN: usize = 48;

/// Counts of one source, readable from anywhere.
#[derive(Debug, Default)]
pub struct IngestCounters {
    /// Messages received.
    pub received: AtomicU64,
    /// Readings that they held, handed to the engine.
    pub readings: AtomicU64,
    /// Messages that could not be read.
    pub refused: AtomicU64,
    /// Messages larger than allowed, where they came to us all the same.
    pub oversized: AtomicU64,
    /// Messages of topics that no channel has.
    pub unknown_topic: AtomicU64,
    /// Retained messages without a time of their own, which say nothing about
    /// now and only stand in where nothing else is known.
    pub retained: AtomicU64,
    /// Redelivered messages that had been committed before.
    pub repeated: AtomicU64,
    /// Redelivered messages that may have been committed before.
    pub undecided: AtomicU64,
    /// Times that messages of an edge node were missing.
    pub gaps: AtomicU64,
    /// Parts of edge nodes' messages that could not be used.
    pub unused: AtomicU64,
}

impl IngestCounters {
    /// One more.
    pub fn add(counter: &AtomicU64) {
        counter.fetch_add(1, Ordering::Relaxed);
    }

    /// So many more.
    pub fn add_many(counter: &AtomicU64, count: u64) {
        counter.fetch_add(count, Ordering::Relaxed);
    }

    /// The counts in words, for the log.
    pub fn summary(&self) -> String {
        let of = |counter: &AtomicU64| counter.load(Ordering::Relaxed);
        format!(
            "received {}, unreadable {}, oversized {}, of unknown topics {}, retained without a time {}, delivered again {}, undecided {}; of edge nodes: gaps {}, unused parts {}",
            of(&self.received),
            of(&self.refused),
            of(&self.oversized),
            of(&self.unknown_topic),
            of(&self.retained),
            of(&self.repeated),
            of(&self.undecided),
            of(&self.gaps),
            of(&self.unused),
        )
    }
}

/// The refusals of one source.
#[derive(Debug, Default)]
pub struct Refusals {
    topics: HashMap<String, Refused>,
    /// Refusals of topics beyond [`TOPICS`].
    others: u64,
}

#[derive(Debug)]
struct Refused {
    count: u64,
    told: u64,
    told_at: Instant,
}

impl Refusals {
    /// Counts a refusal; tells the first of a topic at once and the others
    /// together, from time to time.
    pub fn count(
        &mut self,
        topic: &str,
        payload: &[u8],
        why: &dyn std::fmt::Display,
        now: Instant,
    ) {
        let topic = beginning(topic);
        if !self.topics.contains_key(topic) && self.topics.len() >= TOPICS {
            self.others += 1;
            if self.others == 1 {
                tracing::warn!(
                    "more than {TOPICS} topics with unreadable messages; the rest are only counted"
                );
            }
            return;
        }
        let refused = self.topics.entry(topic.to_owned()).or_insert(Refused {
            count: 0,
            told: 0,
            told_at: now,
        });
        refused.count += 1;
        if refused.count == 1 || now.duration_since(refused.told_at) >= TELL_EVERY {
            let since = refused.count - refused.told;
            refused.told = refused.count;
            refused.told_at = now;
            tracing::warn!(topic, count = since, payload = %shown(payload, payload.len()), "message refused: {why}");
        }
    }
}

/// So much of a topic as is kept of it: a topic can have 65,535 bytes.
pub(super) fn beginning(topic: &str) -> &str {
    &topic[..topic.floor_char_boundary(TOPIC_KEPT)]
}

/// The beginning of a payload of so many bytes as printable text; no more than
/// the beginning need be given.
pub(super) fn shown(payload: &[u8], bytes: usize) -> String {
    let cut = &payload[..payload.len().min(SHOWN)];
    let text: String = String::from_utf8_lossy(cut)
        .chars()
        .map(|c| if c.is_control() { '·' } else { c })
        .collect();
    if bytes > SHOWN {
        format!("{text}… ({bytes} bytes)")
    } else {
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn payloads_are_shown_short_and_printable() {
        assert_eq!(shown(b"4.1\n\x1b[31m", 8), "4.1··[31m");
        let long = shown(&[b'x'; 60], 500);
        assert!(long.len() < 80 && long.ends_with("(500 bytes)"), "{long}");
    }

    #[test]
    fn topics_are_bounded() {
        let mut refusals = Refusals::default();
        for i in 0..TOPICS + 5 {
            refusals.count(&format!("t/{i}"), b"x", &"no number", Instant::now());
        }
        assert_eq!(refusals.topics.len(), TOPICS);
        assert_eq!(refusals.others, 5);
    }
}
