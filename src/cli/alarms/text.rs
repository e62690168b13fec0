//! The figures as people read them.

use std::fmt;

use super::Told;
use crate::alarm::performance::{AlarmCount, Bound, Figure, Inside, Performance, Standing, Unit};

/// So many rows of a list are printed; the rest is counted.
const MOST_ROWS: usize = 10;

impl fmt::Display for Told {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let of = &self.performance;
        writeln!(
            f,
            "Alarms of {} sumps from {} to {}, {:.1} days",
            self.sumps, of.period.from, of.period.to, of.days
        )?;
        if let Some(person) = self.sumps_per_person {
            writeln!(
                f,
                "   mean rates are those of {person} sumps, for one person"
            )?;
        }
        if !of.enough_days {
            writeln!(
                f,
                "   fewer than 30 days: too few for the standard's figures"
            )?;
        }
        if self.unknown + of.dropped > 0 {
            let left_out = self.unknown + of.dropped;
            writeln!(f, "   {left_out} alarm lines of the journal are left out")?;
        }
        table(f, of)?;
        lists(f, of)?;
        hidden(f, of)?;
        self.present(f)
    }
}

impl Told {
    fn present(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.present.is_empty() {
            return writeln!(f, "\nNothing stands and nothing is hidden");
        }
        writeln!(f, "\nStanding and hidden at the end")?;
        for one in &self.present {
            let standing = standing(one.standing);
            write!(
                f,
                "   {:<20} {:<28} {standing} since {}",
                one.alarm.sump, one.alarm.condition, one.since
            )?;
            if let Some(until) = one.until {
                write!(f, " until {until}")?;
            }
            if let Some(by) = &one.by {
                write!(f, ", by {by}")?;
            }
            match &one.reason {
                Some(reason) => writeln!(f, ": {reason}")?,
                None => writeln!(f)?,
            }
        }
        Ok(())
    }
}

fn table(f: &mut fmt::Formatter<'_>, of: &Performance) -> fmt::Result {
    writeln!(
        f,
        "\n{:<44}{:>10}  {:>14}{:>14}",
        "", "", "acceptable", "manageable"
    )?;
    for figure in &of.figures {
        writeln!(f, "{}", row(figure))?;
    }
    Ok(())
}

fn row(figure: &Figure) -> String {
    let bound =
        |bound: Option<Bound>| bound.map_or(String::new(), |bound| said(bound, figure.unit));
    let inside = figure.inside.map_or("", |inside| match inside {
        Inside::Acceptable => "acceptable",
        Inside::Manageable => "manageable",
        Inside::Outside => "outside",
    });
    let text = format!(
        "{:<44}{:>10}  {:>14}{:>14}  {inside}",
        words(figure.name),
        value(figure),
        bound(figure.acceptable),
        bound(figure.manageable),
    );
    text.trim_end().to_owned()
}

/// The value as it is printed.
pub(in crate::cli) fn value(figure: &Figure) -> String {
    let Some(value) = figure.value else {
        return "none".to_owned();
    };
    number(value, figure.unit)
}

fn number(value: f64, unit: Unit) -> String {
    match unit {
        Unit::Share => format!("{:.1} %", 100.0 * value),
        Unit::Min => format!("{value:.0} min"),
        Unit::Count if value.fract() == 0.0 => format!("{value}"),
        Unit::Count => format!("{value:.2}"),
    }
}

fn said(bound: Bound, unit: Unit) -> String {
    let number = |value: f64| match unit {
        Unit::Share => format!("{} %", (100.0 * value).round()),
        Unit::Count | Unit::Min => number(value, unit),
    };
    match bound {
        Bound::AtMost(most) => format!("to {}", number(most)),
        Bound::Below(limit) => format!("below {}", number(limit)),
        Bound::AtLeast(least) => format!("from {}", number(least)),
    }
}

