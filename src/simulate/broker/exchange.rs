//! All sessions together: who is connected, who gets which message, what is
//! retained. No sockets and no clock; the connections call in here.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use super::BrokerLimits;
use super::client::Client;
use super::codec::{Connack, Connect, Incoming, Message, Outgoing, Reason, Wish, encode};

/// A connection hands over at least so many bytes at a time when it has them.
const ENOUGH_AT_A_TIME: usize = 64 * 1024;

/// So many answers may wait besides the PUBACKs that the receive maximum
/// allows; a client that asks for more without reading is sent away.
const OTHER_ANSWERS: usize = 64;

/// Session expiry interval of a session that never ends (section 3.1.2.11.2).
const NEVER: u32 = u32::MAX;

/// One connection of one client. When the client has connected again since, or
/// its session has ended, the name is stale and calls under it do nothing.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Who {
    client: Arc<str>,
    connection: u64,
}

/// The connection may go on, or the client takes its leave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Next {
    GoOn,
    Left,
}

/// What a connection's writer finds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Collected {
    /// Bytes to be sent were appended.
    Some,
    /// Nothing at present; wait to be woken.
    Nothing,
    /// The same client has connected elsewhere.
    TakenOver,
    /// The connection is to be dropped without a word.
    Cut,
}

/// What is left to do after a connection, in seconds from its end.
#[derive(Debug)]
pub(super) struct Afterlife {
    /// When to publish the will.
    pub(super) will_after: Option<u32>,
    /// When to end the session; `None` for never.
    pub(super) end_after: Option<u32>,
    /// Cancelled when the client comes back first.
    pub(super) back: CancellationToken,
}

/// The broker's whole state.
#[derive(Debug)]
pub(super) struct Exchange {
    limits: BrokerLimits,
    clients: HashMap<Arc<str>, Client>,
    retained: BTreeMap<String, Arc<Message>>,
    connections: u64,
    /// Of sessions that have ended, and retained messages refused.
    dropped_before: u64,
}

impl Exchange {
    pub(super) fn new(limits: BrokerLimits) -> Self {
        Exchange {
            limits,
            clients: HashMap::new(),
            retained: BTreeMap::new(),
            connections: 0,
            dropped_before: 0,
        }
    }

    /// Lets a client in and queues its CONNACK. An older connection of the
    /// same client is taken over.
    pub(super) fn connect(&mut self, hello: Connect, wake: Arc<Notify>) -> Result<Who, Reason> {
        self.connections += 1;
        let connection = self.connections;
        let assigned = hello
            .client_id
            .is_empty()
            .then(|| format!("guest-{connection}"));
        let name: Arc<str> = assigned.as_deref().unwrap_or(&hello.client_id).into();
        if !self.clients.contains_key(&name) && self.clients.len() >= self.limits.sessions {
            return Err(Reason::QuotaExceeded);
        }
        self.take_over(&name, hello.clean_start);
        let session_present = self.clients.contains_key(&name);
        let capacity = self.limits.queue;
        let client = self
            .clients
            .entry(Arc::clone(&name))
            .or_insert_with(|| Client::new(capacity));
        client.come(&hello, connection, wake);
        client.will = hello.will;
        client.answer(Outgoing::Connack(Connack::Accepted {
            session_present,
            assigned,
            receive_maximum: self.limits.receive_maximum,
            max_packet: self.limits.max_packet,
        }));
        Ok(Who {
            client: name,
            connection,
        })
    }

    /// Ends an older connection of the client and, on a clean start, its
    /// session. Its will goes out unless it is to be delayed and the session
    /// lives on (section 3.1.2.5).
    fn take_over(&mut self, name: &Arc<str>, clean_start: bool) {
        let Some(client) = self.clients.get_mut(name) else {
            return;
        };
        client.wake();
        client.leave();
        if let Some(back) = client.back.take() {
            back.cancel();
        }
        let will = client.will.take();
        if clean_start {
            self.forget(name);
        }
        if let Some(will) = will.filter(|will| clean_start || will.delay == 0) {
            self.publish(will.message, None);
        }
    }

    /// Does what a packet asks for.
    ///
    /// # Errors
    /// When the connection must end, with the reason to give.
    pub(super) fn handle(&mut self, who: &Who, packet: Incoming) -> Result<Next, Reason> {
        let most_answers = usize::from(self.limits.receive_maximum) + OTHER_ANSWERS;
        let Some(client) = self.client(who) else {
            return Err(Reason::SessionTakenOver);
        };
        if client.answers.len() >= most_answers {
            return Err(Reason::QuotaExceeded);
        }
        match packet {
            Incoming::Connect(_) => return Err(Reason::Protocol),
            Incoming::Pingreq => client.answer(Outgoing::Pingresp),
            Incoming::Puback { packet_id } => {
                client.session.acknowledge(packet_id);
                client.wake();
            }
            Incoming::Publish { packet_id, message } => {
                let reason = self.publish(message, Some(who));
                if let (Some(packet_id), Some(client)) = (packet_id, self.client(who)) {
                    client.answer(Outgoing::Puback { packet_id, reason });
                }
            }
            Incoming::Subscribe { packet_id, wishes } => self.subscribe(who, packet_id, wishes),
            Incoming::Unsubscribe { packet_id, filters } => {
                let reasons = filters.iter().map(|f| client.unsubscribe(f)).collect();
                client.answer(Outgoing::Unsuback { packet_id, reasons });
            }
            Incoming::Disconnect { with_will, expiry } => {
                if !with_will {
                    client.will = None;
                }
                return match (client.expiry, expiry) {
                    (0, Some(1..)) => Err(Reason::Protocol),
                    (before, after) => {
                        client.expiry = after.unwrap_or(before);
                        Ok(Next::Left)
                    }
                };
            }
        }
        Ok(Next::GoOn)
    }

