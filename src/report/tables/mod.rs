//! Facts as tables.

mod alarms;
mod amounts;
mod measured;
mod overview;
mod plan;
mod sheet;

pub use alarms::{hidden, most_frequent, of_plant, performance};
pub use overview::{Overview, overview};

use super::facts::sump::SumpFacts;
use super::table::Table;

/// The tables of a sump under the keys of their chapters, in the order in which
/// people read them.
pub fn of_sump(facts: &SumpFacts<'_>) -> Vec<(&'static str, Vec<Table>)> {
    vec![
        ("sheet", vec![sheet::head(facts), sheet::waters(facts)]),
        ("windows", vec![measured::windows(facts)]),
        ("corrections", vec![amounts::advice(facts)]),
        (
            "litres",
            vec![
                amounts::used(facts),
                amounts::losses(facts),
                amounts::losses_now(facts),
                amounts::moved(facts),
            ],
        ),
        (
            "checks",
            vec![
                plan::test_plan(facts),
                plan::checks(facts),
                plan::new_charges(facts),
                plan::log_sheet(facts),
            ],
        ),
        (
            "measured",
            vec![
                measured::by_hand(facts),
                measured::calibrations(facts),
                measured::mixers(facts),
            ],
        ),
        ("works", vec![plan::works(facts)]),
        (
            "alarms",
            vec![alarms::by_condition(facts), alarms::alarms(facts)],
        ),
        (
            "data",
            vec![
                measured::instruments(facts),
                measured::gaps(facts),
                plan::corrected(facts),
            ],
        ),
    ]
}
