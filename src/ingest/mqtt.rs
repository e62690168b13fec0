//! Readings and entries from an MQTT broker.
//!
//! One task a broker polls the client and does nothing that could block for
//! long; a second one acknowledges what has been committed. Both share a
//! [`Link`]: an acknowledgement is handed to the client only while the
//! connection that brought the message still stands, so that it can never
//! confirm another message that bears the same packet identifier.

use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{Filter, Packet, Publish, RetainForwardRule, SubAck};
use rumqttc::v5::{AsyncClient, Event, EventLoop};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::decode;
use super::intake::{Ack, Arrived, Batch, Content, Intake, IntakeClosed};
use super::recent::{Judgement, Recent};
use super::refusals::{IngestCounters, Refusals};
use super::router::{Router, Target};
use crate::engine::{Quality, SumpSetup};
use crate::mqtt::{self as link_rules, Backoff};
use crate::settings::BrokerSettings;
use crate::units::Timestamp;

/// Messages handed to a shard at once.
pub const BATCH: usize = 256;
/// A message waits at most so long for others to be handed on with.
const GATHER: Duration = Duration::from_millis(2);
/// Topic filters in one SUBSCRIBE packet.
const FILTERS_A_PACKET: usize = 100;
/// Without any event for so many keep-alive times the client is given up and
/// made anew.
const STALLED: f64 = 2.5;
/// Pause before an acknowledgement is tried again that found no room.
const ROOM_PAUSE: Duration = Duration::from_millis(1);

/// The connection as the two tasks share it.
#[derive(Debug)]
pub struct Link(Mutex<Connection>);

#[derive(Debug)]
struct Connection {
    /// Grows with each connection made and each one lost.
    epoch: u64,
    client: Option<AsyncClient>,
}

impl Link {
    fn new() -> Arc<Self> {
        Arc::new(Link(Mutex::new(Connection {
            epoch: 0,
            client: None,
        })))
    }

    fn change(&self, client: Option<AsyncClient>) -> u64 {
        let mut connection = self
            .0
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        connection.epoch += 1;
        connection.client = client;
        connection.epoch
    }

    /// Acknowledges one message. `false` when there was no room: try again.
    fn acknowledge(&self, ack: &Ack) -> bool {
        let connection = self
            .0
            .lock()
            .unwrap_or_else(std::sync::PoisonError::into_inner);
        match &connection.client {
            Some(client) if connection.epoch == ack.epoch => {
                let mut message = Publish::new("", QoS::AtLeastOnce, Vec::new(), None);
                message.pkid = ack.packet;
                client.try_ack(&message).is_ok()
            }
            // That connection is gone; the broker delivers the message again.
            _ => true,
        }
    }
}

/// Acknowledges what has been committed, in its order.
pub async fn acknowledge(link: Arc<Link>, mut committed: mpsc::Receiver<Vec<Ack>>) {
    while let Some(acks) = committed.recv().await {
        for ack in acks.iter().filter(|ack| ack.settle()) {
            while !link.acknowledge(ack) {
                tokio::time::sleep(ROOM_PAUSE).await;
            }
        }
    }
}

/// One broker as a source.
pub struct Source {
    /// Its place among the sources.
    pub ix: u16,
    /// The broker.
    pub broker: BrokerSettings,
    /// Its topics.
    pub router: Router,
    /// The plant's sumps, which entries are checked against.
    pub sumps: Arc<[SumpSetup]>,
    /// The doors of the shards.
    pub intake: Intake,
    /// Newest messages without a time of their own.
    pub recent: Recent,
    /// What it counts.
    pub counters: Arc<IngestCounters>,
    /// The clock.
    pub clock: Arc<dyn Fn() -> Timestamp + Send + Sync>,
}

/// Why a connection was given up.
enum Ended {
    /// The daemon stops.
    Stopping,
    /// It failed; this is why.
    Failed(String),
}

impl Source {
    /// The link that [`acknowledge`] needs, and the task that polls.
    pub fn start(self, stop: CancellationToken) -> (Arc<Link>, impl Future<Output = ()>) {
        let link = Link::new();
        let poller = Poller {
            gathered: (0..self.intake.shards())
                .map(|_| Batch::default())
                .collect(),
            gathering: 0,
            unanswered: 0,
            contents: Vec::new(),
            refusals: Refusals::default(),
            link: Arc::clone(&link),
            epoch: 0,
            source: self,
        };
        (link, poller.run(stop))
    }
}

