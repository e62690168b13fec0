//! From the outbox to the broker.
//!
//! The client library gives no receipt for a publish, so that it is put
//! together here: publishes leave in the order in which they were handed over,
//! each leaving is told with its packet identifier, and the broker's PUBACK
//! bears the same one. Whatever has no PUBACK when the connection ends is read
//! from the outbox again.

use std::path::PathBuf;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use tokio::sync::Notify;
use tokio_util::sync::CancellationToken;

use super::under_way::UnderWay;
use crate::mqtt::{
    self, Attempts, Client, Down, Event, Events, Introduction, Leaving, NoRoom, SessionWish,
};
use crate::settings::BrokerSettings;
use crate::store::{Reader, StoreError, WriterHandle};

/// Rows read from the outbox at once.
const PAGE: usize = 64;
/// Of refused messages the first and then one in so many is told.
const TELL_EVERY: u64 = 1000;
/// Without any event for so many keep-alive times the client is given up and
/// made anew.
const STALLED: f64 = 2.5;
/// What is then told.
const NO_PROGRESS: &str = "the client made no progress for several keep-alive times; made anew";
/// What is told of a broker that does not answer.
const NO_CONFIRMATION: &str =
    "the broker takes messages and confirms none of them; connecting anew";
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

/// A connection of the publisher while it stands.
#[derive(Default)]
struct Standing {
    under_way: UnderWay,
    /// When the broker let us in.
    since: Option<Instant>,
    /// The largest packet that it takes, in bytes.
    largest: usize,
}

/// Bytes of a PUBLISH besides topic, payload and correlation data, at most: one
/// of type, four of length, two before the topic, two of packet identifier, four
/// of the properties' length, three before the correlation data (MQTT 5.0,
/// section 3.3).
const AROUND_A_MESSAGE: usize = 16;

