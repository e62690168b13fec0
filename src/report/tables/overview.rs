//! A row for each sump, for whoever has a minute.

use crate::report::facts::signal::Side;
use crate::report::facts::sump::SumpFacts;
use crate::report::table::{Cell, Table};
use crate::units::Quantity;

/// What stands in the overview of one sump.
#[derive(Debug, Clone, PartialEq)]
pub struct Overview {
    row: Vec<Cell>,
}

impl Overview {
    /// Of these facts.
    pub fn new(facts: &SumpFacts<'_>) -> Self {
        let inside = |quantity: Quantity| {
            let one = facts.followed.iter().find(|one| one.quantity == quantity);
            let watched = one.filter(|one| !one.signal.window().is_none());
            Cell::share(watched.and_then(|one| one.signal.share(Side::Inside)))
        };
        let raised = facts
            .alarms
            .iter()
            .filter(|one| facts.period.has(one.raised));
        let missed: usize = facts.checks.iter().map(|one| one.missed).sum();
        let readings =
            facts.book.written().iter().filter(|one| {
                matches!(one.entry.kind, crate::engine::EntryKind::HandReading { .. })
            });
        let followed = facts
            .book
            .advised()
            .iter()
            .filter(|one| one.followed.is_some());
        Overview {
            row: vec![
                Cell::Text(facts.setup.title.clone()),
                inside(Quantity::Concentration),
                inside(Quantity::Ph),
                inside(Quantity::Volume),
                Cell::share(facts.concentration().known_share()),
                Cell::Number(facts.used.concentrate_l, 0),
                Cell::Number(facts.used.water_l, 0),
                Cell::Number(facts.used.drained_l, 0),
                Cell::number(facts.cost.as_ref().map(|cost| cost.total), 2),
                Cell::text(
                    facts
                        .cost
                        .as_ref()
                        .map(|cost| cost.currency.to_string())
                        .as_deref(),
                ),
                Cell::Count(followed.count() as u64),
                Cell::Count(readings.count() as u64),
                Cell::Count(missed as u64),
                Cell::Count(raised.count() as u64),
            ],
        }
    }
}

/// The table of all of them.
pub fn overview(sumps: &[Overview]) -> Table {
    let columns = &[
        "sump_title",
        "concentration_inside_pct",
        "ph_inside_pct",
        "volume_inside_pct",
        "concentration_known_pct",
        "concentrate_l",
        "water_l",
        "drained_l",
        "cost",
        "currency",
        "advice_followed",
        "readings_by_hand",
        "checks_missed",
        "alarms_raised",
    ];
    Table::new("overview", columns).with_rows(sumps.iter().map(|one| one.row.clone()))
}
