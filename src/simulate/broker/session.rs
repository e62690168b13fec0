//! What the broker remembers of one client: its subscriptions, and the
//! messages that it has not acknowledged yet (MQTT 5, section 4.1).

use std::collections::VecDeque;
use std::sync::Arc;

use super::codec::{Delivery, Message, Qos, delivery_len};
use super::topics::Filter;

/// What a client wants to hear.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Subscription {
    pub(super) filter: Filter,
    pub(super) qos: Qos,
    pub(super) no_local: bool,
    pub(super) retain_as_published: bool,
}

/// A message that waits for its turn.
#[derive(Debug, Clone)]
struct Queued {
    message: Arc<Message>,
    qos: Qos,
    retain: bool,
}

/// A QoS 1 message that was sent and is not acknowledged yet.
#[derive(Debug, Clone)]
struct Inflight {
    packet_id: u16,
    message: Arc<Message>,
    retain: bool,
}

/// One client's state, with or without a connection.
///
/// Messages leave in the order in which they were offered. A message of QoS 1
/// stays until it is acknowledged; on a new connection it goes out again with
/// the same packet identifier, before any newer one.
#[derive(Debug)]
pub(super) struct Session {
    subscriptions: Vec<Subscription>,
    queue: VecDeque<Queued>,
    capacity: usize,
    inflight: VecDeque<Inflight>,
    /// So many of `inflight`, from the front, went out on this connection.
    sent: usize,
    receive_maximum: usize,
    max_packet: usize,
    online: bool,
    last_packet_id: u16,
    dropped: u64,
}

impl Session {
    /// A new session that holds at most `capacity` messages in its queue.
    pub(super) fn new(capacity: usize) -> Self {
        Session {
            subscriptions: Vec::new(),
            queue: VecDeque::new(),
            capacity,
            inflight: VecDeque::new(),
            sent: 0,
            receive_maximum: 0,
            max_packet: 0,
            online: false,
            last_packet_id: 0,
            dropped: 0,
        }
    }

    /// The client has a connection (again): at most `receive_maximum` messages
    /// may be unacknowledged on it, none larger than `max_packet` bytes.
    pub(super) fn come(&mut self, receive_maximum: u16, max_packet: usize) {
        self.sent = 0;
        self.receive_maximum = usize::from(receive_maximum);
        self.max_packet = max_packet;
        self.online = true;
    }

    /// The client lost its connection. What waits at QoS 0 is not kept.
    pub(super) fn leave(&mut self) {
        self.online = false;
        let before = self.queue.len();
        self.queue.retain(|queued| queued.qos == Qos::AtLeastOnce);
        self.dropped += (before - self.queue.len()) as u64;
    }

    /// Adds a subscription; `true` if there was none of that filter before.
    pub(super) fn subscribe(&mut self, subscription: Subscription) -> bool {
        match self
            .subscriptions
            .iter_mut()
            .find(|present| present.filter == subscription.filter)
        {
            Some(present) => {
                *present = subscription;
                false
            }
            None => {
                self.subscriptions.push(subscription);
                true
            }
        }
    }

    /// Ends a subscription; `false` if there was none.
    pub(super) fn unsubscribe(&mut self, filter: &str) -> bool {
        let before = self.subscriptions.len();
        self.subscriptions
            .retain(|present| present.filter.as_str() != filter);
        self.subscriptions.len() < before
    }

    pub(super) fn subscriptions(&self) -> &[Subscription] {
        &self.subscriptions
    }

    /// Takes in a message that was just published, if it is wanted. `own` says
    /// that this client published it. Where several subscriptions want it, it
    /// comes once, at the highest QoS among them. Tells whether it is wanted.
    pub(super) fn offer(&mut self, message: &Arc<Message>, own: bool) -> bool {
        let mut granted: Option<(Qos, bool)> = None;
        for wanted in &self.subscriptions {
            if (own && wanted.no_local) || !wanted.filter.matches(&message.topic) {
                continue;
            }
            let (qos, retain) = granted.unwrap_or((Qos::AtMostOnce, false));
            let as_published = wanted.retain_as_published && message.retain;
            granted = Some((qos.max(wanted.qos), retain || as_published));
        }
        if let Some((qos, retain)) = granted {
            self.enqueue(message, qos, retain);
        }
        granted.is_some()
    }

    /// Takes in a message at the lower of `qos` and its own. When the queue is
    /// full, or the client is away and the message of QoS 0, it is dropped and
    /// counted.
    pub(super) fn enqueue(&mut self, message: &Arc<Message>, qos: Qos, retain: bool) {
        let qos = qos.min(message.qos);
        let kept = self.online || qos == Qos::AtLeastOnce;
        if !kept || self.queue.len() >= self.capacity {
            self.dropped += 1;
            return;
        }
        self.queue.push_back(Queued {
            message: Arc::clone(message),
            qos,
            retain,
        });
    }