impl<A: Send + 'static> Publisher<A> {
    /// Runs until `stop`; then sends on until the outbox is empty or `grace`
    /// is over, and says goodbye.
    pub async fn run(self, stop: CancellationToken, grace: Duration) {
        let mut attempts = Attempts::default();
        let introduction = self.introduction();
        while !stop.is_cancelled() {
            let mut standing = Standing::default();
            let ended = self.connection(&introduction, &stop, grace, &mut standing);
            let Err(down) = ended.await else {
                return;
            };
            let lasted = standing.since.map(|since| since.elapsed());
            let retry = attempts.ended(&down, lasted, &introduction.client_id);
            tracing::warn!(
                broker = %self.broker.name, failures = retry.failures,
                again_in_ms = retry.pause.as_millis() as u64,
                "messages wait in the outbox: {}", retry.why
            );
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(retry.pause) => {}
            }
        }
    }

    /// Nothing is to be kept for a client that subscribes to nothing.
    fn introduction(&self) -> Introduction {
        Introduction {
            client_id: format!("{}-messages", self.broker.client_id),
            session: SessionWish::Fresh,
            will: Some((self.status_topic.clone(), status("offline"))),
        }
    }

    /// One life of the client. `Ok` when it ended because the daemon stops.
    async fn connection(
        &self,
        introduction: &Introduction,
        stop: &CancellationToken,
        grace: Duration,
        standing: &mut Standing,
    ) -> Result<(), Down> {
        let (client, mut events) = mqtt::connect(&self.broker, introduction)?;
        let ended = self.converse(stop, grace, standing, &client, &mut events);
        let ended = ended.await;
        self.take_out(&mut standing.under_way).await?;
        if ended.is_ok() {
            return self.goodbye(&client, &mut events).await;
        }
        ended
    }

    /// Sends until the connection ends. `Ok` when it is time to take leave.
    async fn converse(
        &self,
        stop: &CancellationToken,
        grace: Duration,
        standing: &mut Standing,
        client: &Client,
        events: &mut Events,
    ) -> Result<(), Down> {
        let keep_alive = Duration::from_millis(self.broker.keep_alive.millis() as u64);
        let stalled = keep_alive.mul_f64(STALLED);
        let mut grace_ends = None;
        let mut look = tokio::time::interval(LOOK_EVERY);
        loop {
            // Never dropped before it is done: the client loses what it was
            // just about to write.
            let mut polling = pin!(events.next());
            let mut stall = pin!(tokio::time::sleep(stalled));
            let event = loop {
                let connected = standing.since.is_some();
                if connected {
                    self.hand_over(client, standing).await?;
                }
                let under_way = &mut standing.under_way;
                if grace_ends.is_some() && (under_way.is_idle() || !connected) {
                    return Ok(());
                }
                tokio::select! {
                    () = stop.cancelled(), if grace_ends.is_none() => {
                        grace_ends = Some(Instant::now() + grace);
                        under_way.more = true;
                    }
                    () = sleep_until(grace_ends) => return Ok(()),
                    () = self.wake.notified() => under_way.more = true,
                    _ = look.tick() => under_way.more = true,
                    () = &mut stall => return Err(Down::passing(NO_PROGRESS)),
                    () = sleep_until(under_way.deadline()) => {
                        return Err(Down::passing(NO_CONFIRMATION));
                    }
                    polled = &mut polling => break polled?,
                }
            };
            self.event(event, client, standing).await?;
        }
    }

    async fn event(
        &self,
        event: Event,
        client: &Client,
        standing: &mut Standing,
    ) -> Result<(), Down> {
        let under_way = &mut standing.under_way;
        match event {
            Event::Connected { largest, .. } => {
                let now = Instant::now();
                standing.since = Some(now);
                standing.largest = largest;
                tracing::info!(broker = %self.broker.name, "connected, messages go out");
                client.publish(self.saying("online")).map_err(no_room)?;
                under_way.handle_handed_over(None, now);
            }
            Event::Published { packet, refusal } => {
                let id = under_way.handle_answer(packet, Instant::now());
                match refusal {
                    None => self.confirmed(id, under_way),
                    Some(why) => self.refused(&why),
                }
                if under_way.confirmed.len() >= PAGE || under_way.count() == 0 {
                    self.take_out(under_way).await?;
                }
            }
            Event::Publishing { packet } => under_way.handle_leaving(packet),
            Event::Message(_)
            | Event::Oversized(_)
            | Event::Subscribing { .. }
            | Event::Subscribed { .. }
            | Event::Disconnecting
            | Event::Other => {}
        }
        Ok(())
    }

    /// Hands over as many messages as may be under way.
    async fn hand_over(&self, client: &Client, standing: &mut Standing) -> Result<(), Down> {
        let under_way = &mut standing.under_way;
        while under_way.has_room() {
            if under_way.waiting.is_empty() && under_way.more {
                self.read_outbox(under_way).await?;
            }
            let Some(message) = under_way.waiting.pop_front() else {
                break;
            };
            let correlation = message.correlation.as_ref().map_or(0, Vec::len);
            let size = message.topic.len() + message.payload.len() + correlation + AROUND_A_MESSAGE;
            if size > standing.largest {
                // Sent all the same it would end the connection, and the next.
                self.refused(&format!("its {size} bytes are more than the broker takes"));
                continue;
            }
            let leaving = Leaving {
                topic: &message.topic,
                payload: message.payload,
                retain: message.retain,
                correlation: message.correlation.as_deref(),
            };
            client.publish(leaving).map_err(no_room)?;
            under_way.handle_handed_over(Some(message.id), Instant::now());
        }
        Ok(())
    }

    async fn read_outbox(&self, under_way: &mut UnderWay) -> Result<(), Down> {
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

    fn confirmed(&self, id: Option<i64>, under_way: &mut UnderWay) {
        if let Some(id) = id {
            self.counters.confirmed.fetch_add(1, Ordering::Relaxed);
            under_way.confirmed.push(id);
        }
    }

    fn refused(&self, why: &str) {
        let before = self.counters.refused.fetch_add(1, Ordering::Relaxed);
        if before.is_multiple_of(TELL_EVERY) {
            tracing::error!(
                broker = %self.broker.name,
                "the broker refuses a message; it stays in the outbox: {why}"
            );
        }
    }

    /// Takes what was confirmed out of the outbox.
    async fn take_out(&self, under_way: &mut UnderWay) -> Result<(), Down> {
        if under_way.confirmed.is_empty() {
            return Ok(());
        }
        let ids = std::mem::take(&mut under_way.confirmed);
        let writer = self.writer.clone();
        blocking(move || writer.remove_outbox(ids)).await
    }

    /// The message that tells how we are.
    fn saying(&self, how: &str) -> Leaving<'_> {
        Leaving {
            topic: &self.status_topic,
            payload: status(how),
            retain: true,
            correlation: None,
        }
    }

    /// Says that the daemon is gone, and closes the connection in good order.
    async fn goodbye(&self, client: &Client, events: &mut Events) -> Result<(), Down> {
        client.publish(self.saying("offline")).map_err(no_room)?;
        client.disconnect().map_err(no_room)?;
        let gone = async {
            while let Ok(event) = events.next().await {
                if event == Event::Disconnecting {
                    break;
                }
            }
        };
        // A broker that does not answer is told by the last will instead.
        let _ = tokio::time::timeout(Duration::from_secs(1), gone).await;
        Ok(())
    }
}

/// Sleeps until then; for ever where there is no such time.
async fn sleep_until(time: Option<Instant>) {
    match time {
        Some(time) => tokio::time::sleep_until(time.into()).await,
        None => std::future::pending().await,
    }
}

fn no_room(error: NoRoom) -> Down {
    Down::passing(format!("cannot hand a message to the client: {error}"))
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, StoreError> + Send + 'static,
) -> Result<T, Down> {
    tokio::task::spawn_blocking(work)
        .await
        .map_err(|error| Down::passing(error.to_string()))?
        .map_err(|error| Down::passing(error.to_string()))
}

fn status(word: &str) -> String {
    format!("{{\"status\":\"{word}\"}}")
}
