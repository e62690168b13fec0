//! Polling the client: connecting, subscribing, handing on.

use std::pin::{Pin, pin};
use std::sync::Arc;
use std::task::{Context, Poll, Waker};
use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{Filter, Packet, RetainForwardRule, SubAck};
use rumqttc::v5::{AsyncClient, Event};
use tokio::task::unconstrained;
use tokio_util::sync::CancellationToken;

use super::{Link, Source};
use crate::ingest::decode::Decoded;
use crate::ingest::intake::{Batch, Content, IntakeClosed};
use crate::ingest::refusals::Refusals;
use crate::ingest::unreadable::Unreadable;
use crate::mqtt::{self as link_rules, Backoff};

/// Readings and entries handed to a shard at once.
const BATCH: usize = 256;
/// A message waits at most so long for others to be handed on with.
const GATHER: Duration = Duration::from_millis(3);
/// Topic filters in one SUBSCRIBE packet.
const FILTERS_A_PACKET: usize = 100;
/// Without any event for so many keep-alive times the client is given up and
/// made anew.
const STALLED: f64 = 2.5;
/// What is then told.
const NO_PROGRESS: &str = "the client made no progress for several keep-alive times; made anew";

/// Why a connection was given up.
enum Ended {
    /// The daemon stops.
    Stopping,
    /// It failed; this is why.
    Failed(String),
}

/// What one task does for one broker.
pub(super) struct Poller {
    pub(super) source: Source,
    pub(super) link: Arc<Link>,
    /// The standing connection's; acknowledgements carry it.
    pub(super) epoch: u64,
    pub(super) refusals: Refusals,
    /// One batch being filled a shard.
    pub(super) gathered: Vec<Batch>,
    /// Readings and entries in all of them.
    pub(super) gathering: usize,
    /// Topic filters that the broker has not answered for yet.
    unanswered: usize,
    /// What the message at hand holds; kept for its memory.
    pub(super) contents: Vec<(u32, Content)>,
    /// Readings of one channel in it, likewise.
    pub(super) decoded: Vec<Decoded>,
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
            unanswered: 0,
            contents: Vec::new(),
            decoded: Vec::new(),
            unreadable: Unreadable::default(),
            refusals: Refusals::default(),
            link,
            epoch: 0,
            source,
        }
    }

    /// Connects again and again until `stop`.
    pub(super) async fn run(mut self, stop: CancellationToken) {
        let mut backoff = Backoff::default();
        loop {
            let began = Instant::now();
            let ended = self.connect_and_poll(&stop).await;
            self.epoch = self.link.change(None);
            if self.hand_on(&stop).await.is_err() {
                return;
            }
            let Ended::Failed(why) = ended else { return };
            let pause = backoff.after_failure(began.elapsed());
            let broker = &self.source.broker;
            tracing::warn!(
                broker = %broker.name, host = %broker.host, port = broker.port,
                failures = backoff.failures(), again_in_ms = pause.as_millis() as u64,
                "not connected: {why}"
            );
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(pause) => {}
            }
        }
    }

    /// One life of the client, from its making to its first error. A new
    /// client a connection leaves nothing of the old one behind.
    async fn connect_and_poll(&mut self, stop: &CancellationToken) -> Ended {
        let broker = &self.source.broker;
        let options = match link_rules::options(broker, &broker.client_id) {
            Ok(options) => options,
            Err(error) => return Ended::Failed(error.to_string()),
        };
        let stalled = options.keep_alive().mul_f64(STALLED);
        let capacity = options.request_channel_capacity();
        let (client, mut events) = AsyncClient::new(options, capacity);
        let mut gathered_long_enough = false;
        loop {
            // Never dropped before it is done: the client loses what it was
            // just about to write, an acknowledgement among others. Without
            // the runtime's budget, since "not ready" must mean the socket.
            let mut polling = pin!(unconstrained(events.poll()));
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
                    polled = tokio::time::timeout(stalled, polling) => match polled {
                        Ok(polled) => polled,
                        Err(_) => return Ended::Failed(NO_PROGRESS.to_owned()),
                    },
                },
            };
            let taken = match polled {
                Ok(event) => self.event(event, &client),
                Err(error) => Err(link_rules::explain(&error)),
            };
            if let Err(why) = taken {
                return Ended::Failed(why);
            }
            if stop.is_cancelled() {
                return Ended::Stopping;
            }
        }
    }

    fn event(&mut self, event: Event, client: &AsyncClient) -> Result<(), String> {
        match event {
            Event::Incoming(packet) => self.incoming(packet, client),
            Event::Outgoing(_) => Ok(()),
        }
    }

    fn incoming(&mut self, packet: Packet, client: &AsyncClient) -> Result<(), String> {
        match packet {
            Packet::ConnAck(connack) => {
                self.epoch = self.link.change(Some(client.clone()));
                if !connack.session_present {
                    self.source.recent.new_session();
                }
                let broker = &self.source.broker;
                tracing::info!(
                    broker = %broker.name, host = %broker.host, port = broker.port,
                    session = if connack.session_present { "taken up" } else { "new" },
                    "connected"
                );
                self.subscribe(client)
            }
            Packet::Publish(message) => {
                self.message(&message);
                Ok(())
            }
            Packet::SubAck(answer) => {
                self.subscribed(&answer);
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// Subscribes to everything again on each connection: a subscription that
    /// the session still holds is unchanged by it.
    fn subscribe(&mut self, client: &AsyncClient) -> Result<(), String> {
        self.unanswered = self.source.router.subscriptions().len();
        for filters in self.source.router.subscriptions().chunks(FILTERS_A_PACKET) {
            let filters = filters.iter().map(|topic| Filter {
                path: topic.clone(),
                qos: QoS::AtLeastOnce,
                retain_forward_rule: RetainForwardRule::OnNewSubscribe,
                ..Filter::default()
            });
            client
                .try_subscribe_many(filters)
                .map_err(|error| format!("cannot subscribe: {error}"))?;
        }
        Ok(())
    }

    fn subscribed(&mut self, answer: &SubAck) {
        self.unanswered = self.unanswered.saturating_sub(answer.return_codes.len());
        if self.unanswered == 0 {
            let topics = self.source.router.subscriptions().len();
            tracing::info!(broker = %self.source.broker.name, topics, "subscribed");
        }
        for refusal in answer
            .return_codes
            .iter()
            .filter_map(link_rules::explain_refusal)
        {
            tracing::error!(
                broker = %self.source.broker.name,
                "the broker refuses a subscription: {refusal}; readings of that topic will not come"
            );
        }
    }

    /// Hands what was gathered to the shards, waiting while they are busy: the
    /// broker then holds back too. If that takes longer than the keep-alive,
    /// the connection ends, the session stays, and nothing is lost. On `stop`
    /// it does not wait: what was not acknowledged comes again.
    async fn hand_on(&mut self, stop: &CancellationToken) -> Result<(), IntakeClosed> {
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

/// What the future gives at once, if anything.
fn poll_once<F: Future>(polling: Pin<&mut F>) -> Option<F::Output> {
    match polling.poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(output) => Some(output),
        Poll::Pending => None,
    }
}
