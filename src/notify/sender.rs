//! From the outbox to one receiver: one message after the other, each until it
//! has arrived, is refused for good or expires.

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};
use std::time::Duration;

use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use crate::settings::{MailSettings, Settings, WebhookSettings};
use crate::store::{Batch, Reader, SettledRow, StoreError, StoredLetter, WriterHandle};
use crate::units::{Span, Timestamp};

use super::delivery::Undelivered;
use super::dialogue::Dialogue;
use super::mime::Mail;
use super::post::Road;
use super::{smtp, webhook};

/// The pause after the first failure; doubled after each further one.
const FIRST_PAUSE: Span = Span::from_secs(1);
/// The longest pause. Choice: soon enough for an alarm once the server is back.
const LONGEST_PAUSE: Span = Span::from_mins(5);
/// The outbox is looked at this often even if nobody woke us.
const LOOK_EVERY: Duration = Duration::from_secs(30);
/// After the store could not be read.
const STORE_PAUSE: Duration = Duration::from_secs(5);

/// Counts of all senders together.
#[derive(Debug, Default)]
pub struct SenderCounters {
    /// Messages that arrived.
    pub delivered: AtomicU64,
    /// Attempts that failed and are made again.
    pub failed: AtomicU64,
    /// Messages that were refused for good.
    pub refused: AtomicU64,
}

/// Where a contact's messages on one road go.
#[derive(Debug, Clone)]
pub struct Address {
    /// The receiver in the outbox.
    pub receiver: String,
    way: Way,
}

#[derive(Debug, Clone)]
enum Way {
    Mail { server: MailSettings, to: String },
    Webhook(WebhookSettings),
}

impl Address {
    /// The addresses of all contacts, by name.
    pub fn all(settings: &Settings) -> Vec<Address> {
        let each = settings.contacts.iter();
        each.flat_map(|contact| Address::of(settings, contact))
            .collect()
    }

    /// The addresses of one contact.
    pub fn of(settings: &Settings, contact: &crate::settings::Contact) -> Vec<Address> {
        let mail = contact.mail.as_ref().zip(settings.messages.mail.as_ref());
        let mail = mail.map(|(to, server)| Address {
            receiver: Road::Mail.receiver(&contact.name),
            way: Way::Mail {
                server: server.clone(),
                to: to.clone(),
            },
        });
        let webhook = contact.webhook.map(|place| Address {
            receiver: Road::Webhook.receiver(&contact.name),
            way: Way::Webhook(settings.messages.webhooks[place].clone()),
        });
        mail.into_iter().chain(webhook).collect()
    }

    /// Which road it is.
    pub fn road(&self) -> Road {
        match self.way {
            Way::Mail { .. } => Road::Mail,
            Way::Webhook(_) => Road::Webhook,
        }
    }

    /// Delivers one message at `now`.
    ///
    /// # Errors
    /// When it did not arrive.
    pub async fn deliver(
        &self,
        letter: &StoredLetter,
        now: Timestamp,
        dialogue: &mut Dialogue,
    ) -> Result<(), Undelivered> {
        match &self.way {
            Way::Mail { server, to } => {
                let mail = Mail {
                    from: &server.from,
                    to,
                    text: &letter.payload,
                    time: letter.created,
                    id: &letter.message,
                };
                smtp::send(server, &mail, dialogue).await
            }
            Way::Webhook(settings) => webhook::post(settings, letter, now, dialogue).await,
        }
    }
}

/// Sends one receiver's messages.
pub struct Sender<A> {
    /// Whose they are.
    pub address: Address,
    /// Folder of the store.
    pub folder: PathBuf,
    /// Notes what became of them.
    pub writer: WriterHandle<A>,
    /// Changes when the outbox got something new.
    pub posted: watch::Receiver<u64>,
    /// The time.
    pub now: Arc<dyn Fn() -> Timestamp + Send + Sync>,
    /// What it counts.
    pub counters: Arc<SenderCounters>,
}

