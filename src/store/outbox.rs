//! The outbox: what waits to be sent, to whom, and what became of it.

use rusqlite::{Connection, Transaction};

use crate::units::Timestamp;

use super::rows::{AnswerRow, Batch, Counts, OutboxRow, SettledRow};
use super::waiting;

/// Unsent answers that are kept. Choice: more than a person waits for.
const ANSWERS: u64 = 64;

/// Messages put aside that are kept. Choice: more than a person looks through.
const ASIDE: i64 = 1000;

/// Why a message was put aside that nobody took in time.
const EXPIRED: &str = "expired: it could not be delivered in time";

/// How many messages came to lie in the outbox and left it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Moved {
    pub(super) added: usize,
    pub(super) removed: usize,
    pub(super) put_aside: usize,
    pub(super) expired: usize,
}

/// How much waits to be sent.
#[derive(Debug, Clone, Copy)]
pub(super) struct Depths {
    /// Messages in the outbox.
    pub(super) outbox: usize,
    /// Things that are to happen later.
    waiting: usize,
    /// Answers so far; each takes the next place of [`ANSWERS`].
    answers: u64,
}

impl Depths {
    /// Counts what a store holds.
    pub(super) fn count(connection: &Connection) -> rusqlite::Result<Depths> {
        let count = |sql| {
            let count = connection.query_row(sql, (), |row| row.get::<_, i64>(0))?;
            Ok::<_, rusqlite::Error>(usize::try_from(count).expect("a count is not negative"))
        };
        Ok(Depths {
            outbox: count("SELECT count(*) FROM outbox")?,
            waiting: count("SELECT count(*) FROM waiting")?,
            answers: 0,
        })
    }

    /// Writes what the batches say of messages, and drops what is more than
    /// `limit`.
    pub(super) fn write<A>(
        &mut self,
        transaction: &Transaction<'_>,
        batches: &[Batch<A>],
        delivered: &[i64],
        limit: usize,
        counts: &mut Counts,
    ) -> rusqlite::Result<()> {
        let mut moved = Moved::default();
        settle(transaction, batches, delivered, &mut moved)?;
        // Messages to people come with what is to happen later, and before the
        // topics that all machines read.
        let changes = batches.iter().flat_map(|batch| &batch.waiting);
        let more = waiting::change(transaction, changes, &mut moved)?;
        for row in batches.iter().flat_map(|batch| &batch.outbox) {
            add(transaction, row, &mut moved)?;
        }
        let asked = batches.iter().flat_map(|batch| &batch.answers);
        self.answers = answer(transaction, asked, self.answers, &mut moved)?;
        let gone = moved.removed + moved.put_aside + moved.expired;
        let outbox = (self.outbox + moved.added).saturating_sub(gone);
        let waiting = self.waiting.saturating_add_signed(more);
        counts.outbox_added = moved.added as u64;
        counts.put_aside = moved.put_aside as u64;
        counts.expired = moved.expired as u64;
        counts.outbox_dropped = drop_oldest(transaction, outbox.saturating_sub(limit))?
            + waiting::drop_oldest(transaction, waiting.saturating_sub(limit))?;
        self.outbox = outbox.min(limit);
        self.waiting = waiting.min(limit);
        Ok(())
    }
}

