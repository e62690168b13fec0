//! Does what has fallen due: messages that waited for working hours, alarms that
//! nobody acknowledged, digests, summaries of floods, and messages that nobody
//! took in time.
//!
//! Whatever it does is one transaction with what it was kept by: a kill at any
//! instant leaves it either done or due.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;
use std::time::Duration;

use tokio_util::sync::CancellationToken;

use crate::ingest::Ack;
use crate::notify::{self, Address, DigestDue, Post};
use crate::settings::{Contact, Settings};
use crate::store::{
    BROKER, Batch, CursorRow, Reader, StoreError, StoredWaiting, WaitingChange, WriterHandle,
};
use crate::units::Timestamp;

use super::Clock;
use super::digest::{digest, midnights};

/// How often it looks. Choice: nobody minds a second.
const LOOK_EVERY: Duration = Duration::from_secs(1);
/// Most things that are done at once.
const AT_ONCE: usize = 64;
/// Beginning of the names of the cursors that tell of digests.
const DIGESTS: &str = "digest/";

/// What looks and does.
pub(super) struct Desk {
    pub(super) settings: Arc<Settings>,
    pub(super) post: Post,
    pub(super) writer: WriterHandle<Ack>,
    pub(super) clock: Clock,
}

/// Why something that is due cannot be done.
#[derive(Debug, thiserror::Error)]
enum Failed {
    #[error(transparent)]
    Store(#[from] StoreError),
    #[error(transparent)]
    Unreadable(#[from] notify::Unreadable),
}

/// What it keeps in mind.
struct Kept {
    reader: Reader,
    /// The time of each contact's last digest.
    digests: HashMap<String, Timestamp>,
}

impl Desk {
    /// Works until `stop`.
    pub(super) async fn run(self, stop: CancellationToken) {
        let desk = Arc::new(self);
        let mut every = tokio::time::interval(LOOK_EVERY);
        every.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
        let mut kept = None;
        loop {
            tokio::select! {
                () = stop.cancelled() => return,
                _ = every.tick() => {}
            }
            let (working, mine) = (Arc::clone(&desk), kept.take());
            let look = tokio::task::spawn_blocking(move || working.look(mine));
            // What cannot be done now is still due.
            match look.await {
                Ok(Ok(now_kept)) => kept = Some(now_kept),
                Ok(Err(StoreError::Stopped)) | Err(_) => return,
                Ok(Err(error)) => tracing::warn!("what is due waits: {error}"),
            }
        }
    }

    fn look(&self, kept: Option<Kept>) -> Result<Kept, StoreError> {
        let mut kept = kept.map_or_else(|| self.begin(), Ok)?;
        let now = self.clock.now();
        let mut batch = Batch {
            urgent: true,
            ..Batch::default()
        };
        for due in kept.reader.due(now, AT_ONCE)? {
            batch.waiting.extend(self.happen(&kept.reader, &due, now)?);
        }
        let expired = kept.reader.expired(now)?;
        if expired > 0 {
            tracing::error!(
                expired,
                "messages were not delivered in time and are put aside"
            );
            batch.expire = Some(now);
        }
        let summed = self.post.summaries(&kept.reader, now)?;
        batch.waiting.extend(summed.waiting);
        batch.cursors.extend(summed.cursors);
        self.digests(&mut kept, now, &mut batch);
        if batch.rows() > 0 {
            self.writer.submit(batch)?;
            self.writer.flush()?;
        }
        Ok(kept)
    }

    /// Reads where it stood; tells of receivers that there are no more.
    fn begin(&self) -> Result<Kept, StoreError> {
        let reader = Reader::open(&self.settings.store.folder)?;
        let addresses = Address::all(&self.settings);
        let known: BTreeSet<&str> = addresses
            .iter()
            .map(|address| address.receiver.as_str())
            .collect();
        for (receiver, count) in reader.receivers()? {
            if receiver != BROKER && !known.contains(receiver.as_str()) {
                tracing::warn!(
                    receiver,
                    count,
                    "messages wait for a receiver that no setting names; they are put aside when they expire"
                );
            }
        }
        let cursors = reader.cursors(DIGESTS)?.into_iter();
        let digests = cursors.map(|cursor| {
            let name = cursor.name.trim_start_matches(DIGESTS).to_owned();
            (name, Timestamp::from_millis(cursor.position.cast_signed()))
        });
        Ok(Kept {
            digests: digests.collect(),
            reader,
        })
    }

    fn happen(
        &self,
        reader: &Reader,
        due: &StoredWaiting,
        now: Timestamp,
    ) -> Result<Vec<WaitingChange>, StoreError> {
        let under = |subject: &str| Ok(reader.waiting_under(subject, AT_ONCE)?);
        let outcome = match notify::happen(&due.body, &self.post, now, under) {
            Ok(outcome) => outcome,
            Err(Failed::Store(error)) => return Err(error),
            Err(Failed::Unreadable(error)) => {
                tracing::error!("{error}");
                notify::Outcome::default()
            }
        };
        if let Some(remark) = outcome.remark {
            tracing::info!("{remark}");
        }
        let own = WaitingChange::Take {
            id: due.id,
            then: outcome.then,
        };
        let also = outcome.also.into_iter().map(|taken| WaitingChange::Take {
            id: taken.id,
            then: taken.then,
        });
        Ok(std::iter::once(own).chain(also).collect())
    }

    fn digests(&self, kept: &mut Kept, now: Timestamp, batch: &mut Batch<Ack>) {
        for contact in &self.settings.contacts {
            let last = kept.digests.get(&*contact.name).copied();
            let time = match notify::digest_due(contact, last, now) {
                DigestDue::Not => continue,
                DigestDue::PassedOver(time) => time,
                DigestDue::Send(time) => {
                    self.write_digest(&kept.reader, contact, now, batch);
                    time
                }
            };
            kept.digests.insert(contact.name.to_string(), time);
            batch.cursors.push(CursorRow {
                name: format!("{DIGESTS}{}", contact.name),
                position: Some(time.millis().unsigned_abs()),
                moved_at: now,
            });
        }
    }

    fn write_digest(
        &self,
        reader: &Reader,
        contact: &Contact,
        now: Timestamp,
        batch: &mut Batch<Ack>,
    ) {
        let day = notify::day_of(contact, now);
        let span = day.and_then(|day| Some((day, midnights(contact, day)?)));
        let Some((day, midnights)) = span else {
            return;
        };
        match digest(&self.settings, reader, contact, midnights) {
            Ok(digest) => {
                let plant = &self.settings.plant.name;
                let note = digest.note(plant, day, now, contact, self.post.texts());
                let outbox = self.post.written(contact, &note);
                batch.waiting.push(WaitingChange::Send { outbox });
            }
            Err(error) => {
                tracing::error!(contact = %contact.name, "no digest today: {error}");
            }
        }
    }
}
