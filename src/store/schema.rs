//! The schema's versions and how a file is brought to the newest one.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use super::error::StoreError;
use super::packing;

/// What brings a file from schema `n` to schema `n + 1`, in order. Only ever
/// appended to: files written by any earlier version are out there.
const MIGRATIONS: [&str; 6] = [
    include_str!("schema.sql"),
    include_str!("schema_2.sql"),
    include_str!("schema_3.sql"),
    include_str!("schema_4.sql"),
    include_str!("schema_5.sql"),
    include_str!("schema_6.sql"),
];

/// Marks the file as ours, in SQLite's `application_id`: "Sump" in ASCII.
pub(super) const APPLICATION_ID: i64 = 0x5375_6d70;

/// The newest schema known here.
pub(super) const NEWEST: i64 = MIGRATIONS.len() as i64;

/// Schemas that brought a new format of blocks with them, and that format: a file whose
/// blocks an older program cannot read has a schema that it refuses.
const BLOCK_FORMATS: [(i64, u8); 2] = [(5, 1), (6, 2)];

const _: () = {
    let (schema, format) = BLOCK_FORMATS[BLOCK_FORMATS.len() - 1];
    assert!(format == packing::NEWEST_FORMAT && schema <= NEWEST);
};

/// What lies in a file that can be opened as a database.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Content {
    /// Nothing yet.
    Empty,
    /// A store with this schema, which is known here.
    Schema(i64),
}

/// Looks at a file without changing it.
///
/// # Errors
/// When it is somebody else's database or has a newer schema.
pub(super) fn look(connection: &Connection, path: &Path) -> Result<Content, StoreError> {
    let ask = |sql| {
        connection
            .query_row(sql, (), |row| row.get::<_, i64>(0))
            .map_err(StoreError::doing("read its own header"))
    };
    let found = ask("PRAGMA user_version")?;
    match ask("PRAGMA application_id")? {
        APPLICATION_ID if found > NEWEST => Err(StoreError::Newer {
            path: path.to_owned(),
            found,
            known: NEWEST,
        }),
        APPLICATION_ID => Ok(Content::Schema(found)),
        0 if found == 0 && ask("SELECT count(*) FROM sqlite_schema")? == 0 => Ok(Content::Empty),
        _ => Err(StoreError::NotAStore {
            path: path.to_owned(),
            reason: "it is a database of another program",
        }),
    }
}

/// Brings the file to the newest schema, one transaction a step.
pub(super) fn migrate(connection: &mut Connection, content: Content) -> Result<(), StoreError> {
    let from = match content {
        Content::Empty => 0,
        Content::Schema(found) => found,
    };
    for (version, sql) in (1..).zip(MIGRATIONS) {
        if version > from {
            step(connection, version, sql).map_err(StoreError::doing("bring its schema up"))?;
        }
    }
    Ok(())
}

fn step(connection: &mut Connection, version: i64, sql: &str) -> rusqlite::Result<()> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    transaction.execute_batch(sql)?;
    transaction.pragma_update(None, "application_id", APPLICATION_ID)?;
    transaction.pragma_update(None, "user_version", version)?;
    transaction.commit()
}
