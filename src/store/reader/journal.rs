//! Reading the journal.

use rusqlite::Row;

use crate::units::Timestamp;

use super::super::error::StoreError;
use super::Reader;

/// One line of the journal, as stored. The order is that of the journal.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct StoredJournal {
    /// The sump's time when it was written.
    pub time: Timestamp,
    /// The sump.
    pub sump: String,
    /// Counts the sump's lines.
    pub seq: u64,
    /// What kind of line it is.
    pub kind: String,
    /// The line, as JSON.
    pub body: String,
}

/// Where to go on in the journal: after the line with this key.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct JournalKey {
    /// The line's time.
    pub time: Timestamp,
    /// The line's sump.
    pub sump: String,
    /// The line's number.
    pub seq: u64,
}

impl StoredJournal {
    /// The key of this line.
    pub fn key(&self) -> JournalKey {
        JournalKey {
            time: self.time,
            sump: self.sump.clone(),
            seq: self.seq,
        }
    }
}

impl Reader {
    /// Lines of the journal in its order, from the beginning or after a line,
    /// `limit` at most.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal(
        &self,
        after: Option<&JournalKey>,
        limit: usize,
    ) -> Result<Vec<StoredJournal>, StoreError> {
        let (time, sump, seq) = place(after);
        self.list(
            "SELECT time, sump, seq, kind, body FROM journal
             WHERE (time, sump, seq) > (?1, ?2, ?3) ORDER BY time, sump, seq LIMIT ?4",
            (time, sump, seq, limit as i64),
            journal_line,
        )
    }

    /// The same of one kind alone. Lines of other kinds are read over.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal_of_kind(
        &self,
        kind: &str,
        after: Option<&JournalKey>,
        limit: usize,
    ) -> Result<Vec<StoredJournal>, StoreError> {
        let (time, sump, seq) = place(after);
        self.list(
            "SELECT time, sump, seq, kind, body FROM journal
             WHERE (time, sump, seq) > (?1, ?2, ?3) AND kind = ?4
             ORDER BY time, sump, seq LIMIT ?5",
            (time, sump, seq, kind, limit as i64),
            journal_line,
        )
    }

    /// Lines of the journal of this time and later, in its order, `limit` at
    /// most: of more the newest.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal_since(
        &self,
        since: Timestamp,
        limit: usize,
    ) -> Result<Vec<StoredJournal>, StoreError> {
        let mut lines = self.list(
            "SELECT time, sump, seq, kind, body FROM journal WHERE time >= ?1
             ORDER BY time DESC, sump DESC, seq DESC LIMIT ?2",
            (since.millis(), limit as i64),
            journal_line,
        )?;
        lines.reverse();
        Ok(lines)
    }

    /// Number of journal lines of a kind; with `field`, only those whose body
    /// has this text in the field of this name at its top.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn count_journal(
        &self,
        kind: &str,
        field: Option<(&str, &str)>,
    ) -> Result<u64, StoreError> {
        let Some((name, text)) = field else {
            return self.count("SELECT count(*) FROM journal WHERE kind = ?1", [kind]);
        };
        self.count(
            "SELECT count(*) FROM journal WHERE kind = ?1
             AND iif(json_valid(body), json_extract(body, '$.' || ?2) = ?3, FALSE)",
            (kind, format!("\"{name}\""), text),
        )
    }

    /// Whether the journal holds an entry of this sump with this id.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn has_entry(&self, sump: &str, id: &str) -> Result<bool, StoreError> {
        let found = self.first(
            "SELECT 1 FROM journal WHERE kind = 'entry' AND sump = ?1
             AND iif(json_valid(body), json_extract(body, '$.entry.id'), NULL) = ?2",
            (sump, id),
            |_| Ok(()),
        )?;
        Ok(found.is_some())
    }
}

/// Where to go on: after this line, or from the beginning.
fn place(after: Option<&JournalKey>) -> (i64, &str, i64) {
    match after {
        Some(key) => (key.time.millis(), key.sump.as_str(), key.seq as i64),
        None => (i64::MIN, "", i64::MIN),
    }
}

pub(super) fn journal_line(row: &Row<'_>) -> rusqlite::Result<StoredJournal> {
    Ok(StoredJournal {
        time: Timestamp::from_millis(row.get(0)?),
        sump: row.get(1)?,
        seq: row.get::<_, i64>(2)? as u64,
        kind: row.get(3)?,
        body: row.get(4)?,
    })
}
