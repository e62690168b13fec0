//! What was heard on a broker, a topic at a time.

use std::collections::BTreeMap;

use super::nodes::Nodes;
use super::recognise::{Field, Look, Seen, beginning, recognise};
use crate::units::{Span, Timestamp};

/// Topics that are told apart; messages of others are counted together.
const TOPICS: usize = 2_000;
/// So much of a message is looked at, in bytes.
const LOOKED_AT: usize = 64 * 1024;

/// One topic.
#[derive(Debug, Clone, PartialEq)]
pub struct Topic {
    /// Messages, without those that the broker had retained.
    pub fresh: u64,
    /// Messages that the broker had retained.
    pub retained: u64,
    /// Arrival of the first message that was not retained.
    pub first: Option<Timestamp>,
    /// Arrival of the newest message.
    pub last: Timestamp,
    /// What the newest message looks like.
    pub look: Look,
    /// Whether messages looked different from one another.
    pub varies: bool,
    /// Largest message, in bytes.
    pub largest: usize,
}

impl Topic {
    /// Mean time between messages, once there were two.
    pub fn interval(&self) -> Option<Span> {
        let (first, gaps) = (self.first?, i64::try_from(self.fresh).ok()? - 1);
        (gaps > 0).then(|| Span::from_millis((self.last - first).millis() / gaps))
    }
}

/// All topics that were heard.
#[derive(Debug, Default)]
pub struct Topics {
    seen: BTreeMap<String, Topic>,
    /// Edge nodes of Sparkplug B; their topics are not told apart.
    pub(super) nodes: Nodes,
    /// Messages of topics beyond those that are told apart.
    pub others: u64,
    /// Messages in all.
    pub messages: u64,
}

impl Topics {
    /// What topics begin with that a daemon like this one publishes: where it
    /// tells whether it is online.
    pub(super) fn trees_of_ours(&self) -> Vec<&str> {
        let status = |(name, topic): (&'_ str, &Topic)| {
            let tells = matches!(&topic.look, Look::Json { fields, time: None, more: 0, .. }
                if matches!(&fields[..], [Field { pointer, seen: Seen::Word(word) }]
                    if pointer == "/status" && ["online", "offline"].contains(&word.as_str())));
            tells.then(|| name.len() - "status".len())
        };
        self.iter()
            .filter(|(name, _)| name.ends_with("/status"))
            .filter_map(|(name, topic)| status((name, topic)).map(|end| &name[..end]))
            .collect()
    }

    /// Takes in one message.
    pub fn hear(&mut self, topic: &str, payload: &[u8], retained: bool, arrival: Timestamp) {
        self.messages += 1;
        let fits = payload.len() <= LOOKED_AT;
        if fits && !retained && self.nodes.hear(topic, payload, arrival) {
            return;
        }
        if !self.seen.contains_key(topic) && self.seen.len() >= TOPICS {
            self.others += 1;
            return;
        }
        let look = if fits {
            recognise(payload, arrival)
        } else {
            Look::Unknown(beginning(payload))
        };
        let seen = self.seen.entry(topic.to_owned()).or_insert(Topic {
            fresh: 0,
            retained: 0,
            first: None,
            last: arrival,
            look: look.clone(),
            varies: false,
            largest: 0,
        });
        if retained {
            seen.retained += 1;
        } else {
            seen.fresh += 1;
            seen.first.get_or_insert(arrival);
        }
        seen.last = arrival;
        seen.varies |= !alike(&seen.look, &look);
        seen.look = look;
        seen.largest = seen.largest.max(payload.len());
    }

    /// Edge nodes of Sparkplug B that were heard of themselves, and devices.
    pub fn nodes_and_devices(&self) -> (usize, usize) {
        let of_devices = self
            .nodes
            .iter()
            .filter(|((.., device), _)| device.is_some());
        let devices = of_devices.count();
        (self.nodes.iter().count() - devices, devices)
    }

    /// The topics by name.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &Topic)> {
        self.seen.iter().map(|(name, topic)| (name.as_str(), topic))
    }
}

/// Whether two messages look alike: of one kind, with values at the same places.
fn alike(a: &Look, b: &Look) -> bool {
    match (a, b) {
        (Look::Json { fields: a, .. }, Look::Json { fields: b, .. }) => a
            .iter()
            .map(|f| &f.pointer)
            .eq(b.iter().map(|f| &f.pointer)),
        (Look::Senml(a), Look::Senml(b)) => a
            .named
            .iter()
            .map(|n| &n.name)
            .eq(b.named.iter().map(|n| &n.name)),
        _ => std::mem::discriminant(a) == std::mem::discriminant(b),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_millis(1_772_431_800_000) + Span::from_secs(second)
    }

    #[test]
    fn rate_and_look_of_a_topic() {
        let mut topics = Topics::default();
        topics.hear("a", b"7.0", true, at(0));
        for second in [5, 15, 25] {
            topics.hear("a", b"7.1", false, at(second));
        }
        let (_, topic) = topics.iter().next().unwrap();
        assert_eq!((topic.fresh, topic.retained), (3, 1));
        assert_eq!(topic.interval(), Some(Span::from_secs(10)));
        assert_eq!(topic.look, Look::Number(7.1));
        assert!(!topic.varies);
        topics.hear("a", b"{\"x\":1}", false, at(30));
        assert!(topics.iter().next().unwrap().1.varies);
    }

    #[test]
    fn what_a_daemon_of_ours_publishes_is_known_by_its_status() {
        let mut topics = Topics::default();
        for (topic, payload) in [
            ("sumpward/north/status", "{\"status\":\"online\"}"),
            ("sumpward/north/mill/state", "{\"volume_l\":812.0}"),
            ("gateway/status", "{\"status\":\"ok\"}"),
            ("gateway/brix", "7.4"),
        ] {
            topics.hear(topic, payload.as_bytes(), true, at(0));
        }
        assert_eq!(topics.trees_of_ours(), ["sumpward/north/"]);
        let report = topics.report();
        let names: Vec<_> = report.rows.iter().map(|row| &*row.name).collect();
        assert_eq!(names, ["gateway/brix", "gateway/status"]);
        assert!(report.notes[0].contains("sumpward/north/#"), "{report:?}");
    }

    #[test]
    fn topics_are_bounded_and_the_rest_is_counted() {
        let mut topics = Topics::default();
        for n in 0..TOPICS + 7 {
            topics.hear(&format!("t/{n}"), b"1", false, at(0));
        }
        assert_eq!(topics.iter().count(), TOPICS);
        assert_eq!((topics.others, topics.messages), (7, TOPICS as u64 + 7));
    }
}