    /// The next message that may go out on the connection.
    pub(super) fn next_delivery(&mut self) -> Option<Delivery> {
        if !self.online {
            return None;
        }
        self.repeat().or_else(|| self.first_time())
    }

    /// Sends again what an earlier connection left unacknowledged.
    fn repeat(&mut self) -> Option<Delivery> {
        while self.sent < self.receive_maximum {
            let unacknowledged = self.inflight.get(self.sent)?;
            if delivery_len(&unacknowledged.message) > self.max_packet {
                self.inflight.remove(self.sent);
                self.dropped += 1;
                continue;
            }
            self.sent += 1;
            return Some(Delivery {
                message: Arc::clone(&unacknowledged.message),
                packet_id: Some(unacknowledged.packet_id),
                dup: true,
                retain: unacknowledged.retain,
            });
        }
        None
    }

    fn first_time(&mut self) -> Option<Delivery> {
        loop {
            let next = self.queue.front()?;
            if next.qos == Qos::AtLeastOnce && self.inflight.len() >= self.receive_maximum {
                return None;
            }
            let next = self.queue.pop_front()?;
            if delivery_len(&next.message) > self.max_packet {
                self.dropped += 1;
                continue;
            }
            return Some(self.send(next));
        }
    }

    fn send(&mut self, next: Queued) -> Delivery {
        let packet_id = (next.qos == Qos::AtLeastOnce).then(|| self.free_packet_id());
        if let Some(packet_id) = packet_id {
            self.sent += 1;
            self.inflight.push_back(Inflight {
                packet_id,
                message: Arc::clone(&next.message),
                retain: next.retain,
            });
        }
        Delivery {
            message: next.message,
            packet_id,
            dup: false,
            retain: next.retain,
        }
    }

    /// Fewer than 65,535 messages are in flight here, so one of the 65,535
    /// identifiers is free.
    fn free_packet_id(&mut self) -> u16 {
        loop {
            self.last_packet_id = self.last_packet_id.checked_add(1).unwrap_or(1);
            let id = self.last_packet_id;
            if self.inflight.iter().all(|sent| sent.packet_id != id) {
                return id;
            }
        }
    }

    /// The client has this message; an identifier that is not in flight is
    /// ignored. Counts also for a message that an earlier connection carried.
    pub(super) fn acknowledge(&mut self, packet_id: u16) {
        let found = self
            .inflight
            .iter()
            .position(|sent| sent.packet_id == packet_id);
        if let Some(place) = found {
            self.inflight.remove(place);
            if place < self.sent {
                self.sent -= 1;
            }
        }
    }

    /// Messages of QoS 1 that wait or are not acknowledged.
    pub(super) fn outstanding(&self) -> usize {
        let waiting = self
            .queue
            .iter()
            .filter(|queued| queued.qos == Qos::AtLeastOnce);
        waiting.count() + self.inflight.len()
    }

    /// Whether nothing is outstanding.
    pub(super) fn is_settled(&self) -> bool {
        self.inflight.is_empty() && self.queue.iter().all(|q| q.qos == Qos::AtMostOnce)
    }

