//! What is asked of the alarms.

use super::count::Count;

/// A figure that is asked for.
struct Goal {
    name: &'static str,
    of: fn(&Count) -> f64,
    /// At least this where `at_least`, at most this otherwise.
    asked: f64,
    at_least: bool,
}

const fn at_least(name: &'static str, of: fn(&Count) -> f64, asked: f64) -> Goal {
    Goal {
        name,
        of,
        asked,
        at_least: true,
    }
}

const fn at_most(name: &'static str, of: fn(&Count) -> f64, asked: f64) -> Goal {
    Goal {
        at_least: false,
        ..at_least(name, of, asked)
    }
}

impl Goal {
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
const GOALS: [Goal; 7] = [
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
    at_most(
        "alarms a day for 300 sumps",
        |count| count.figures.a_day,
        150.0,
    ),
    at_most(
        "chattering",
        |count| f64::from(count.figures.chattering),
        0.0,
    ),
];

/// Everything that is not as it should be, in words.
pub(crate) fn failures(count: &Count) -> Vec<String> {
    let failures = GOALS.iter().filter_map(|goal| {
        let found = (goal.of)(count);
        (!goal.is_met(found)).then(|| {
            format!(
                "seed {}: {} is {found:.3}, asked {}",
                count.seed, goal.name, goal.asked
            )
        })
    });
    failures.collect()
}
