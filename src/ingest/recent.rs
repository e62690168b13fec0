//! Telling a second delivery from a second reading where a message has no
//! time of its own.
//!
//! A message with a time of its own is recognised by (channel, time). One
//! without stands at its arrival, so that a redelivery would look new. For
//! such messages the packet identifier and a hash of topic and payload are
//! kept, and stored in the same transaction as the reading. A redelivery bears
//! the packet identifier of the first delivery (MQTT 5.0 section 4.4), and only
//! so many messages can be without acknowledgement, so:
//!
//! - marked as redelivered and known by packet and hash among the last so many
//!   messages: it has been committed, and is dropped;
//! - known by hash alone among them: it may be either, and is kept as
//!   uncertain;
//! - otherwise it is new.
//!
//! In a new session packet identifiers begin anew, so that an old trace could
//! make a redelivery of a message that was never committed look like a known
//! one. The beginning of a session is therefore stored as a trace of its own,
//! before anything is subscribed to in it, and what lies before it counts for
//! nothing.

use std::collections::HashMap;

/// Brokers send more than the receive maximum without acknowledgement: 342
/// where 100 are allowed were measured with mosquitto 2.0.11.
const OVERRUN: u64 = 8;
/// Fewer than there are packet identifiers, so that none comes round within.
const LARGEST_WINDOW: u64 = 60_000;

/// Stands in place of a packet identifier for the beginning of a session: no
/// message has it (MQTT 5.0, section 2.2.1).
const BEGINNING: u16 = 0;

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

/// What is stored of a message, or of the beginning of a session: its packet
/// identifier, its hash, and its place
/// among the messages of the source.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Trace {
    /// Packet identifier; 0 for the beginning of a session.
    pub packet: u16,
    /// Hash of topic and payload.
    pub hash: u64,
    /// Counts the source's messages without a time.
    pub seq: u64,
}

/// The newest messages of one source that had no time of their own.
#[derive(Debug)]
pub struct Recent {
    /// Most messages that can be without acknowledgement.
    window: u64,
    /// Of the next message.
    seq: u64,
    by_packet: HashMap<u16, Trace>,
    /// The newest message of each hash.
    by_hash: HashMap<u64, u64>,
}

impl Recent {
    /// From what was stored, for a source with this receive maximum. What is of
    /// an earlier session than the last one counts for nothing.
    pub fn load(receive_maximum: u16, traces: impl IntoIterator<Item = Trace>) -> Self {
        let mut by_packet: HashMap<_, _> = traces
            .into_iter()
            .map(|trace| (trace.packet, trace))
            .collect();
        let seq = by_packet.values().map(|trace| trace.seq + 1).max();
        if let Some(beginning) = by_packet.remove(&BEGINNING) {
            by_packet.retain(|_, trace| trace.seq > beginning.seq);
        }
        Recent {
            window: (u64::from(receive_maximum) * OVERRUN).min(LARGEST_WINDOW),
            seq: seq.unwrap_or(0),
            by_hash: by_packet
                .values()
                .map(|trace| (trace.hash, trace.seq))
                .collect(),
            by_packet,
        }
    }

    /// The broker began a new session: packet identifiers begin anew, and
    /// nothing of the old session will be delivered again. What comes back is to
    /// be stored before any message of the new session can come.
    pub fn new_session(&mut self) -> Trace {
        self.by_packet.clear();
        self.by_hash.clear();
        let beginning = Trace {
            packet: BEGINNING,
            hash: 0,
            seq: self.seq,
        };
        self.seq += 1;
        beginning
    }

    /// Judges a message; `redelivered` is the broker's DUP mark. What is kept
    /// of it is to be stored with its reading.
    pub fn judge(
        &mut self,
        packet: u16,
        topic: &str,
        payload: &[u8],
        redelivered: bool,
    ) -> (Judgement, Trace) {
        let hash = fnv1a(topic.bytes().chain([0]).chain(payload.iter().copied()));
        let oldest = self.seq.saturating_sub(self.window);
        let judgement = match (self.by_packet.get(&packet), self.by_hash.get(&hash)) {
            _ if !redelivered => Judgement::New,
            (Some(known), _) if known.hash == hash && known.seq >= oldest => Judgement::Repeated,
            (_, Some(&seq)) if seq >= oldest => Judgement::Undecided,
            _ => Judgement::New,
        };
        let trace = Trace {
            packet,
            hash,
            seq: self.seq,
        };
        self.seq += 1;
        self.by_packet.insert(packet, trace);
        self.by_hash.insert(hash, trace.seq);
        if self.by_hash.len() as u64 > 2 * self.window {
            self.by_hash.retain(|_, seq| *seq >= oldest);
        }
        (judgement, trace)
    }
}

