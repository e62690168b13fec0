//! Telling a second delivery from a second reading where a message has no
//! time of its own.
//!
//! A message with a time of its own is recognised by (channel, time). One
//! without stands at its arrival, so that a redelivery would look new. For
//! such topics the packet identifier and a hash of each of the last messages
//! are kept, and stored in the same transaction as their readings. A message
//! that the broker marks as redelivered and that is known by both is dropped;
//! one whose content alone is known may be either, and is kept as uncertain.

use std::collections::{HashMap, VecDeque};

/// Messages remembered a topic.
const KEPT: usize = 32;
/// Bytes of one remembered message: packet identifier and hash.
const WIDTH: usize = 10;

/// What became of a message without a time of its own.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Judgement {
    /// It has not been seen.
    New,
    /// It has been committed before.
    Repeated,
    /// It may have been seen before.
    Undecided,
}

/// The newest messages of each topic that needs it.
#[derive(Debug, Default)]
pub struct Recent {
    topics: HashMap<String, VecDeque<(u16, u64)>>,
}

impl Recent {
    /// From what was stored.
    pub fn load(rows: impl IntoIterator<Item = (String, Vec<u8>)>) -> Self {
        let topics = rows
            .into_iter()
            .map(|(topic, body)| (topic, read(&body)))
            .collect();
        Recent { topics }
    }

    /// Judges a message and remembers it. `redelivered` is the broker's DUP
    /// mark.
    pub fn judge(
        &mut self,
        topic: &str,
        packet: u16,
        payload: &[u8],
        redelivered: bool,
    ) -> Judgement {
        if !self.topics.contains_key(topic) {
            self.topics
                .insert(topic.to_owned(), VecDeque::with_capacity(KEPT));
        }
        let Some(kept) = self.topics.get_mut(topic) else {
            return Judgement::New;
        };
        let hash = fnv1a(payload);
        if redelivered {
            if kept.contains(&(packet, hash)) {
                return Judgement::Repeated;
            }
            if kept.iter().any(|&(_, known)| known == hash) {
                remember(kept, packet, hash);
                return Judgement::Undecided;
            }
        }
        remember(kept, packet, hash);
        Judgement::New
    }

    /// The memory of a topic, to be stored.
    pub fn body(&self, topic: &str) -> Vec<u8> {
        let kept = self.topics.get(topic).into_iter().flatten();
        kept.flat_map(|(packet, hash)| {
            let mut bytes = [0; WIDTH];
            bytes[..2].copy_from_slice(&packet.to_le_bytes());
            bytes[2..].copy_from_slice(&hash.to_le_bytes());
            bytes
        })
        .collect()
    }
}

fn remember(kept: &mut VecDeque<(u16, u64)>, packet: u16, hash: u64) {
    if kept.len() == KEPT {
        kept.pop_front();
    }
    kept.push_back((packet, hash));
}

fn read(body: &[u8]) -> VecDeque<(u16, u64)> {
    body.chunks_exact(WIDTH)
        .map(|bytes| {
            let (packet, hash) = bytes.split_at(2);
            let packet = u16::from_le_bytes([packet[0], packet[1]]);
            let hash = hash
                .iter()
                .rev()
                .fold(0u64, |sum, &byte| sum << 8 | u64::from(byte));
            (packet, hash)
        })
        .collect()
}

/// The 64-bit FNV-1a hash, after the Internet-Draft draft-eastlake-fnv
/// (constants from memory).
pub(super) fn fnv1a(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_by_packet_and_content_is_repeated_even_after_a_restart() {
        let mut recent = Recent::default();
        assert_eq!(recent.judge("t", 7, b"4.1", false), Judgement::New);
        let mut recent = Recent::load([("t".to_owned(), recent.body("t"))]);
        assert_eq!(recent.judge("t", 7, b"4.1", true), Judgement::Repeated);
    }

    #[test]
    fn the_same_value_again_is_new_unless_the_broker_says_otherwise() {
        let mut recent = Recent::default();
        recent.judge("t", 7, b"4.1", false);
        assert_eq!(recent.judge("t", 8, b"4.1", false), Judgement::New);
        assert_eq!(recent.judge("t", 9, b"4.1", true), Judgement::Undecided);
        assert_eq!(recent.judge("t", 10, b"4.2", true), Judgement::New);
        assert_eq!(recent.judge("other", 7, b"4.1", true), Judgement::New);
    }

    #[test]
    fn memory_is_bounded() {
        let mut recent = Recent::default();
        for packet in 0..1000 {
            recent.judge("t", packet, &packet.to_le_bytes(), false);
        }
        assert_eq!(recent.body("t").len(), KEPT * WIDTH);
    }

    #[test]
    fn fnv_of_nothing_and_of_a() {
        // draft-eastlake-fnv, appendix C (memory).
        assert_eq!(fnv1a(b""), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(b"a"), 0xaf63_dc4c_8601_ec8c);
    }
}
