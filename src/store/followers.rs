//! Those who read through all readings, or through the journal, in the order of
//! time: how far each has come, and what has come in behind it since.
//!
//! A follower reads as of some commit and moves its position later. What came in
//! between, and what comes in later at or before its position, is noted as late in
//! the transaction that stores it, so that no row is passed over: at worst some
//! are read twice.

use std::collections::VecDeque;

use rusqlite::{Connection, Transaction};

use crate::units::Timestamp;

use super::spans::Spans;

/// Beginning of the names of all followers' cursors.
pub const FOLLOWERS: &str = "forward/";

/// Late stretches of one follower. Choice: with more, neighbours become one.
const LATE: usize = 64;
/// Stretches that are told apart in one commit: history and the present, and
/// some more.
const TOUCHED: usize = 4;
/// Commits that are remembered. Choice: minutes at the fastest pace; whoever
/// reads as of an earlier one reads all of it again.
const REMEMBERED: usize = 8192;

/// Through what somebody reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Following {
    /// Readings and estimates.
    Values,
    /// The journal.
    Journal,
}

impl Following {
    /// The end of a cursor's name.
    const fn ending(self) -> &'static str {
        match self {
            Following::Values => "/values",
            Following::Journal => "/journal",
        }
    }

    /// The name of the cursor of somebody's who follows so.
    pub fn cursor(self, name: &str) -> String {
        format!("{FOLLOWERS}{name}{}", self.ending())
    }

    fn of(cursor: &str) -> Option<Self> {
        [Following::Values, Following::Journal]
            .into_iter()
            .find(|following| cursor.ends_with(following.ending()))
    }
}

/// A step of a follower.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FollowRow {
    /// Name of its cursor, see [`Following::cursor`].
    pub cursor: String,
    /// When the step was made.
    pub moved_at: Timestamp,
    /// The step.
    pub step: FollowStep,
}

/// How a follower moves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FollowStep {
    /// It begins behind this time; one that is there already stays where it is.
    Begin(Timestamp),
    /// It is through with everything up to this time.
    Through {
        /// The last time.
        to: Timestamp,
        /// It read as of this commit, see [`super::Stats::commit_number`], or a
        /// later one.
        seen: u64,
    },
    /// It is through with this stretch of late ones.
    Late {
        /// The first time.
        first: Timestamp,
        /// The last time.
        last: Timestamp,
        /// As above.
        seen: u64,
    },
}

/// Which times one transaction wrote at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Touched {
    pub(super) values: Spans,
    pub(super) journal: Spans,
}

impl Touched {
    pub(super) const fn new() -> Self {
        Touched {
            values: Spans::new(TOUCHED),
            journal: Spans::new(TOUCHED),
        }
    }

    fn of(&self, following: Following) -> &Spans {
        match following {
            Following::Values => &self.values,
            Following::Journal => &self.journal,
        }
    }

    fn is_empty(&self) -> bool {
        self.values.is_empty() && self.journal.is_empty()
    }
}

/// Where one follower stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Follower {
    cursor: String,
    following: Following,
    position: Timestamp,
    moved_at: Timestamp,
    late: Spans,
}

/// All of them.
#[derive(Debug)]
pub(super) struct Followers {
    list: Vec<Follower>,
    /// Commits so far.
    commits: u64,
    /// What each of the newest commits touched, by its number.
    recent: VecDeque<(u64, Touched)>,
    /// The newest commit that is no longer among them.
    forgotten: u64,
}

impl Followers {
    /// As the store has them.
    pub(super) fn load(connection: &Connection) -> rusqlite::Result<Self> {
        let mut list: Vec<Follower> = connection
            .prepare(
                "SELECT name, position, moved_at FROM cursors
                 WHERE substr(name, 1, length(?1)) = ?1 ORDER BY name",
            )?
            .query_map([FOLLOWERS], |row| {
                let cursor: String = row.get(0)?;
                let following = Following::of(&cursor);
                let (position, moved_at) = (row.get(1)?, row.get(2)?);
                Ok(following.map(|following| Follower {
                    cursor,
                    following,
                    position: Timestamp::from_millis(position),
                    moved_at: Timestamp::from_millis(moved_at),
                    late: Spans::new(LATE),
                }))
            })?
            .filter_map(Result::transpose)
            .collect::<rusqlite::Result<_>>()?;
        for follower in &mut list {
            let mut select = connection
                .prepare("SELECT first, last FROM late_spans WHERE cursor = ?1 ORDER BY first")?;
            let mut rows = select.query([&follower.cursor])?;
            while let Some(row) = rows.next()? {
                let time = |place| row.get(place).map(Timestamp::from_millis);
                follower.late.add(time(0)?, time(1)?);
            }
        }
        Ok(Followers {
            list,
            commits: 0,
            recent: VecDeque::new(),
            forgotten: 0,
        })
    }

    /// Whether nobody follows, so that nothing needs to be noted.
    pub(super) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// The number of the newest commit.
    pub(super) fn commit_number(&self) -> u64 {
        self.commits
    }

