//! Reading what waits to be sent to people, what is due later, and what was put
//! aside.

use crate::units::Timestamp;

use super::error::StoreError;
use super::reader::Reader;

/// One unsent message to a person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredLetter {
    /// Its id in the outbox; ids grow and never come back.
    pub id: i64,
    /// By which whoever gets it knows it again.
    pub message: String,
    /// What it says.
    pub payload: String,
    /// When it was made.
    pub created: Timestamp,
    /// Attempts that have failed.
    pub attempts: u32,
    /// Not before then.
    pub next_attempt: Timestamp,
}

/// How the outbox stands for one receiver.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitingLetters {
    /// Whom they are for.
    pub receiver: String,
    /// Unsent messages.
    pub count: u64,
    /// When the oldest of them was made.
    pub oldest: Timestamp,
}

/// Something that is to happen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredWaiting {
    /// Its id; ids grow and never come back.
    pub id: i64,
    /// When it is due.
    pub due: Timestamp,
    /// What it is, as JSON.
    pub body: String,
}

/// A message that was given up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredAside {
    /// Whom it was for.
    pub receiver: String,
    /// By which its receiver would have known it.
    pub message: Option<String>,
    /// What it says.
    pub payload: String,
    /// When it was made.
    pub created: Timestamp,
    /// Attempts that failed before.
    pub attempts: u32,
    /// When it was given up.
    pub time: Timestamp,
    /// Why.
    pub why: String,
}

impl Reader {
    /// The first unsent message to a receiver that has not expired at `now`.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn first_letter(
        &self,
        receiver: &str,
        now: Timestamp,
    ) -> Result<Option<StoredLetter>, StoreError> {
        self.first(
            "SELECT id, coalesce(message, 'outbox-' || id), payload, created, attempts, next_attempt
             FROM outbox WHERE receiver = ?1 AND (expires IS NULL OR expires > ?2)
             ORDER BY id LIMIT 1",
            (receiver, now.millis()),
            |row| {
                Ok(StoredLetter {
                    id: row.get(0)?,
                    message: row.get(1)?,
                    payload: row.get(2)?,
                    created: Timestamp::from_millis(row.get(3)?),
                    attempts: row.get(4)?,
                    next_attempt: Timestamp::from_millis(row.get(5)?),
                })
            },
        )
    }

    /// Unsent messages by receiver.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn receivers(&self) -> Result<Vec<(String, u64)>, StoreError> {
        self.list(
            "SELECT receiver, count(*) FROM outbox GROUP BY receiver ORDER BY receiver",
            (),
            |row| Ok((row.get(0)?, row.get::<_, i64>(1)?.cast_unsigned())),
        )
    }

    /// How the outbox stands for each receiver.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn waiting_letters(&self) -> Result<Vec<WaitingLetters>, StoreError> {
        self.list(
            "SELECT receiver, count(*), min(created) FROM outbox GROUP BY receiver ORDER BY receiver",
            (),
            |row| {
                Ok(WaitingLetters {
                    receiver: row.get(0)?,
                    count: row.get::<_, i64>(1)?.cast_unsigned(),
                    oldest: Timestamp::from_millis(row.get(2)?),
                })
            },
        )
    }

    /// Unsent messages that nobody took in time.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn expired(&self, now: Timestamp) -> Result<u64, StoreError> {
        self.count(
            "SELECT count(*) FROM outbox WHERE expires <= ?1",
            [now.millis()],
        )
    }

    /// What is due at `now`, in the order in which it falls due, `limit` at
    /// most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn due(&self, now: Timestamp, limit: usize) -> Result<Vec<StoredWaiting>, StoreError> {
        self.list(
            "SELECT id, due, body FROM waiting WHERE due <= ?1 ORDER BY due, id LIMIT ?2",
            (now.millis(), limit as i64),
            |row| {
                Ok(StoredWaiting {
                    id: row.get(0)?,
                    due: Timestamp::from_millis(row.get(1)?),
                    body: row.get(2)?,
                })
            },
        )
    }

    /// What waits under a subject, in the order in which it came, `limit` at
    /// most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn waiting_under(
        &self,
        subject: &str,
        limit: usize,
    ) -> Result<Vec<StoredWaiting>, StoreError> {
        self.list(
            "SELECT id, due, body FROM waiting WHERE subject = ?1 ORDER BY id LIMIT ?2",
            (subject, limit as i64),
            |row| {
                Ok(StoredWaiting {
                    id: row.get(0)?,
                    due: Timestamp::from_millis(row.get(1)?),
                    body: row.get(2)?,
                })
            },
        )
    }

    /// The subjects that begin so and under which something waits, 1000 at
    /// most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn waiting_subjects(&self, beginning: &str) -> Result<Vec<String>, StoreError> {
        // No letter comes behind this one.
        let end = format!("{beginning}\u{10ffff}");
        self.list(
            "SELECT DISTINCT subject FROM waiting WHERE subject >= ?1 AND subject < ?2
             ORDER BY subject LIMIT 1000",
            (beginning, end),
            |row| row.get(0),
        )
    }

    /// How much waits under each subject that begins so.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn waiting_counts(&self, beginning: &str) -> Result<Vec<(String, u64)>, StoreError> {
        let end = format!("{beginning}\u{10ffff}");
        self.list(
            "SELECT subject, count(*) FROM waiting WHERE subject >= ?1 AND subject < ?2
             GROUP BY subject ORDER BY subject",
            (beginning, end),
            |row| Ok((row.get(0)?, row.get::<_, i64>(1)?.cast_unsigned())),
        )
    }

    /// The steps of an alarm from `since` on, by its sump and condition, as JSON
    /// with their times; the first `limit` of them.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn alarm_lines(
        &self,
        sump: &str,
        condition: &str,
        since: Timestamp,
        limit: usize,
    ) -> Result<Vec<(Timestamp, String)>, StoreError> {
        self.list(
            "SELECT time, body FROM journal
             WHERE time >= ?1 AND sump = ?2 AND kind = 'alarm'
                 AND json_extract(body, '$.condition') = ?3
             ORDER BY time, seq LIMIT ?4",
            (since.millis(), sump, condition, limit as i64),
            |row| Ok((Timestamp::from_millis(row.get(0)?), row.get(1)?)),
        )
    }

    /// Messages that were given up, the newest first, `limit` at most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn put_aside(&self, limit: usize) -> Result<Vec<StoredAside>, StoreError> {
        self.list(
            "SELECT receiver, message, payload, created, attempts, time, why FROM put_aside
             ORDER BY id DESC LIMIT ?1",
            [limit as i64],
            |row| {
                Ok(StoredAside {
                    receiver: row.get(0)?,
                    message: row.get(1)?,
                    payload: row.get(2)?,
                    created: Timestamp::from_millis(row.get(3)?),
                    attempts: row.get(4)?,
                    time: Timestamp::from_millis(row.get(5)?),
                    why: row.get(6)?,
                })
            },
        )
    }
}