    /// Messages that were wanted and could not be kept.
    pub(super) fn dropped(&self) -> u64 {
        self.dropped
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn message(name: &str, qos: Qos) -> Arc<Message> {
        Arc::new(Message {
            topic: name.to_owned(),
            payload: vec![0; 10],
            properties: Vec::new(),
            qos,
            retain: false,
        })
    }

    fn wants(filter: &str, qos: Qos) -> Subscription {
        Subscription {
            filter: Filter::parse(filter).unwrap(),
            qos,
            no_local: false,
            retain_as_published: false,
        }
    }

    fn session(receive_maximum: u16) -> Session {
        let mut session = Session::new(3);
        session.subscribe(wants("#", Qos::AtLeastOnce));
        session.come(receive_maximum, 1000);
        session
    }

    fn topics(session: &mut Session) -> Vec<(String, Option<u16>, bool)> {
        std::iter::from_fn(|| session.next_delivery())
            .map(|d| (d.message.topic.clone(), d.packet_id, d.dup))
            .collect()
    }

    #[test]
    fn no_more_in_flight_than_the_client_allows() {
        let mut session = session(2);
        for name in ["a", "b", "c"] {
            session.offer(&message(name, Qos::AtLeastOnce), false);
        }
        let first = topics(&mut session);
        assert_eq!(
            first,
            [("a".into(), Some(1), false), ("b".into(), Some(2), false)]
        );
        assert_eq!(session.outstanding(), 3);
        session.acknowledge(2);
        session.acknowledge(2);
        assert_eq!(topics(&mut session), [("c".into(), Some(3), false)]);
        assert_eq!(session.outstanding(), 2);
    }

    #[test]
    fn a_new_connection_repeats_before_it_goes_on() {
        let mut session = session(2);
        for name in ["a", "b", "c"] {
            session.offer(&message(name, Qos::AtLeastOnce), false);
        }
        topics(&mut session);
        session.leave();
        assert!(session.next_delivery().is_none());
        session.come(1, 1000);
        assert_eq!(topics(&mut session), [("a".into(), Some(1), true)]);
        // Acknowledged though this connection has not carried it yet.
        session.acknowledge(2);
        session.acknowledge(1);
        assert_eq!(topics(&mut session), [("c".into(), Some(3), false)]);
    }

    #[test]
    fn what_is_dropped_is_counted() {
        let mut session = session(1);
        for name in ["a", "b", "c", "d"] {
            session.offer(&message(name, Qos::AtLeastOnce), false);
        }
        assert_eq!(session.dropped(), 1, "the queue holds three");
        session.leave();
        session.offer(&message("e", Qos::AtMostOnce), false);
        assert_eq!(
            session.dropped(),
            2,
            "QoS 0 is not kept for an absent client"
        );
        session.come(10, 12);
        assert_eq!(topics(&mut session), []);
        assert_eq!(
            session.dropped(),
            5,
            "packets of 18 bytes do not fit into 12"
        );
        assert_eq!(session.outstanding(), 0);
    }

    #[test]
    fn overlapping_subscriptions_bring_a_message_once() {
        let mut session = Session::new(3);
        session.come(10, 1000);
        assert!(session.subscribe(wants("a/+", Qos::AtMostOnce)));
        assert!(session.subscribe(wants("a/#", Qos::AtLeastOnce)));
        assert!(!session.subscribe(wants("a/#", Qos::AtLeastOnce)));
        session.offer(&message("a/b", Qos::AtLeastOnce), false);
        assert_eq!(topics(&mut session), [("a/b".into(), Some(1), false)]);
        assert!(session.unsubscribe("a/#"));
        assert!(!session.unsubscribe("a/#"));
        session.offer(&message("a/b", Qos::AtLeastOnce), false);
        assert_eq!(topics(&mut session), [("a/b".into(), None, false)]);
    }

    #[test]
    fn own_messages_can_be_left_out() {
        let mut session = Session::new(3);
        session.come(10, 1000);
        session.subscribe(Subscription {
            no_local: true,
            ..wants("#", Qos::AtLeastOnce)
        });
        session.offer(&message("a", Qos::AtLeastOnce), true);
        assert!(session.next_delivery().is_none());
    }

    proptest! {
        /// Whatever comes when: nothing of QoS 1 is lost or sent twice on one
        /// connection, and the client's limit holds.
        #[test]
        fn every_message_arrives(
            acts in proptest::collection::vec(0_u8..4, 1..200),
            receive_maximum in 1_u16..5,
        ) {
            let mut session = Session::new(1000);
            session.subscribe(wants("#", Qos::AtLeastOnce));
            session.come(receive_maximum, 1000);
            let (mut offered, mut arrived) = (0, std::collections::BTreeSet::new());
            let mut unacknowledged = VecDeque::new();
            for act in acts.into_iter().chain(std::iter::repeat_n([2, 3], 500).flatten()) {
                match act {
                    0 => {
                        session.offer(&message(&offered.to_string(), Qos::AtLeastOnce), false);
                        offered += 1;
                    }
                    1 => {
                        session.leave();
                        session.come(receive_maximum, 1000);
                        unacknowledged.clear();
                    }
                    2 => if let Some(delivery) = session.next_delivery() {
                        let id = delivery.packet_id.unwrap();
                        prop_assert!(!unacknowledged.contains(&id));
                        unacknowledged.push_back(id);
                        prop_assert!(unacknowledged.len() <= usize::from(receive_maximum));
                        let new = arrived.insert(delivery.message.topic.clone());
                        prop_assert!(new || delivery.dup);
                    }
                    _ => if let Some(id) = unacknowledged.pop_front() {
                        session.acknowledge(id);
                    }
                }
            }
            prop_assert_eq!(arrived.len(), offered);
            prop_assert_eq!(session.outstanding(), 0);
        }
    }
}
