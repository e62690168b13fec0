//! From when to when the store keeps anything.

use std::ops::ControlFlow;

use crate::units::Timestamp;

use super::super::error::StoreError;
use super::Reader;

impl Reader {
    /// The times of the first and the last line of the journal; nothing where
    /// there is none.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn journal_times(&self) -> Result<Option<(Timestamp, Timestamp)>, StoreError> {
        let first = self.end("SELECT time FROM journal ORDER BY time, sump, seq LIMIT 1")?;
        let last =
            self.end("SELECT time FROM journal ORDER BY time DESC, sump DESC, seq DESC LIMIT 1")?;
        Ok(first.zip(last))
    }

    /// The times of the first and the newest value of any series; nothing where
    /// there is none.
    ///
    /// # Errors
    /// When the store cannot be read.
    pub fn value_times(&self) -> Result<Option<(Timestamp, Timestamp)>, StoreError> {
        let mut first = None;
        self.range(Timestamp::MIN, Timestamp::MAX, |one| {
            first = Some(one.time);
            ControlFlow::Break(())
        })?;
        let newest = self.first(
            "WITH packed AS (SELECT value AS until FROM meta WHERE name = 'packed_to')
             SELECT max(time) FROM (
                SELECT max(time) AS time FROM readings
                UNION ALL SELECT max(time) FROM late_readings
                UNION ALL SELECT max(last) FROM blocks, packed WHERE first < until)",
            (),
            |row| row.get::<_, Option<i64>>(0),
        )?;
        let newest = newest.flatten().map(Timestamp::from_millis);
        Ok(first.map(|first| (first, newest.unwrap_or(first).max(first))))
    }

    fn end(&self, sql: &str) -> Result<Option<Timestamp>, StoreError> {
        self.first(sql, (), |row| row.get(0).map(Timestamp::from_millis))
    }
}
