//! The comparison as people read it.

use std::fmt;

use super::Compared;
use crate::alarm::Priority;
use crate::alarm::compare::{Change, Counts, Row, Times};
use crate::cli::alarms::text::{value, words};
use crate::units::Span;

/// So many rows of each kind are printed; the rest is counted.
const MOST_ROWS: usize = 50;

impl fmt::Display for Compared {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let period = self.present.period;
        writeln!(
            f,
            "Alarms from {} to {}, {:.1} days, under the present and the changed settings",
            period.from, period.to, self.present.days
        )?;
        if self.left_out > 0 {
            writeln!(
                f,
                "   too many: {} steps of alarms are left out",
                self.left_out
            )?;
        }
        self.rows_of(f, Change::Came, "Come")?;
        self.rows_of(f, Change::Gone, "Go")?;
        self.rows_of(f, Change::Moved, "Move")?;
        writeln!(f, "\n{} stay as they are", self.counts.same)?;
        self.tables(f)
    }
}

impl Compared {
    fn rows_of(&self, f: &mut fmt::Formatter<'_>, change: Change, title: &str) -> fmt::Result {
        let rows = || self.rows.iter().filter(|row| row.change == change);
        let all = rows().count();
        if all == 0 {
            return Ok(());
        }
        writeln!(f, "\n{title} ({all})")?;
        for row in rows().take(MOST_ROWS) {
            write!(f, "   {:<20} {:<28} ", row.alarm.sump, row.alarm.condition)?;
            writeln!(f, "{}", times(row))?;
        }
        match all.saturating_sub(MOST_ROWS) {
            0 => Ok(()),
            more => writeln!(f, "   and {more} more; --json has all"),
        }
    }

    fn tables(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        head(f, "Condition")?;
        for (condition, counts) in &self.by_condition {
            counted(f, condition, counts)?;
        }
        counted(f, "all", &self.counts)?;
        head(f, "Priority")?;
        for (priority, counts) in &self.by_priority {
            counted(f, name(*priority), counts)?;
        }
        writeln!(f, "\n{:<44}{:>10}{:>10}", "Figure", "present", "changed")?;
        for (present, changed) in self.present.figures.iter().zip(&self.changed.figures) {
            let (before, after) = (value(present), value(changed));
            writeln!(f, "{:<44}{before:>10}{after:>10}", words(present.name))?;
        }
        if !self.present.enough_days {
            writeln!(f, "fewer than 30 days: too few for the standard's figures")?;
        }
        Ok(())
    }
}

fn head(f: &mut fmt::Formatter<'_>, title: &str) -> fmt::Result {
    writeln!(
        f,
        "\n{title:<28}{:>9}{:>9}{:>7}{:>7}{:>7}{:>7}",
        "present", "changed", "come", "go", "move", "stay"
    )
}

fn counted(f: &mut fmt::Formatter<'_>, what: &str, counts: &Counts) -> fmt::Result {
    writeln!(
        f,
        "{what:<28}{:>9}{:>9}{:>7}{:>7}{:>7}{:>7}",
        counts.present, counts.changed, counts.came, counts.gone, counts.moved, counts.same
    )
}

fn times(row: &Row) -> String {
    match (row.present, row.changed) {
        (Some(present), Some(changed)) => moved(row, present, changed),
        (Some(one), None) | (None, Some(one)) => stood(one),
        (None, None) => String::new(),
    }
}

fn stood(one: Times) -> String {
    let until = match one.ended {
        Some(ended) => format!("for {}", ended - one.raised),
        None => "to the end".to_owned(),
    };
    format!("{} {until}, {}", one.raised, name(one.priority))
}

fn moved(row: &Row, present: Times, changed: Times) -> String {
    let mut text = format!("{}: ", present.raised);
    text += &shifted("raised", row.raised_later.unwrap_or(Span::ZERO));
    text += ", ";
    text += &match (row.ended_later, changed.ended, present.ended) {
        (Some(later), _, _) => shifted("ends", later),
        (None, Some(_), None) => "ends, and did not".to_owned(),
        (None, None, Some(_)) => "does not end, and did".to_owned(),
        (None, _, _) => "stands to the end".to_owned(),
    };
    if present.priority != changed.priority {
        let (before, after) = (name(present.priority), name(changed.priority));
        text += &format!(", {after} in place of {before}");
    }
    text
}

fn shifted(what: &str, later: Span) -> String {
    match later.millis() {
        0 => format!("{what} at the same time"),
        1.. => format!("{what} {later} later"),
        _ => format!("{what} {} earlier", Span::from_millis(-later.millis())),
    }
}

fn name(priority: Priority) -> &'static str {
    match priority {
        Priority::Low => "low",
        Priority::Medium => "medium",
        Priority::High => "high",
    }
}
