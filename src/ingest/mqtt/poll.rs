//! Polling the client: connecting, subscribing, handing on.

use std::pin::{Pin, pin};
use std::sync::Arc;
use std::task::{Context, Poll, Waker};
use std::time::{Duration, Instant};

use tokio::task::unconstrained;
use tokio_util::sync::CancellationToken;

use super::link::BEGINNING;
use super::subscriptions::Subscriptions;
use super::{Link, Source};
use crate::ingest::decode::Outcome;
use crate::ingest::intake::{Ack, Arrived, Batch, Content, IntakeClosed};
use crate::ingest::recent::Trace;
use crate::ingest::unreadable::Unreadable;
use crate::mqtt::{
    self, Attempts, Client, Down, Event, Introduction, Message, Session, SessionWish,
};
use crate::settings::BrokerSettings;

/// Readings and entries handed to a shard at once.
const BATCH: usize = 256;
/// A message waits at most so long for others to be handed on with.
const GATHER: Duration = Duration::from_millis(3);
/// Without any event for so many keep-alive times the client is given up and
/// made anew.
const STALLED: f64 = 2.5;
/// What is then told.
const NO_PROGRESS: &str = "the client made no progress for several keep-alive times; made anew";
/// What is told of a broker that does not answer.
const NO_SUBSCRIPTION: &str =
    "the broker let us in and does not answer what we subscribe to; connecting anew";

/// What is told when the store does not take the beginning of a session.
const NOT_BEGUN: &str =
    "the store did not take the beginning of the session; nothing is subscribed to before it does";

/// Why a connection was given up.
enum Ended {
    /// The daemon stops.
    Stopping,
    /// It failed; this is why.
    Failed(Down),
}

/// What one task does for one broker.
pub(super) struct Poller {
    pub(super) source: Source,
    pub(super) link: Arc<Link>,
    /// The standing connection's; acknowledgements carry it.
    pub(super) epoch: u64,
    /// One batch being filled a shard.
    pub(super) gathered: Vec<Batch>,
    /// Readings and entries in all of them.
    pub(super) gathering: usize,
    /// When the standing connection was granted.
    since: Option<Instant>,
    /// What was subscribed to on it.
    subscriptions: Subscriptions,
    /// The beginning of the session, until it is committed.
    beginning: Option<Trace>,
    /// What the message at hand holds; kept for its memory.
    pub(super) contents: Vec<(u32, Content)>,
    /// Readings of one channel in it, likewise.
    pub(super) decoded: Vec<Outcome>,
    /// What channels have not been told yet of unreadable messages.
    pub(super) unreadable: Unreadable,
}

impl Poller {
    pub(super) fn new(source: Source, link: Arc<Link>) -> Self {
        Poller {
            gathered: (0..source.intake.shards())
                .map(|_| Batch::default())
                .collect(),
            gathering: 0,
            since: None,
            subscriptions: Subscriptions::default(),
            beginning: None,
            contents: Vec::new(),
            decoded: Vec::new(),
            unreadable: Unreadable::default(),
            link,
            epoch: 0,
            source,
        }
    }

