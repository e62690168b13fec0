//! From the outbox to the broker.
//!
//! The client library gives no receipt for a publish, so that it is put
//! together here: publishes leave in the order in which they were handed over,
//! each leaving is told with its packet identifier, and the broker's PUBACK
//! bears the same one. Whatever has no PUBACK when the connection ends is read
//! from the outbox again.

use std::collections::{HashMap, VecDeque};
use std::path::PathBuf;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rumqttc::Outgoing;
use rumqttc::v5::mqttbytes::QoS;
use rumqttc::v5::mqttbytes::v5::{LastWill, Packet, PubAck, PubAckReason};
use rumqttc::v5::{AsyncClient, Event, MqttOptions};
use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use crate::mqtt::{self as link_rules, Backoff};
use crate::settings::BrokerSettings;
use crate::store::{Reader, StoreError, StoredMessage, WriterHandle};

/// Publishes under way at once: few, so that a broker that answers slowly
/// never blocks the client for good.
const UNDER_WAY: usize = 20;
/// Rows read from the outbox at once.
const PAGE: usize = 64;
/// Of refused messages the first and then one in so many is told.
const TELL_EVERY: u64 = 1000;
/// While messages wait, the outbox is looked at this often even if nobody
/// woke us.
const LOOK_EVERY: Duration = Duration::from_secs(5);

/// Counts of the publisher, readable from anywhere.
#[derive(Debug, Default)]
pub struct PublisherCounters {
    /// Messages that the broker confirmed.
    pub confirmed: AtomicU64,
    /// Messages that the broker refused; they are tried again on the next
    /// connection.
    pub refused: AtomicU64,
}

/// Sends what waits in the outbox.
pub struct Publisher<A> {
    /// The broker.
    pub broker: BrokerSettings,
    /// Topic of the retained online/offline state.
    pub status_topic: String,
    /// Folder of the store.
    pub folder: PathBuf,
    /// Takes confirmed messages out of the outbox.
    pub writer: WriterHandle<A>,
    /// Woken when the outbox got something new.
    pub wake: Arc<Notify>,
    /// What it counts.
    pub counters: Arc<PublisherCounters>,
}

/// What is known of the messages of one connection.
#[derive(Default)]
struct UnderWay {
    /// Handed to the client, not yet on the wire; `None` is a message that is
    /// not from the outbox.
    leaving: VecDeque<Option<i64>>,
    /// On the wire, by packet identifier.
    sent: HashMap<u16, Option<i64>>,
    /// Read from the outbox, not yet handed over.
    waiting: VecDeque<StoredMessage>,
    /// Everything up to this row has been read.
    cursor: i64,
    /// There may be rows after the cursor.
    more: bool,
    /// Kept open between reads.
    reader: Option<Reader>,
    /// Confirmed, not yet taken out of the outbox.
    confirmed: Vec<i64>,
}

impl UnderWay {
    fn count(&self) -> usize {
        self.leaving.len() + self.sent.len()
    }

    fn is_idle(&self) -> bool {
        self.count() == 0 && self.waiting.is_empty() && !self.more
    }
}

