//! What is asked of the alarms.
//!
//! What is asked of three hundred sumps together, as how many come within ten
//! minutes, stands beside the bench, which has as many.

use super::count::Count;

/// A figure that is asked for, of what it is taken from.
pub(crate) struct Goal<Of> {
    name: &'static str,
    of: fn(&Of) -> f64,
    /// At least this where `at_least`, at most this otherwise.
    asked: f64,
    at_least: bool,
}

const fn at_least<Of>(name: &'static str, of: fn(&Of) -> f64, asked: f64) -> Goal<Of> {
    Goal {
        name,
        of,
        asked,
        at_least: true,
    }
}

pub(crate) const fn at_most<Of>(name: &'static str, of: fn(&Of) -> f64, asked: f64) -> Goal<Of> {
    Goal {
        at_least: false,
        ..at_least(name, of, asked)
    }
}

impl<Of> Goal<Of> {
    fn is_met(&self, found: f64) -> bool {
        if self.at_least {
            found >= self.asked
        } else {
            found <= self.asked
        }
    }
}

/// The figures for one person with three hundred sumps are those that ISA-18.2
/// calls very likely to be acceptable (memory).
const GOALS: [Goal<Count>; 9] = [
    at_least("share told in time", Count::told_share, 0.95),
    at_least("share of alarms that are true", Count::true_share, 0.90),
    at_most(
        "false a sump and quarter",
        Count::false_a_sump_and_quarter,
        1.0,
    ),
    at_most(
        "false a sump and year of the upper two priorities",
        Count::false_upper_a_sump_and_year,
        1.0,
    ),
    at_least(
        "share of time in the window, net",
        |count| count.in_window.1,
        0.99,
    ),
    at_least(
        "share of time in the window of the worst sump, net",
        |count| count.worst_in_window.1,
        0.99,
    ),
    at_most(
        "alarms a day for 300 sumps",
        |count| count.figures.a_day,
        150.0,
    ),
    at_most(
        "share of the ten most frequent of 300 sumps",
        |count| count.figures.top_ten,
        0.05,
    ),
    at_most(
        "chattering",
        |count| f64::from(count.figures.chattering),
        0.0,
    ),
];

/// Everything that is not as it should be, in words.
pub(crate) fn failures(count: &Count) -> Vec<String> {
    let missed = missed(&GOALS, count);
    missed
        .into_iter()
        .map(|missed| format!("seed {}: {missed}", count.seed))
        .collect()
}

/// The goals that these figures do not meet.
pub(crate) fn missed<Of>(goals: &[Goal<Of>], figures: &Of) -> Vec<String> {
    let missed = goals.iter().filter_map(|goal| {
        let found = (goal.of)(figures);
        let missed = || format!("{} is {found:.4}, asked {}", goal.name, goal.asked);
        (!goal.is_met(found)).then(missed)
    });
    missed.collect()
}