    /// Connects again and again until `stop`.
    pub(super) async fn run(mut self, stop: CancellationToken) {
        let mut attempts = Attempts::default();
        loop {
            let ended = self.connect_and_poll(&stop).await;
            self.epoch = self.link.change(None);
            let lasted = self.since.take().map(|since| since.elapsed());
            self.source.router.nodes_mut().link_lost();
            if self.hand_on(&stop).await.is_err() {
                return;
            }
            let Ended::Failed(down) = ended else { return };
            let broker = &self.source.broker;
            let retry = attempts.ended(&down, lasted, &broker.client_id);
            let now = (self.source.clock)();
            self.source.report.handle_lost(now, &retry.why);
            tracing::warn!(
                broker = %broker.name, host = %broker.host, port = broker.port,
                failures = retry.failures, again_in_ms = retry.pause.as_millis() as u64,
                "not connected: {}", retry.why
            );
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(retry.pause) => {}
            }
        }
    }

    /// One life of the client, from its making to its first error. A new
    /// client a connection leaves nothing of the old one behind.
    async fn connect_and_poll(&mut self, stop: &CancellationToken) -> Ended {
        let broker = &self.source.broker;
        let (client, mut events) = match mqtt::connect(broker, &introduction(broker)) {
            Ok(made) => made,
            Err(down) => return Ended::Failed(down),
        };
        let stalled = Duration::from_millis(broker.keep_alive.millis() as u64).mul_f64(STALLED);
        self.subscriptions = Subscriptions::default();
        let mut gathered_long_enough = false;
        loop {
            // Never dropped before it is done: the client loses what it was
            // just about to write, an acknowledgement among others. Without
            // the runtime's budget, since "not ready" must mean the socket.
            let mut polling = pin!(unconstrained(events.next()));
            let mut ready = poll_once(polling.as_mut());
            if ready.is_none() && self.gathering > 0 && !gathered_long_enough {
                // Meanwhile the socket gathers, and one look at it then brings
                // many messages. The thread sleeps, and not the task alone,
                // since each packet would wake a waiting runtime for nothing.
                std::thread::sleep(GATHER);
                gathered_long_enough = true;
                ready = poll_once(polling.as_mut());
            }
            if self.gathering >= BATCH || (ready.is_none() && self.gathering > 0) {
                gathered_long_enough = false;
                if self.hand_on(stop).await.is_err() {
                    return Ended::Stopping;
                }
            }
            let polled = match ready {
                Some(polled) => polled,
                None => tokio::select! {
                    biased;
                    () = stop.cancelled() => return Ended::Stopping,
                    polled = &mut polling => polled,
                    down = self.patience(stalled) => Err(down),
                },
            };
            let taken = match polled {
                Ok(Event::Connected { session, .. }) => {
                    self.connected(session, &client);
                    tokio::select! {
                        () = stop.cancelled() => return Ended::Stopping,
                        kept = self.keep_beginning(stalled) => match kept {
                            Ok(()) => self.subscribe(&client),
                            Err(ended) => return ended,
                        }
                    }
                }
                Ok(event) => {
                    self.event(event, &client);
                    Ok(())
                }
                Err(down) => Err(down),
            };
            if let Err(down) = taken {
                return Ended::Failed(down);
            }
            if stop.is_cancelled() {
                return Ended::Stopping;
            }
        }
    }

    /// Waits until nothing has happened for too long.
    async fn patience(&self, stalled: Duration) -> Down {
        let stalls = Instant::now() + stalled;
        match self.subscriptions.deadline() {
            Some(deadline) if deadline < stalls => {
                tokio::time::sleep_until(deadline.into()).await;
                Down::passing(NO_SUBSCRIPTION)
            }
            _ => {
                tokio::time::sleep_until(stalls.into()).await;
                Down::passing(NO_PROGRESS)
            }
        }
    }

    fn event(&mut self, event: Event, client: &Client) {
        match event {
            Event::Message(message) => {
                self.incoming(&message, Poller::message);
                self.ask_for_births(client);
            }
            Event::Oversized(message) => self.incoming(&message, Poller::oversized),
            Event::Subscribing { packet } => self.subscriptions.handle_leaving(packet),
            Event::Subscribed { packet, refusals } => self.subscribed(packet, &refusals),
            Event::Connected { .. }
            | Event::Publishing { .. }
            | Event::Published { .. }
            | Event::Disconnecting => {}
            Event::Other => self.miss_nodes(),
        }
    }

    fn incoming(&mut self, message: &Message, take: impl FnOnce(&mut Self, &Message)) {
        self.subscriptions.handle_message(Instant::now);
        take(self, message);
    }

    fn connected(&mut self, session: Session, client: &Client) {
        self.since = Some(Instant::now());
        self.epoch = self.link.change(Some(client.clone()));
        if session == Session::New {
            self.beginning = Some(self.source.recent.new_session());
        }
        self.source.report.handle_connected((self.source.clock)());
        let broker = &self.source.broker;
        tracing::info!(
            broker = %broker.name, host = %broker.host, port = broker.port,
            session = match session { Session::TakenUp => "taken up", Session::New => "new" },
            "connected"
        );
        let clock = (self.source.clock)();
        self.source.router.nodes_mut().linked(clock);
    }

    /// Has the beginning of a new session committed. Nothing is subscribed to
    /// before, so that no message of the session can come that a trace of the
    /// old one might be taken for after a kill. While the disk refuses, the
    /// connection is given up, and the next one tries again.
    async fn keep_beginning(&mut self, patience: Duration) -> Result<(), Ended> {
        let Some(beginning) = self.beginning else {
            return Ok(());
        };
        let name = Arc::clone(&self.source.broker.name);
        let batch = Batch {
            arrived: vec![Arrived {
                sump: 0,
                arrival: (self.source.clock)(),
                content: Content::Known,
                ack: Some(Ack {
                    source: self.source.ix,
                    epoch: self.epoch,
                    packet: BEGINNING,
                    open: None,
                }),
            }],
            recent: vec![(name, beginning)],
            ..Batch::default()
        };
        let kept = async {
            let (shard, _) = self.source.intake.place(0);
            self.source.intake.send(shard, batch).await?;
            self.link.begun(self.epoch).await;
            Ok::<(), IntakeClosed>(())
        };
        match tokio::time::timeout(patience, kept).await {
            Ok(Ok(())) => {
                self.beginning = None;
                Ok(())
            }
            Ok(Err(IntakeClosed)) => Err(Ended::Stopping),
            Err(_) => Err(Ended::Failed(Down::passing(NOT_BEGUN))),
        }
    }

    fn subscribe(&mut self, client: &Client) -> Result<(), Down> {
        let now = Instant::now();
        let filters = self.source.router.subscriptions();
        self.subscriptions = Subscriptions::ask(filters, client, now)
            .map_err(|error| Down::passing(format!("cannot subscribe: {error}")))?;
        self.ask_for_births(client);
        Ok(())
    }

    fn subscribed(&mut self, packet: u16, refusals: &[Option<&'static str>]) {
        self.subscriptions
            .handle_answer(packet, refusals, Instant::now());
        if self.subscriptions.is_answered() {
            self.subscriptions.tell(&self.source.broker.name);
            let refused = self.subscriptions.refused();
            self.source.report.handle_refused(refused);
        }
    }

    /// Hands what was gathered to the shards, waiting while they are busy: the
    /// broker then holds back too. If that takes longer than the keep-alive,
    /// the connection ends, the session stays, and nothing is lost. On `stop`
    /// it does not wait: what was not acknowledged comes again.
    async fn hand_on(&mut self, stop: &CancellationToken) -> Result<(), IntakeClosed> {
        self.miss_nodes();
        self.gathering = 0;
        for (shard, gathered) in self.gathered.iter_mut().enumerate() {
            if !gathered.arrived.is_empty() {
                let fresh = Batch {
                    arrived: Vec::with_capacity(BATCH),
                    ..Batch::default()
                };
                let batch = std::mem::replace(gathered, fresh);
                tokio::select! {
                    biased;
                    sent = self.source.intake.send(shard, batch) => sent?,
                    () = stop.cancelled() => return Err(IntakeClosed),
                }
            }
        }
        Ok(())
    }
}

fn introduction(broker: &BrokerSettings) -> Introduction {
    Introduction {
        client_id: broker.client_id.clone(),
        session: SessionWish::Kept,
        will: None,
    }
}

/// What the future gives at once, if anything.
fn poll_once<F: Future>(polling: Pin<&mut F>) -> Option<F::Output> {
    match polling.poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(output) => Some(output),
        Poll::Pending => None,
    }
}