impl<A: Send + 'static> Publisher<A> {
    /// Runs until `stop`; then sends on until the outbox is empty or `grace`
    /// is over, and says goodbye.
    pub async fn run(self, stop: CancellationToken, grace: Duration) {
        let mut backoff = Backoff::default();
        while !stop.is_cancelled() {
            let began = Instant::now();
            let Err(why) = self.connection(&stop, grace).await else {
                return;
            };
            let pause = backoff.after_failure(began.elapsed());
            tracing::warn!(
                broker = %self.broker.name, failures = backoff.failures(),
                again_in_ms = pause.as_millis() as u64,
                "messages wait in the outbox: {why}"
            );
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(pause) => {}
            }
        }
    }

    fn options(&self) -> Result<MqttOptions, String> {
        let client_id = format!("{}-messages", self.broker.client_id);
        let mut options =
            link_rules::options(&self.broker, &client_id).map_err(|error| error.to_string())?;
        let offline = status("offline");
        options.set_last_will(LastWill::new(
            &*self.status_topic,
            offline,
            QoS::AtLeastOnce,
            true,
            None,
        ));
        // Nothing is to be kept for a client that subscribes to nothing.
        options.set_clean_start(true);
        Ok(options)
    }

    /// One life of the client. `Ok` when it ended because the daemon stops.
    async fn connection(&self, stop: &CancellationToken, grace: Duration) -> Result<(), String> {
        let mut under_way = UnderWay::default();
        let ended = self.converse(stop, grace, &mut under_way).await;
        self.take_out(&mut under_way).await?;
        ended
    }

    async fn converse(
        &self,
        stop: &CancellationToken,
        grace: Duration,
        under_way: &mut UnderWay,
    ) -> Result<(), String> {
        let options = self.options()?;
        let stalled = options.keep_alive().mul_f64(2.5);
        let capacity = options.request_channel_capacity();
        let (client, mut events) = AsyncClient::new(options, capacity);
        let mut connected = false;
        let mut deadline = None;
        let mut look = tokio::time::interval(LOOK_EVERY);
        loop {
            let event = {
                // Never dropped before it is done: the client loses what it
                // was just about to write.
                let mut polling = pin!(events.poll());
                let mut stall = pin!(tokio::time::sleep(stalled));
                loop {
                    if connected {
                        self.hand_over(&client, under_way).await?;
                    }
                    if deadline.is_some() && (under_way.is_idle() || !connected) {
                        break None;
                    }
                    tokio::select! {
                        () = stop.cancelled(), if deadline.is_none() => {
                            deadline = Some(tokio::time::Instant::now() + grace);
                            under_way.more = true;
                        }
                        () = sleep_until(deadline), if deadline.is_some() => break None,
                        () = self.wake.notified() => under_way.more = true,
                        _ = look.tick() => under_way.more = true,
                        () = &mut stall => {
                            return Err("the client made no progress; made anew".to_owned());
                        }
                        polled = &mut polling => {
                            break Some(polled.map_err(|error| link_rules::explain(&error))?);
                        }
                    }
                }
            };
            match event {
                None => return self.goodbye(&client, &mut events).await,
                Some(Event::Incoming(Packet::ConnAck(_))) => {
                    connected = true;
                    publish(&client, &self.status_topic, status("online"), true)?;
                    under_way.leaving.push_back(None);
                }
                Some(Event::Incoming(Packet::PubAck(answer))) => {
                    self.answered(&answer, under_way).await?;
                }
                Some(Event::Outgoing(Outgoing::Publish(packet))) => {
                    if let Some(id) = under_way.leaving.pop_front() {
                        under_way.sent.insert(packet, id);
                    }
                }
                Some(_) => {}
            }
        }
    }

    /// Hands over as many messages as may be under way.
    async fn hand_over(
        &self,
        client: &AsyncClient,
        under_way: &mut UnderWay,
    ) -> Result<(), String> {
        while under_way.count() < UNDER_WAY {
            if under_way.waiting.is_empty() && under_way.more {
                self.read_outbox(under_way).await?;
            }
            let Some(message) = under_way.waiting.pop_front() else {
                break;
            };
            publish(client, &message.topic, message.payload, message.retain)?;
            under_way.leaving.push_back(Some(message.id));
        }
        Ok(())
    }

    async fn read_outbox(&self, under_way: &mut UnderWay) -> Result<(), String> {
        let (folder, cursor) = (self.folder.clone(), under_way.cursor);
        let kept = under_way.reader.take();
        let (reader, page) = blocking(move || {
            let reader = kept.map_or_else(|| Reader::open(&folder), Ok)?;
            let page = reader.outbox_after(cursor, PAGE)?;
            Ok((reader, page))
        })
        .await?;
        under_way.reader = Some(reader);
        under_way.more = page.len() == PAGE;
        if let Some(last) = page.last() {
            under_way.cursor = last.id;
        }
        under_way.waiting.extend(page);
        Ok(())
    }

    async fn answered(&self, answer: &PubAck, under_way: &mut UnderWay) -> Result<(), String> {
        let id = under_way.sent.remove(&answer.pkid).flatten();
        match answer.reason {
            PubAckReason::Success | PubAckReason::NoMatchingSubscribers => {
                if let Some(id) = id {
                    self.counters.confirmed.fetch_add(1, Ordering::Relaxed);
                    under_way.confirmed.push(id);
                }
            }
            reason => {
                let before = self.counters.refused.fetch_add(1, Ordering::Relaxed);
                if before.is_multiple_of(TELL_EVERY) {
                    tracing::error!(
                    broker = %self.broker.name,
                    "the broker refuses a message ({reason:?}); it stays in the outbox; check the broker's access rules"
                    );
                }
            }
        }
        if under_way.confirmed.len() >= PAGE || under_way.count() == 0 {
            self.take_out(under_way).await?;
        }
        Ok(())
    }

    /// Takes what was confirmed out of the outbox.
    async fn take_out(&self, under_way: &mut UnderWay) -> Result<(), String> {
        if under_way.confirmed.is_empty() {
            return Ok(());
        }
        let ids = std::mem::take(&mut under_way.confirmed);
        let writer = self.writer.clone();
        blocking(move || writer.remove_outbox(ids)).await
    }

    /// Says that the daemon is gone, and closes the connection in good order.
    async fn goodbye(
        &self,
        client: &AsyncClient,
        events: &mut rumqttc::v5::EventLoop,
    ) -> Result<(), String> {
        publish(client, &self.status_topic, status("offline"), true)?;
        client.try_disconnect().map_err(|error| error.to_string())?;
        let gone = async {
            while let Ok(event) = events.poll().await {
                if event == Event::Outgoing(Outgoing::Disconnect) {
                    break;
                }
            }
        };
        // A broker that does not answer is told by the last will instead.
        let _ = tokio::time::timeout(Duration::from_secs(1), gone).await;
        Ok(())
    }
}

async fn sleep_until(deadline: Option<tokio::time::Instant>) {
    if let Some(deadline) = deadline {
        tokio::time::sleep_until(deadline).await;
    }
}

fn publish(client: &AsyncClient, topic: &str, payload: String, retain: bool) -> Result<(), String> {
    client
        .try_publish(topic, QoS::AtLeastOnce, retain, payload)
        .map_err(|error| format!("cannot hand a message to the client: {error}"))
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, StoreError> + Send + 'static,
) -> Result<T, String> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|error| error.to_string())?
        .map_err(|error| error.to_string())
}

fn status(word: &str) -> String {
    format!("{{\"status\":\"{word}\"}}")
}