    /// Where they stand after a commit that touches these times and makes these
    /// steps; nothing where none of them changes.
    pub(super) fn after<'a>(
        &self,
        touched: &Touched,
        rows: impl IntoIterator<Item = &'a FollowRow>,
    ) -> Option<Vec<Follower>> {
        let mut rows = rows.into_iter().peekable();
        let is_late = |follower: &Follower| {
            let mut touched = touched.of(follower.following).iter();
            touched
                .next()
                .is_some_and(|(first, _)| first <= follower.position)
        };
        if rows.peek().is_none() && !self.list.iter().any(is_late) {
            return None;
        }
        let mut list = self.list.clone();
        for follower in &mut list {
            let touched = touched.of(follower.following);
            let position = follower.position;
            follower.late.add_between(touched, BEFORE_ALL, position);
        }
        for row in rows {
            self.step(&mut list, row, touched);
        }
        Some(list)
    }

    fn step(&self, list: &mut Vec<Follower>, row: &FollowRow, touched: &Touched) {
        let known = list.iter_mut().find(|known| known.cursor == row.cursor);
        let Some(follower) = known else {
            let following = Following::of(&row.cursor);
            if let (FollowStep::Begin(position), Some(following)) = (row.step, following) {
                list.push(Follower {
                    cursor: row.cursor.clone(),
                    following,
                    position,
                    moved_at: row.moved_at,
                    late: Spans::new(LATE),
                });
            }
            return;
        };
        match row.step {
            FollowStep::Begin(_) => return,
            FollowStep::Through { to, seen } => {
                let passed = follower.position;
                self.note(follower, touched, seen, passed, to);
                follower.position = to.max(passed);
            }
            FollowStep::Late { first, last, seen } => {
                follower.late.remove(first, last);
                let before = Timestamp::from_millis(first.millis().saturating_sub(1));
                self.note(follower, touched, seen, before, last);
            }
        }
        follower.moved_at = row.moved_at;
    }

    /// Notes what came in since the commit `seen` behind `after` and up to `to`.
    fn note(
        &self,
        follower: &mut Follower,
        touched: &Touched,
        seen: u64,
        after: Timestamp,
        to: Timestamp,
    ) {
        let following = follower.following;
        if seen < self.forgotten {
            let first = Timestamp::from_millis(after.millis().saturating_add(1));
            follower.late.add(first, to);
            return;
        }
        let since = self.recent.iter().rev();
        let since = since.take_while(|(number, _)| *number > seen);
        let since = since.map(|(_, touched)| touched).chain([touched]);
        for touched in since {
            follower.late.add_between(touched.of(following), after, to);
        }
    }

    /// Writes down what changes.
    pub(super) fn write(
        &self,
        transaction: &Transaction<'_>,
        list: &[Follower],
    ) -> rusqlite::Result<()> {
        for follower in list {
            let known = self.list.iter().find(|old| old.cursor == follower.cursor);
            if known.is_none_or(|old| {
                (old.position, old.moved_at) != (follower.position, follower.moved_at)
            }) {
                write_cursor(transaction, follower)?;
            }
            if known.is_none_or(|old| old.late != follower.late) {
                write_late(transaction, follower)?;
            }
        }
        Ok(())
    }

    /// The commit is done: this is what it touched and where they stand now.
    pub(super) fn settle(&mut self, list: Option<Vec<Follower>>, touched: Touched) {
        self.commits += 1;
        if let Some(list) = list {
            self.list = list;
        }
        if touched.is_empty() {
            return;
        }
        if self.recent.len() == REMEMBERED
            && let Some((number, _)) = self.recent.pop_front()
        {
            self.forgotten = number;
        }
        self.recent.push_back((self.commits, touched));
    }
}

/// Before any time that a row can have.
const BEFORE_ALL: Timestamp = Timestamp::from_millis(i64::MIN);

fn write_cursor(transaction: &Transaction<'_>, follower: &Follower) -> rusqlite::Result<()> {
    let (position, moved_at) = (follower.position.millis(), follower.moved_at.millis());
    transaction
        .prepare_cached(
            "INSERT INTO cursors (name, position, moved_at) VALUES (?1, ?2, ?3)
             ON CONFLICT (name) DO UPDATE
             SET position = excluded.position, moved_at = excluded.moved_at",
        )?
        .execute((&follower.cursor, position, moved_at))?;
    Ok(())
}

fn write_late(transaction: &Transaction<'_>, follower: &Follower) -> rusqlite::Result<()> {
    transaction
        .prepare_cached("DELETE FROM late_spans WHERE cursor = ?1")?
        .execute([&follower.cursor])?;
    let mut insert = transaction
        .prepare_cached("INSERT INTO late_spans (cursor, first, last) VALUES (?1, ?2, ?3)")?;
    for (first, last) in follower.late.iter() {
        insert.execute((&follower.cursor, first.millis(), last.millis()))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_read_before_what_is_remembered_reads_all_of_it_again() {
        let at = Timestamp::from_millis;
        let mut followers = Followers {
            list: Vec::new(),
            commits: 0,
            recent: VecDeque::new(),
            forgotten: 0,
        };
        let cursor = Following::Values.cursor("history");
        let row = |step| FollowRow {
            cursor: cursor.clone(),
            moved_at: at(1),
            step,
        };
        let begun = followers.after(&Touched::new(), [&row(FollowStep::Begin(at(0)))]);
        followers.settle(begun, Touched::new());
        for commit in 0..REMEMBERED as i64 + 5 {
            let mut touched = Touched::new();
            touched.values.add_time(at(10_000_000 + commit));
            let list = followers.after(&touched, []);
            assert_eq!(list, None, "nothing is late");
            followers.settle(list, touched);
        }
        let to = at(1_000_000);
        let late = |seen| {
            let moved = row(FollowStep::Through { to, seen });
            let list = followers.after(&Touched::new(), [&moved]).unwrap();
            list[0].late.iter().collect::<Vec<_>>()
        };
        assert_eq!(late(followers.commits), []);
        assert_eq!(late(1), [(at(1), to)], "it cannot be told what came since");
        assert_eq!(late(followers.forgotten), []);
    }
}