struct Poller {
    source: Source,
    link: Arc<Link>,
    /// The standing connection's; acknowledgements carry it.
    epoch: u64,
    refusals: Refusals,
    /// One batch being filled a shard.
    gathered: Vec<Batch>,
    /// Readings and entries in all of them.
    gathering: usize,
    /// Topic filters that the broker has not answered for yet.
    unanswered: usize,
    /// What the message at hand holds; kept for its memory.
    contents: Vec<(u32, Content)>,
}

impl Poller {
    async fn run(mut self, stop: CancellationToken) {
        let mut backoff = Backoff::default();
        loop {
            let began = Instant::now();
            let ended = self.connect_and_poll(&stop).await;
            self.epoch = self.link.change(None);
            if self.hand_on().await.is_err() {
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
        let mut flush = Box::pin(tokio::time::sleep(GATHER));
        loop {
            let gathering = self.gathering > 0;
            tokio::select! {
                biased;
                () = stop.cancelled() => return Ended::Stopping,
                () = &mut flush, if gathering => {
                    if self.hand_on().await.is_err() {
                        return Ended::Stopping;
                    }
                }
                polled = next_event(&mut events, stalled) => {
                    match polled {
                        Err(why) => return Ended::Failed(why),
                        Ok(Event::Incoming(packet)) => {
                            if let Err(why) = self.incoming(packet, &client) {
                                return Ended::Failed(why);
                            }
                        }
                        Ok(Event::Outgoing(_)) => {}
                    }
                    if !gathering && self.gathering > 0 {
                        flush.as_mut().reset(tokio::time::Instant::now() + GATHER);
                    }
                    if self.gathering >= BATCH && self.hand_on().await.is_err() {
                        return Ended::Stopping;
                    }
                }
            }
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

    /// Takes one message in. What holds something to keep is acknowledged once
    /// that is committed, everything else at once.
    fn message(&mut self, message: &Publish) {
        IngestCounters::add(&self.source.counters.received);
        let mut contents = std::mem::take(&mut self.contents);
        if let Err(why) = self.read(message, &mut contents) {
            IngestCounters::add(&self.source.counters.refused);
            let topic = String::from_utf8_lossy(&message.topic);
            self.refusals
                .count(&topic, &message.payload, &why, Instant::now());
        }
        let ack = self.ack_of(message, contents.len());
        if contents.is_empty() {
            if let Some(ack) = ack {
                // Without room it stays unacknowledged and comes again.
                self.link.acknowledge(&ack);
            }
        } else {
            let arrival = (self.source.clock)();
            for (sump, content) in contents.drain(..) {
                let (shard, _) = self.source.intake.place(sump);
                let ack = ack.clone();
                self.gathered[shard].arrived.push(Arrived {
                    sump,
                    arrival,
                    content,
                    ack,
                });
                self.gathering += 1;
            }
        }
        self.contents = contents;
    }

    fn ack_of(&self, message: &Publish, parts: usize) -> Option<Ack> {
        (message.qos == QoS::AtLeastOnce).then(|| Ack {
            source: self.source.ix,
            epoch: self.epoch,
            packet: message.pkid,
            open: (parts > 1).then(|| Arc::new(AtomicU32::new(parts as u32))),
        })
    }

    /// Reads what the message holds. After an error it may hold something all
    /// the same: of several readings those that could be read.
    fn read(
        &mut self,
        message: &Publish,
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), Unreadable> {
        let topic = std::str::from_utf8(&message.topic).map_err(|_| Unreadable::Topic)?;
        match self.source.router.find(topic) {
            None => IngestCounters::add(&self.source.counters.unknown_topic),
            Some(Target::Entries) => {
                let (sump, entry) = decode::decode_entry(&message.payload, &self.source.sumps)?;
                contents.push((sump as u32, Content::Entry(Box::new(entry))));
            }
            Some(Target::Routes(places)) => {
                self.read_readings(topic, &places, message, contents)?
            }
        }
        Ok(())
    }

    fn read_readings(
        &mut self,
        topic: &str,
        places: &[usize],
        message: &Publish,
        contents: &mut Vec<(u32, Content)>,
    ) -> Result<(), decode::DecodeError> {
        let mut refusal = None;
        let mut judged = None;
        for &place in places {
            let route = self.source.router.route(place);
            let (sump, channel) = (route.sump, route.channel);
            match decode::decode(&route.payload, &message.payload) {
                Ok(decode::Decoded { value, claimed }) => {
                    let standing = match claimed {
                        Some(_) => Standing::Fresh(Quality::GOOD),
                        None => *judged.get_or_insert_with(|| self.judge(topic, sump, message)),
                    };
                    let content = match standing {
                        Standing::Fresh(quality) => Content::Reading {
                            channel,
                            claimed,
                            value,
                            quality,
                        },
                        Standing::Known => Content::Known,
                        Standing::Stale => continue,
                    };
                    contents.push((sump, content));
                }
                Err(why) => refusal = Some(why),
            }
        }
        refusal.map_or(Ok(()), Err)
    }

    /// How the readings of a message without a time of its own stand.
    fn judge(&mut self, topic: &str, sump: u32, message: &Publish) -> Standing {
        if message.retain {
            IngestCounters::add(&self.source.counters.retained);
            return Standing::Stale;
        }
        if message.qos != QoS::AtLeastOnce {
            return Standing::Fresh(Quality::GOOD);
        }
        let recent = &mut self.source.recent;
        let (judgement, trace) = recent.judge(message.pkid, topic, &message.payload, message.dup);
        if judgement == Judgement::Repeated {
            IngestCounters::add(&self.source.counters.repeated);
            return Standing::Known;
        }
        let (shard, _) = self.source.intake.place(sump);
        let source = Arc::clone(&self.source.broker.name);
        self.gathered[shard].recent.push((source, trace));
        if judgement == Judgement::Undecided {
            IngestCounters::add(&self.source.counters.undecided);
            return Standing::Fresh(Quality::REPEATED);
        }
        Standing::Fresh(Quality::GOOD)
    }

    /// Hands what was gathered to the shards, waiting while they are busy: the
    /// broker then holds back too. If that takes longer than the keep-alive,
    /// the connection ends, the session stays, and nothing is lost.
    async fn hand_on(&mut self) -> Result<(), IntakeClosed> {
        self.gathering = 0;
        for (shard, gathered) in self.gathered.iter_mut().enumerate() {
            if !gathered.arrived.is_empty() {
                let fresh = Batch {
                    arrived: Vec::with_capacity(BATCH),
                    ..Batch::default()
                };
                let batch = std::mem::replace(gathered, fresh);
                self.source.intake.send(shard, batch).await?;
            }
        }
        Ok(())
    }
}

/// How the reading of a message stands to what came before it.
#[derive(Debug, Clone, Copy)]
enum Standing {
    /// To be taken in, with these marks.
    Fresh(Quality),
    /// Taken in before.
    Known,
    /// Retained by the broker for who knows how long: it says nothing of now.
    Stale,
}

/// Why nothing could be read from a message.
#[derive(Debug, thiserror::Error)]
enum Unreadable {
    #[error("the topic is not UTF-8")]
    Topic,
    #[error(transparent)]
    Reading(#[from] decode::DecodeError),
    #[error(transparent)]
    Entry(#[from] decode::EntryError),
}

/// The next event, or why there is none any more.
async fn next_event(events: &mut EventLoop, stalled: Duration) -> Result<Event, String> {
    match tokio::time::timeout(stalled, events.poll()).await {
        Ok(Ok(event)) => Ok(event),
        Ok(Err(error)) => Err(link_rules::explain(&error)),
        Err(_) => Err("the client made no progress for several keep-alive times; made anew".into()),
    }
}

impl IngestCounters {
    /// The counts in words, for the log.
    pub fn summary(&self) -> String {
        let of = |counter: &std::sync::atomic::AtomicU64| counter.load(Ordering::Relaxed);
        format!(
            "received {}, unreadable {}, of unknown topics {}, retained without a time {}, delivered again {}, undecided {}",
            of(&self.received),
            of(&self.refused),
            of(&self.unknown_topic),
            of(&self.retained),
            of(&self.repeated),
            of(&self.undecided),
        )
    }
}