/// The 64-bit FNV-1a hash, after the Internet-Draft draft-eastlake-fnv
/// (constants from memory).
pub(crate) fn fnv1a(bytes: impl IntoIterator<Item = u8>) -> u64 {
    bytes.into_iter().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const WINDOW: u16 = 100;

    fn judge(recent: &mut Recent, packet: u16, payload: &str, redelivered: bool) -> Judgement {
        recent.judge(packet, "t", payload.as_bytes(), redelivered).0
    }

    #[test]
    fn known_by_packet_and_content_is_repeated_even_after_a_restart() {
        let mut before = Recent::load(WINDOW, []);
        let traces: Vec<Trace> = (1..=WINDOW)
            .map(|packet| before.judge(packet, "t", b"4.1", false).1)
            .collect();
        let mut after = Recent::load(WINDOW, traces);
        for packet in 1..=WINDOW {
            assert_eq!(
                judge(&mut after, packet, "4.1", true),
                Judgement::Repeated,
                "{packet}"
            );
        }
    }

    #[test]
    fn the_same_value_again_is_new_unless_the_broker_says_otherwise() {
        let mut recent = Recent::load(WINDOW, []);
        assert_eq!(judge(&mut recent, 7, "4.1", false), Judgement::New);
        assert_eq!(judge(&mut recent, 8, "4.1", false), Judgement::New);
        assert_eq!(judge(&mut recent, 9, "4.1", true), Judgement::Undecided);
        assert_eq!(judge(&mut recent, 10, "4.2", true), Judgement::New);
        assert_eq!(recent.judge(7, "other", b"4.1", true).0, Judgement::New);
    }

    #[test]
    fn an_identifier_that_came_round_again_is_not_the_old_message() {
        let mut recent = Recent::load(WINDOW, []);
        judge(&mut recent, 7, "4.1", false);
        for n in 0..8 * WINDOW {
            judge(&mut recent, 1000 + n, &n.to_string(), false);
        }
        assert_eq!(judge(&mut recent, 7, "4.1", true), Judgement::New);
    }

    #[test]
    fn a_new_session_knows_nothing_of_the_old_one() {
        let mut recent = Recent::load(WINDOW, []);
        judge(&mut recent, 7, "4.1", false);
        recent.new_session();
        assert_eq!(judge(&mut recent, 7, "4.1", true), Judgement::New);
    }

    #[test]
    fn nor_does_one_that_was_broken_off_before_any_of_its_messages_was_stored() {
        let mut before = Recent::load(WINDOW, []);
        let old = before.judge(1, "t", b"4.1", false).1;
        let beginning = before.new_session();
        // Its first message came, and the daemon was killed before the commit.
        assert_eq!(judge(&mut before, 1, "4.1", false), Judgement::New);
        // Twice as many may be under way by now: that brings nothing back.
        for window in [WINDOW, 2 * WINDOW] {
            let mut after = Recent::load(window, [old, beginning]);
            assert_eq!(judge(&mut after, 1, "4.1", true), Judgement::New);
            assert_eq!(judge(&mut after, 1, "4.1", true), Judgement::Repeated);
        }
    }

    #[test]
    fn what_a_session_has_stored_is_known_in_it_after_a_restart() {
        let mut before = Recent::load(WINDOW, []);
        let old = before.judge(2, "t", b"4.1", false).1;
        let beginning = before.new_session();
        let new = before.judge(1, "t", b"4.1", false).1;
        let mut after = Recent::load(WINDOW, [beginning, new, old]);
        assert_eq!(judge(&mut after, 1, "4.1", true), Judgement::Repeated);
        // Another beginning stands in the place of the first.
        let again = after.new_session();
        assert!(again.seq > new.seq && again.packet == beginning.packet);
    }

    #[test]
    fn memory_is_bounded() {
        let mut recent = Recent::load(WINDOW, []);
        for n in 0..100_000u32 {
            recent.judge(n as u16, "t", &n.to_le_bytes(), false);
        }
        assert!(recent.by_packet.len() <= 1 << 16);
        assert!(recent.by_hash.len() <= 16 * usize::from(WINDOW) + 1);
    }

    #[test]
    fn fnv_of_nothing_and_of_a() {
        // draft-eastlake-fnv, appendix C (memory).
        assert_eq!(fnv1a([]), 0xcbf2_9ce4_8422_2325);
        assert_eq!(fnv1a(*b"a"), 0xaf63_dc4c_8601_ec8c);
    }
}
