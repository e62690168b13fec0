//! What is to happen later unless something comes in between.

use rusqlite::Transaction;

use super::outbox::{self, Moved};
use super::rows::{Before, OutboxRow, WaitingChange, WaitingRow};

/// Makes the changes in their order; gives how the number of rows changed.
pub(super) fn change<'r>(
    transaction: &Transaction<'_>,
    changes: impl Iterator<Item = &'r WaitingChange>,
    moved: &mut Moved,
) -> rusqlite::Result<isize> {
    let mut more = 0;
    for change in changes {
        more += make(transaction, change, moved)?;
    }
    Ok(more)
}

fn make(
    transaction: &Transaction<'_>,
    change: &WaitingChange,
    moved: &mut Moved,
) -> rusqlite::Result<isize> {
    match change {
        WaitingChange::Add(row) => add(transaction, row),
        WaitingChange::Send { outbox } => send(transaction, outbox, moved),
        WaitingChange::InTurn {
            before,
            outbox,
            row,
        } => match waits(transaction, before)? {
            true => add(transaction, row),
            false => send(transaction, outbox, moved),
        },
        WaitingChange::Forget { subject } => {
            let gone = transaction
                .prepare_cached("DELETE FROM waiting WHERE subject = ?1")?
                .execute([subject])?;
            Ok(-(gone as isize))
        }
        WaitingChange::Take { id, then } => {
            let gone = transaction
                .prepare_cached("DELETE FROM waiting WHERE id = ?1")?
                .execute([id])?;
            if gone == 0 {
                // Something came in between.
                return Ok(0);
            }
            let mut more = -1;
            for change in then {
                more += make(transaction, change, moved)?;
            }
            Ok(more)
        }
    }
}

/// Whether anything waits that comes before a message.
fn waits(transaction: &Transaction<'_>, before: &Before) -> rusqlite::Result<bool> {
    for subject in &before.subjects {
        let waits: bool = transaction
            .prepare_cached(
                "SELECT EXISTS (SELECT 1 FROM waiting WHERE subject = ?1
                 AND (?2 IS NULL OR json_extract(body, '$.item.alarm') = ?2))",
            )?
            .query_row((subject, &before.alarm), |row| row.get(0))?;
        if waits {
            return Ok(true);
        }
    }
    Ok(false)
}

fn send(
    transaction: &Transaction<'_>,
    rows: &[OutboxRow],
    moved: &mut Moved,
) -> rusqlite::Result<isize> {
    for row in rows {
        outbox::add(transaction, row, moved)?;
    }
    Ok(0)
}

fn add(transaction: &Transaction<'_>, row: &WaitingRow) -> rusqlite::Result<isize> {
    transaction
        .prepare_cached("INSERT INTO waiting (due, subject, body) VALUES (?1, ?2, ?3)")?
        .execute((row.due.millis(), &row.subject, &row.body))?;
    Ok(1)
}

/// Drops so many rows, the oldest first.
pub(super) fn drop_oldest(transaction: &Transaction<'_>, excess: usize) -> rusqlite::Result<u64> {
    if excess == 0 {
        return Ok(0);
    }
    let dropped = transaction
        .prepare_cached(
            "DELETE FROM waiting WHERE id IN (SELECT id FROM waiting ORDER BY id LIMIT ?1)",
        )?
        .execute([excess as i64])?;
    Ok(dropped as u64)
}
