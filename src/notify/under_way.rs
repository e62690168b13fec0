//! What is known of the messages of one connection.

use std::collections::{HashMap, VecDeque};
use std::time::{Duration, Instant};

use crate::store::{Reader, StoredMessage};

/// Messages under way at once: few, so that a broker that answers slowly
/// never blocks the client for good.
const MOST: usize = 20;
/// A broker that confirms messages at all does so within this time. Choice:
/// the longest that brokers were seen to hold a write up, several times over.
const CONFIRM_WITHIN: Duration = Duration::from_secs(30);

/// The messages of one connection on their way from the outbox.
#[derive(Default)]
pub(super) struct UnderWay {
    /// Handed to the client, not yet on the wire; `None` is a message that is
    /// not from the outbox.
    leaving: VecDeque<Option<i64>>,
    /// On the wire, by packet identifier.
    sent: HashMap<u16, Option<i64>>,
    /// When the broker last confirmed something, or had nothing to confirm.
    answered_at: Option<Instant>,
    /// Read from the outbox, not yet handed over.
    pub(super) waiting: VecDeque<StoredMessage>,
    /// Everything up to this row has been read.
    pub(super) cursor: i64,
    /// There may be rows after the cursor.
    pub(super) more: bool,
    /// Kept open between reads.
    pub(super) reader: Option<Reader>,
    /// Confirmed, not yet taken out of the outbox.
    pub(super) confirmed: Vec<i64>,
}

impl UnderWay {
    /// A message was handed to the client.
    pub(super) fn handle_handed_over(&mut self, id: Option<i64>, now: Instant) {
        if self.count() == 0 {
            self.answered_at = Some(now);
        }
        self.leaving.push_back(id);
    }

    /// The next of them left under this packet identifier.
    pub(super) fn handle_leaving(&mut self, packet: u16) {
        if let Some(id) = self.leaving.pop_front() {
            self.sent.insert(packet, id);
        }
    }

    /// The broker answered for one; gives its row in the outbox, where it has
    /// one.
    pub(super) fn handle_answer(&mut self, packet: u16, now: Instant) -> Option<i64> {
        self.answered_at = Some(now);
        self.sent.remove(&packet).flatten()
    }

    /// Messages that the broker has not answered for.
    pub(super) fn count(&self) -> usize {
        self.leaving.len() + self.sent.len()
    }

    /// Whether another message may leave.
    pub(super) fn has_room(&self) -> bool {
        self.count() < MOST
    }

    /// Whether there is nothing left to do.
    pub(super) fn is_idle(&self) -> bool {
        self.count() == 0 && self.waiting.is_empty() && !self.more
    }

    /// Until when the broker has to confirm something.
    pub(super) fn deadline(&self) -> Option<Instant> {
        let since = self.answered_at.filter(|_| self.count() > 0)?;
        Some(since + CONFIRM_WITHIN)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn answers_are_matched_to_rows_however_they_come() {
        let now = Instant::now();
        let mut under_way = UnderWay::default();
        for id in [None, Some(7), Some(8)] {
            under_way.handle_handed_over(id, now);
        }
        for packet in [1, 2, 3] {
            under_way.handle_leaving(packet);
        }
        assert_eq!(under_way.handle_answer(3, now), Some(8));
        assert_eq!(under_way.handle_answer(1, now), None);
        assert_eq!(under_way.handle_answer(9, now), None);
        assert_eq!(under_way.count(), 1);
        assert_eq!(under_way.handle_answer(2, now), Some(7));
        assert!(under_way.is_idle());
    }

    #[test]
    fn only_what_is_under_way_has_to_be_confirmed_in_time() {
        let begun = Instant::now();
        let later = begun + Duration::from_secs(3600);
        let mut under_way = UnderWay::default();
        under_way.handle_handed_over(Some(1), begun);
        under_way.handle_leaving(1);
        assert_eq!(under_way.deadline(), Some(begun + CONFIRM_WITHIN));
        under_way.handle_answer(1, begun);
        assert_eq!(under_way.deadline(), None);
        under_way.handle_handed_over(Some(2), later);
        assert_eq!(under_way.deadline(), Some(later + CONFIRM_WITHIN));
    }
}
