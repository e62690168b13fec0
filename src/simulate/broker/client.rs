//! A client as the exchange knows it: its session, and how to reach its
//! connection.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use super::codec::{Connect, Message, Outgoing, Reason, RetainedOnSubscribe, Will, Wish};
use super::session::{Session, Subscription};
use super::topics::{Filter, FilterFault};

/// A client and its session.
#[derive(Debug)]
pub(super) struct Client {
    pub(super) session: Session,
    /// The newest connection.
    pub(super) connection: u64,
    /// Wakes the connection's writer; `None` while there is no connection.
    pub(super) wake: Option<Arc<Notify>>,
    /// Cancelled when the client comes back; set while it is away.
    pub(super) back: Option<CancellationToken>,
    /// The connection is to be dropped without a word.
    pub(super) cut: bool,
    /// Answers that wait to be sent, ahead of any message.
    pub(super) answers: VecDeque<Outgoing>,
    pub(super) will: Option<Will>,
    /// How long the session outlives its connection, in seconds.
    pub(super) expiry: u32,
}

impl Client {
    /// A client that has never been connected.
    pub(super) fn new(capacity: usize) -> Self {
        Client {
            session: Session::new(capacity),
            connection: 0,
            wake: None,
            back: None,
            cut: false,
            answers: VecDeque::new(),
            will: None,
            expiry: 0,
        }
    }

    /// The client has a connection; `wake` wakes its writer.
    pub(super) fn come(&mut self, hello: &Connect, connection: u64, wake: Arc<Notify>) {
        self.session.come(hello.receive_maximum, hello.max_packet);
        self.connection = connection;
        self.wake = Some(wake);
        self.cut = false;
        self.expiry = hello.expiry;
    }

    /// The client has lost its connection, and the answers still to be sent on
    /// it with it.
    pub(super) fn leave(&mut self) {
        self.wake = None;
        self.answers.clear();
        self.session.leave();
    }

    /// Queues an answer.
    pub(super) fn answer(&mut self, packet: Outgoing) {
        self.answers.push_back(packet);
        self.wake();
    }

    /// Wakes the connection's writer, if there is a connection.
    pub(super) fn wake(&self) {
        if let Some(wake) = &self.wake {
            wake.notify_one();
        }
    }

    /// Adds a subscription, unless the session has `most` already, and queues
    /// those retained messages that go with it.
    pub(super) fn subscribe(
        &mut self,
        wish: Wish,
        retained: &BTreeMap<String, Arc<Message>>,
        most: usize,
    ) -> Reason {
        let filter = match Filter::parse(&wish.filter) {
            Ok(filter) => filter,
            Err(FilterFault::Invalid) => return Reason::FilterInvalid,
            Err(FilterFault::Shared) => return Reason::SharedNotSupported,
        };
        if self.session.subscriptions().len() >= most {
            return Reason::QuotaExceeded;
        }
        let new = self.session.subscribe(Subscription {
            filter: filter.clone(),
            qos: wish.qos,
            no_local: wish.no_local,
            retain_as_published: wish.retain_as_published,
        });
        let send = match wish.retained {
            RetainedOnSubscribe::Always => true,
            RetainedOnSubscribe::IfNew => new,
            RetainedOnSubscribe::Never => false,
        };
        if send {
            for message in retained.values().filter(|m| filter.matches(&m.topic)) {
                self.session.enqueue(message, wish.qos, true);
            }
        }
        Reason::granted(wish.qos)
    }

    /// Ends a subscription.
    pub(super) fn unsubscribe(&mut self, filter: &str) -> Reason {
        match self.session.unsubscribe(filter) {
            true => Reason::Success,
            false => Reason::NoSubscriptionExisted,
        }
    }
}