    /// Keeps a message if it is to be retained, and offers it to every session.
    fn publish(&mut self, message: Message, by: Option<&Who>) -> Reason {
        let message = Arc::new(message);
        if message.retain {
            self.retain(&message);
        }
        let mut wanted = false;
        for (name, client) in &mut self.clients {
            let own = by.is_some_and(|who| who.client == *name);
            if client.session.offer(&message, own) {
                wanted = true;
                client.wake();
            }
        }
        match wanted {
            true => Reason::Success,
            false => Reason::NoMatchingSubscribers,
        }
    }

    /// Keeps the message as its topic's last; an empty one clears it.
    fn retain(&mut self, message: &Arc<Message>) {
        if message.payload.is_empty() {
            self.retained.remove(&message.topic);
        } else if self.retained.contains_key(&message.topic)
            || self.retained.len() < self.limits.retained
        {
            self.retained
                .insert(message.topic.clone(), Arc::clone(message));
        } else {
            self.dropped_before += 1;
        }
    }

    fn subscribe(&mut self, who: &Who, packet_id: u16, wishes: Vec<Wish>) {
        let most = self.limits.subscriptions;
        let retained = &self.retained;
        let Some(client) = self.clients.get_mut(&who.client) else {
            return;
        };
        let reasons = wishes
            .into_iter()
            .map(|wish| client.subscribe(wish, retained, most))
            .collect();
        client.answer(Outgoing::Suback { packet_id, reasons });
    }

    /// Appends to `to` what is due on a connection.
    pub(super) fn collect(&mut self, who: &Who, to: &mut Vec<u8>) -> Collected {
        let Some(client) = self.client(who) else {
            return Collected::TakenOver;
        };
        if client.cut {
            return Collected::Cut;
        }
        let before = to.len();
        while to.len() - before < ENOUGH_AT_A_TIME {
            let next = client.answers.pop_front();
            let next = next.or_else(|| client.session.next_delivery().map(Outgoing::Publish));
            match next {
                Some(packet) => encode(&packet, to),
                None => break,
            }
        }
        match to.len() > before {
            true => Collected::Some,
            false => Collected::Nothing,
        }
    }

    /// The connection has ended. What is due at once is done; the rest, if
    /// anything, is told.
    pub(super) fn part(&mut self, who: &Who) -> Option<Afterlife> {
        let client = self.client(who)?;
        client.leave();
        let expiry = client.expiry;
        let will_after = client.will.as_ref().map(|will| will.delay.min(expiry));
        if will_after == Some(0) {
            self.publish_will(who);
        }
        if expiry == 0 {
            self.end(who);
            return None;
        }
        let back = CancellationToken::new();
        self.client(who)?.back = Some(back.clone());
        Some(Afterlife {
            will_after: will_after.filter(|&seconds| seconds > 0),
            end_after: (expiry != NEVER).then_some(expiry),
            back,
        })
    }

    /// Publishes the client's will, if it still has one.
    pub(super) fn publish_will(&mut self, who: &Who) {
        if let Some(will) = self.client(who).and_then(|client| client.will.take()) {
            self.publish(will.message, None);
        }
    }

    /// Ends the session.
    pub(super) fn end(&mut self, who: &Who) {
        if self.client(who).is_some() {
            self.forget(&who.client);
        }
    }

    fn forget(&mut self, name: &str) {
        if let Some(client) = self.clients.remove(name) {
            self.dropped_before += client.session.dropped();
        }
    }

    /// Drops the client's connection as a broken cable would.
    pub(super) fn cut(&mut self, name: &str) {
        if let Some(client) = self.clients.get_mut(name) {
            client.cut = true;
            client.wake();
        }
    }

    /// QoS 1 messages that wait for the client or are not acknowledged by it.
    pub(super) fn outstanding(&self, name: &str) -> usize {
        self.clients
            .get(name)
            .map_or(0, |client| client.session.outstanding())
    }

    /// Whether nothing is outstanding for the client.
    pub(super) fn is_settled(&self, name: &str) -> bool {
        self.clients
            .get(name)
            .is_none_or(|client| client.session.is_settled())
    }

    /// Whether the client is connected and has subscribed to something.
    pub(super) fn listens(&self, name: &str) -> bool {
        self.clients.get(name).is_some_and(|client| {
            client.wake.is_some() && !client.session.subscriptions().is_empty()
        })
    }

    /// Messages dropped since the broker started, for whatever reason.
    pub(super) fn dropped(&self) -> u64 {
        let living: u64 = self.clients.values().map(|c| c.session.dropped()).sum();
        self.dropped_before + living
    }

    fn client(&mut self, who: &Who) -> Option<&mut Client> {
        self.clients
            .get_mut(&who.client)
            .filter(|client| client.connection == who.connection)
    }
}