impl<A: Send + 'static> Sender<A> {
    /// Works until `stop`. A message under way is then given up and sent again
    /// at the next start, with the same id.
    pub async fn run(mut self, stop: CancellationToken) {
        tokio::select! {
            () = stop.cancelled() => {}
            () = self.work() => {}
        }
    }

    async fn work(&mut self) {
        let mut kept = None;
        loop {
            self.posted.mark_unchanged();
            let letter = match self.first(kept.take()).await {
                Ok((reader, letter)) => {
                    kept = Some(reader);
                    letter
                }
                Err(error) => {
                    tracing::warn!(receiver = %self.address.receiver, "{error}");
                    tokio::time::sleep(STORE_PAUSE).await;
                    continue;
                }
            };
            let now = (self.now)();
            match letter {
                Some(letter) if is_due(letter.next_attempt, now) => {
                    let settled = self.attempt(&letter, now).await;
                    if !self.settle(settled).await {
                        return;
                    }
                }
                Some(letter) => {
                    // What comes new waits behind it.
                    let pause = (letter.next_attempt - now).millis().unsigned_abs();
                    tokio::time::sleep(Duration::from_millis(pause).min(LOOK_EVERY)).await;
                }
                None => {
                    let woken = tokio::time::timeout(LOOK_EVERY, self.posted.changed()).await;
                    if matches!(woken, Ok(Err(_))) {
                        // The store has been closed.
                        return;
                    }
                }
            }
        }
    }

    async fn first(
        &self,
        kept: Option<Reader>,
    ) -> Result<(Reader, Option<StoredLetter>), StoreError> {
        let (folder, receiver) = (self.folder.clone(), self.address.receiver.clone());
        let now = (self.now)();
        let read = tokio::task::spawn_blocking(move || {
            let reader = kept.map_or_else(|| Reader::open(&folder), Ok)?;
            let letter = reader.first_letter(&receiver, now)?;
            Ok((reader, letter))
        });
        read.await.map_err(|_| StoreError::Stopped)?
    }

    async fn attempt(&self, letter: &StoredLetter, now: Timestamp) -> SettledRow {
        let id = letter.id;
        let mut dialogue = Dialogue::default();
        let outcome = self.address.deliver(letter, now, &mut dialogue).await;
        let receiver = self.address.receiver.as_str();
        let message = letter.message.as_str();
        for line in dialogue.lines() {
            tracing::debug!(receiver, message, "{line}");
        }
        match outcome {
            Ok(()) => {
                self.counters.delivered.fetch_add(1, Relaxed);
                tracing::debug!(receiver, message, "delivered");
                if letter.attempts > 0 {
                    tracing::info!(receiver, "takes messages again");
                }
                SettledRow::Delivered { id }
            }
            Err(Undelivered::Passing(why)) => {
                self.counters.failed.fetch_add(1, Relaxed);
                let failures = letter.attempts + 1;
                if failures.is_power_of_two() {
                    tracing::warn!(receiver, message, failures, "a message waits: {why}");
                }
                let at = (self.now)() + pause(letter.attempts);
                SettledRow::Again { id, at }
            }
            Err(Undelivered::Refused(why)) => {
                self.counters.refused.fetch_add(1, Relaxed);
                tracing::error!(receiver, message, "a message is put aside: {why}");
                let time = (self.now)();
                SettledRow::PutAside { id, time, why }
            }
        }
    }

    /// Waits until it is on the disk, so that nothing is sent again that has
    /// arrived. `false` when the store is gone.
    async fn settle(&self, settled: SettledRow) -> bool {
        let writer = self.writer.clone();
        let batch = Batch {
            settled: vec![settled],
            urgent: true,
            ..Batch::default()
        };
        let written = tokio::task::spawn_blocking(move || {
            writer.submit(batch)?;
            writer.flush()
        });
        matches!(written.await, Ok(Ok(())))
    }
}

/// Whether an attempt is due. No pause is as long as the longest; one that seems
/// to be is left from before the clock was set back.
fn is_due(next: Timestamp, now: Timestamp) -> bool {
    next <= now || next - now > LONGEST_PAUSE
}

/// The pause after so many failures before.
fn pause(failures: u32) -> Span {
    let millis = FIRST_PAUSE.millis() << failures.min(20);
    Span::from_millis(millis).min(LONGEST_PAUSE)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pauses_grow_to_the_longest() {
        assert_eq!(pause(0), FIRST_PAUSE);
        assert_eq!(pause(3), Span::from_secs(8));
        assert_eq!(pause(9), LONGEST_PAUSE);
        assert_eq!(pause(u32::MAX), LONGEST_PAUSE);
    }

    #[test]
    fn a_clock_that_was_set_back_stops_nothing() {
        let now = Timestamp::from_millis(1_000_000_000);
        assert!(is_due(now, now));
        assert!(!is_due(now + LONGEST_PAUSE, now));
        assert!(is_due(now + Span::from_hours(9), now));
    }
}
