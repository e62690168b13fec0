//! What is to happen later unless something comes in between.

use rusqlite::Transaction;

use super::outbox::{self, Moved};
use super::rows::{WaitingChange, WaitingRow};

/// Makes the changes in their order; gives how the number of rows changed.
pub(super) fn change<'r>(
    transaction: &Transaction<'_>,
    changes: impl Iterator<Item = &'r WaitingChange>,
    moved: &mut Moved,
) -> rusqlite::Result<isize> {
    let mut more = 0;
    for change in changes {
        match change {
            WaitingChange::Add(row) => more += add(transaction, row)?,
            WaitingChange::Forget { subject } => {
                let gone = transaction
                    .prepare_cached("DELETE FROM waiting WHERE subject = ?1")?
                    .execute([subject])?;
                more -= gone as isize;
            }
            WaitingChange::Take {
                id,
                outbox,
                waiting,
            } => {
                let gone = transaction
                    .prepare_cached("DELETE FROM waiting WHERE id = ?1")?
                    .execute([id])?;
                if gone == 0 {
                    // Something came in between.
                    continue;
                }
                more -= 1;
                for row in outbox {
                    outbox::add(transaction, row, moved)?;
                }
                for row in waiting {
                    more += add(transaction, row)?;
                }
            }
        }
    }
    Ok(more)
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
