//! What those who forward have not got yet.

use super::super::error::StoreError;
use super::super::followers::FOLLOWERS;
use super::Keeper;

/// The times whose values somebody has not got yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Awaited {
    /// Everything after this.
    after: i64,
    /// And these stretches, of what came late.
    late: Vec<(i64, i64)>,
}

impl Awaited {
    /// Whether somebody has not got what has this time.
    pub(super) fn holds(&self, time: i64) -> bool {
        let is_late = |&(first, last): &(i64, i64)| (first..=last).contains(&time);
        time > self.after || self.late.iter().any(is_late)
    }

    /// Whether that is so of all times from `first` to `last`, or of none; nothing
    /// where it may be so of some.
    pub(super) fn among(&self, first: i64, last: i64) -> Option<bool> {
        let is_within = |&(from, to): &(i64, i64)| from <= first && last <= to;
        if first > self.after || self.late.iter().any(is_within) {
            return Some(true);
        }
        let touches = |&(from, to): &(i64, i64)| from <= last && first <= to;
        let none = last <= self.after && !self.late.iter().any(touches);
        none.then_some(false)
    }
}

impl<A: Send + 'static> Keeper<A> {
    /// The time up to which all who forward have the values or the journal.
    pub(super) fn awaited(&self, what: &str) -> Result<Option<i64>, StoreError> {
        let found = self.reader.first(
            "SELECT min(time) FROM (
                SELECT min(position) AS time FROM cursors
                WHERE name LIKE 'forward/%' AND name LIKE '%/' || ?1
                UNION ALL
                SELECT min(first) FROM late_spans WHERE cursor LIKE '%/' || ?1)",
            [what],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        Ok(found.flatten())
    }

    /// Which values somebody who forwards has not got yet.
    pub(super) fn awaited_values(&self) -> Result<Awaited, StoreError> {
        let names = format!("{FOLLOWERS}%/values");
        let after = self.reader.first(
            "SELECT min(position) FROM cursors WHERE name LIKE ?1",
            [&names],
            |row| row.get::<_, Option<i64>>(0),
        )?;
        let late = self.reader.list(
            "SELECT first, last FROM late_spans WHERE cursor LIKE ?1",
            [&names],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        Ok(Awaited {
            after: after.flatten().unwrap_or(i64::MAX),
            late,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_awaited_is_known_by_its_time() {
        let awaited = Awaited {
            after: 100,
            late: vec![(10, 20), (30, 30)],
        };
        let times = [9, 10, 20, 21, 30, 31, 100, 101];
        let held = times.map(|time| awaited.holds(time));
        assert_eq!(held, [false, true, true, false, true, false, false, true]);
        for first in 0..110 {
            for last in first..110 {
                let held = (first..=last).filter(|time| awaited.holds(*time)).count() as i64;
                match awaited.among(first, last) {
                    Some(true) => assert_eq!(held, last - first + 1),
                    Some(false) => assert_eq!(held, 0),
                    None => assert!(held > 0, "{first} to {last}"),
                }
            }
        }
        let nobody = Awaited {
            after: i64::MAX,
            late: Vec::new(),
        };
        assert_eq!(nobody.among(0, 1_000), Some(false));
    }
}