/// What a figure is called in tables.
pub(in crate::cli) fn words(name: &str) -> &str {
    match name {
        "per_day" => "annunciations a day, mean",
        "per_hour" => "annunciations an hour, mean",
        "per_ten_minutes" => "annunciations in ten minutes, mean",
        "most_in_a_day" => "most within a day",
        "most_in_an_hour" => "most within an hour",
        "most_in_ten_minutes" => "most within ten minutes",
        "hours_above_30" => "hours with more than 30",
        "ten_minutes_above_10" => "periods of ten minutes with more than 10",
        "time_in_flood" => "time in flood",
        "share_of_ten_most_frequent" => "share of the ten most frequent",
        "chattering_alarms" => "chattering alarms, 3 within a minute",
        "fleeting_alarms" => "fleeting alarms",
        "repeating_alarms" => "repeating alarms",
        "stale_on_worst_day" => "stale on the worst day, more than 24 h",
        "median_time_to_acknowledge" => "time to acknowledge, median",
        "tenth_longest_time_to_acknowledge" => "time to acknowledge, nine in ten within",
        "never_acknowledged" => "not acknowledged",
        "low_priority" => "low priority",
        "medium_priority" => "medium priority",
        "high_priority" => "high priority",
        other => other,
    }
}

fn lists(f: &mut fmt::Formatter<'_>, of: &Performance) -> fmt::Result {
    counts(f, "Most frequent", &of.most_frequent)?;
    counts(f, "Chattering", &of.chattering)?;
    counts(f, "Repeating", &of.repeating)?;
    counts(f, "Fleeting", &of.fleeting)?;
    if !of.stale.is_empty() {
        writeln!(f, "\nStale")?;
    }
    for one in of.stale.iter().take(MOST_ROWS) {
        writeln!(
            f,
            "   {:<20} {:<28} {} from {}",
            one.alarm.sump,
            one.alarm.condition,
            one.stood(of.period.to),
            one.raised
        )?;
    }
    rest(f, of.stale.len())?;
    if !of.floods.is_empty() {
        writeln!(f, "\nFloods")?;
    }
    for flood in of.floods.iter().take(MOST_ROWS) {
        let (from, to, count) = (flood.from, flood.to, flood.annunciations);
        writeln!(f, "   {from} for {}, {count} annunciations", to - from)?;
    }
    rest(f, of.floods.len())
}

fn counts(f: &mut fmt::Formatter<'_>, title: &str, counts: &[AlarmCount]) -> fmt::Result {
    if counts.is_empty() {
        return Ok(());
    }
    writeln!(f, "\n{title}")?;
    for AlarmCount { alarm, count } in counts.iter().take(MOST_ROWS) {
        writeln!(f, "   {:<20} {:<28} {count}", alarm.sump, alarm.condition)?;
    }
    rest(f, counts.len())
}

fn rest(f: &mut fmt::Formatter<'_>, all: usize) -> fmt::Result {
    match all.saturating_sub(MOST_ROWS) {
        0 => Ok(()),
        more => writeln!(f, "   and {more} more"),
    }
}

fn hidden(f: &mut fmt::Formatter<'_>, of: &Performance) -> fmt::Result {
    if of.hidden.iter().all(|one| one.count == 0) {
        return Ok(());
    }
    writeln!(f, "\nHidden")?;
    for one in of.hidden.iter().filter(|one| one.count > 0) {
        let standing = standing(one.standing);
        writeln!(
            f,
            "   {standing:<20} {} times, {:.1} h",
            one.count, one.hours
        )?;
    }
    Ok(())
}

fn standing(standing: Standing) -> &'static str {
    match standing {
        Standing::Normal => "normal",
        Standing::Unacknowledged => "not acknowledged",
        Standing::Acknowledged => "acknowledged",
        Standing::Over => "over, not closed",
        Standing::Shelved => "shelved",
        Standing::Suppressed => "suppressed",
        Standing::OutOfService => "out of service",
    }
}
