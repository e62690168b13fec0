//! How far the keeper has come with what is settled.

use rusqlite::Connection;

/// Times up to which something has been done, ms; see `schema_5.sql`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Frontiers {
    /// Every value before is in blocks or among the late ones.
    pub(super) packed_to: i64,
    /// A value before is a late one.
    pub(super) settling_to: i64,
    /// Complete hours before are rolled up.
    pub(super) rolled_to: i64,
    /// Readings before were deleted.
    pub(super) raw_from: i64,
}

/// The names in `meta`.
pub(super) const PACKED_TO: &str = "packed_to";
pub(super) const SETTLING_TO: &str = "settling_to";
pub(super) const ROLLED_TO: &str = "rolled_to";
pub(super) const RAW_FROM: &str = "raw_from";

impl Frontiers {
    /// Reads them.
    pub(super) fn read(connection: &Connection) -> rusqlite::Result<Frontiers> {
        let mut select = connection.prepare_cached("SELECT value FROM meta WHERE name = ?1")?;
        let mut get = |name: &str| select.query_row([name], |row| row.get(0));
        Ok(Frontiers {
            packed_to: get(PACKED_TO)?,
            settling_to: get(SETTLING_TO)?,
            rolled_to: get(ROLLED_TO)?,
            raw_from: get(RAW_FROM)?,
        })
    }
}

/// Moves one of them on, never back.
pub(super) fn advance(connection: &Connection, name: &str, to: i64) -> rusqlite::Result<usize> {
    connection
        .prepare_cached("UPDATE meta SET value = max(value, ?2) WHERE name = ?1")?
        .execute((name, to))
}