/// Adds a message; in its slot it takes the place of the one before.
pub(super) fn add(
    transaction: &Transaction<'_>,
    row: &OutboxRow,
    moved: &mut Moved,
) -> rusqlite::Result<()> {
    if let Some(slot) = &row.slot {
        moved.removed += free(transaction, slot)?;
    }
    transaction
        .prepare_cached(
            "INSERT INTO outbox (topic, payload, retain, slot, created, receiver, message, expires)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        )?
        .execute((
            &row.topic,
            &row.payload,
            row.retain,
            &row.slot,
            row.created.millis(),
            &row.receiver,
            &row.message,
            row.expires.map(Timestamp::millis),
        ))?;
    moved.added += 1;
    Ok(())
}

/// Takes out what was delivered, and notes what became of other attempts.
fn settle<A>(
    transaction: &Transaction<'_>,
    batches: &[Batch<A>],
    delivered: &[i64],
    moved: &mut Moved,
) -> rusqlite::Result<()> {
    for id in delivered {
        moved.removed += remove(transaction, *id)?;
    }
    for settled in batches.iter().flat_map(|batch| &batch.settled) {
        match settled {
            SettledRow::Delivered { id } => moved.removed += remove(transaction, *id)?,
            SettledRow::Again { id, at } => {
                transaction
                    .prepare_cached(
                        "UPDATE outbox SET attempts = attempts + 1, next_attempt = ?2 WHERE id = ?1",
                    )?
                    .execute((id, at.millis()))?;
            }
            SettledRow::PutAside { id, time, why } => {
                copy_aside(transaction, "id = ?3", (time.millis(), why, *id))?;
                moved.put_aside += remove(transaction, *id)?;
            }
        }
    }
    for now in batches.iter().filter_map(|batch| batch.expire) {
        let millis = now.millis();
        copy_aside(transaction, "expires <= ?3", (millis, EXPIRED, millis))?;
        moved.expired += transaction
            .prepare_cached("DELETE FROM outbox WHERE expires <= ?1")?
            .execute([millis])?;
    }
    if moved.put_aside + moved.expired > 0 {
        transaction
            .prepare_cached(
                "DELETE FROM put_aside WHERE id <= (SELECT max(id) FROM put_aside) - ?1",
            )?
            .execute([ASIDE])?;
    }
    Ok(())
}

/// Keeps a copy of messages that are given up.
fn copy_aside(
    transaction: &Transaction<'_>,
    which: &str,
    (time, why, key): (i64, &str, i64),
) -> rusqlite::Result<()> {
    let sql = format!(
        "INSERT INTO put_aside (receiver, message, topic, payload, created, attempts, time, why)
         SELECT receiver, message, topic, payload, created, attempts, ?1, ?2 FROM outbox
         WHERE {which} ORDER BY id"
    );
    transaction
        .prepare_cached(&sql)?
        .execute((time, why, key))?;
    Ok(())
}

fn remove(transaction: &Transaction<'_>, id: i64) -> rusqlite::Result<usize> {
    transaction
        .prepare_cached("DELETE FROM outbox WHERE id = ?1")?
        .execute([id])
}

/// Takes out the unsent message in this slot.
fn free(transaction: &Transaction<'_>, slot: &str) -> rusqlite::Result<usize> {
    transaction
        .prepare_cached("DELETE FROM outbox WHERE slot = ?1")?
        .execute([slot])
}

/// Adds answers, each in the place of the unsent one that is [`ANSWERS`] older.
/// Gives the number of answers afterwards.
fn answer<'r>(
    transaction: &Transaction<'_>,
    rows: impl Iterator<Item = &'r AnswerRow>,
    mut answers: u64,
    moved: &mut Moved,
) -> rusqlite::Result<u64> {
    for row in rows {
        let slot = format!("answer/{}", answers % ANSWERS);
        answers += 1;
        moved.removed += free(transaction, &slot)?;
        moved.added += 1;
        transaction
            .prepare_cached(
                "INSERT INTO outbox (topic, payload, retain, slot, created, correlation)
                 VALUES (?1, ?2, FALSE, ?3, ?4, ?5)",
            )?
            .execute((
                &row.topic,
                &row.payload,
                slot,
                row.created.millis(),
                &row.correlation,
            ))?;
    }
    Ok(answers)
}

/// Drops so many messages, each time the oldest of the receiver with the most:
/// one that takes nothing pushes nobody else's out.
fn drop_oldest(transaction: &Transaction<'_>, mut excess: usize) -> rusqlite::Result<u64> {
    let mut dropped = 0;
    while excess > 0 {
        let (fullest, count): (String, i64) = transaction
            .prepare_cached(
                "SELECT receiver, count(*) FROM outbox GROUP BY receiver
                 ORDER BY count(*) DESC LIMIT 1",
            )?
            .query_row((), |row| Ok((row.get(0)?, row.get(1)?)))?;
        let some = excess.min(usize::try_from(count).expect("a count is not negative"));
        transaction
            .prepare_cached(
                "DELETE FROM outbox WHERE id IN
                 (SELECT id FROM outbox WHERE receiver = ?1 ORDER BY id LIMIT ?2)",
            )?
            .execute((fullest, some as i64))?;
        dropped += some as u64;
        excess -= some;
    }
    Ok(dropped)
}
