//! What went in and out, what it cost, what was lost, and what was advised.

use crate::report::facts::book::Advised;
use crate::report::facts::litres::Known;
use crate::report::facts::sump::{PartFacts, SumpFacts};
use crate::report::table::{Cell, Table};
use crate::units::Measured;

/// A value with its 90 % interval; no loss is below nothing.
fn between(measured: Measured, decimals: usize) -> Cell {
    let (low, high) = measured.interval_90();
    let [value, low, high] = [measured.value, low, high].map(|litres| litres.max(0.0));
    Cell::Between(value, low, high, decimals)
}

/// What was used in each part of the period, and in all.
pub(super) fn used(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.parts.iter().map(|part| {
        let PartFacts {
            part, used, cost, ..
        } = part;
        vec![
            Cell::Day(part.day),
            Cell::Number(used.concentrate_l, 1),
            Cell::Number(used.water_l, 1),
            Cell::Number(used.drained_l, 1),
            Cell::number(cost.as_ref().map(|cost| cost.total), 2),
            Cell::text(
                cost.as_ref()
                    .map(|cost| cost.currency.to_string())
                    .as_deref(),
            ),
        ]
    });
    let cost = facts.cost.as_ref();
    let all = vec![
        Cell::word("in_all"),
        Cell::Number(facts.used.concentrate_l, 1),
        Cell::Number(facts.used.water_l, 1),
        Cell::Number(facts.used.drained_l, 1),
        Cell::number(cost.map(|cost| cost.total), 2),
        Cell::text(cost.map(|cost| cost.currency.to_string()).as_deref()),
    ];
    let columns = &[
        "begins",
        "concentrate_l",
        "water_l",
        "drained_l",
        "cost",
        "currency",
    ];
    Table::new("used", columns).with_rows(rows.chain([all]))
}

/// What was lost in each part of the period.
pub(super) fn losses(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.parts.iter().map(|part| {
        let PartFacts {
            part, known, lost, ..
        } = part;
        let to = lost.and_then(|lost| lost.to);
        let over = lost.ok().map(|_| *known);
        vec![
            Cell::Day(part.day),
            Cell::time(over.map(|over| over.from)),
            Cell::time(over.map(|over| over.to)),
            lost.map_or(Cell::None, |lost| between(lost.both_l, 0)),
            to.map_or(Cell::None, |to| between(to.evaporation_l, 0)),
            to.map_or(Cell::None, |to| between(to.carry_off_l, 0)),
            match to {
                Ok(_) => Cell::None,
                Err(why) => Cell::word(format!("not_told.{}", why.name())),
            },
        ]
    });
    let columns = &[
        "begins",
        "worked_out_from",
        "worked_out_to",
        "both_l",
        "evaporation_l",
        "carry_off_l",
        "remark",
    ];
    Table::new("losses", columns).with_rows(rows)
}

/// The losses as the daemon last knew them.
pub(super) fn losses_now(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.newest_losses.iter().map(|(time, losses)| {
        vec![
            Cell::Time(*time),
            between(losses.evaporation_l_per_d, 1),
            between(losses.carry_off_l_per_d, 1),
            between(losses.both_l_per_d, 1),
        ]
    });
    let columns = &[
        "as_of",
        "evaporation_l_per_d",
        "carry_off_l_per_d",
        "both_l_per_d",
    ];
    Table::new("losses_now", columns).with_rows(rows)
}

/// What went in and out, one by one.
pub(super) fn moved(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.moved.iter().map(|one| {
        vec![
            Cell::Time(one.time),
            Cell::word(format!("moved.{}", one.kind.name())),
            Cell::Number(one.litres.value, 1),
            Cell::number(one.strength_pct, 1),
            Cell::number(one.concentrate_l(), 1),
            match one.known {
                Known::Written => Cell::word("known.written"),
                other => Cell::Alert(format!("known.{}", other.name())),
            },
            Cell::text(one.by.as_deref()),
        ]
    });
    let columns = &[
        "time",
        "what",
        "litres",
        "strength_pct",
        "concentrate_in_it_l",
        "known_by",
        "by",
    ];
    Table::new("moved", columns).with_rows(rows)
}

/// Advice, whether it was followed, and what came of it.
pub(super) fn advice(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.book.advised().iter().map(|one| {
        let dose = one.dose;
        let outcome = one.outcome;
        vec![
            Cell::Time(one.time),
            Cell::Condition(one.condition.clone()),
            Cell::number(dose.map(|dose| dose.drain_l), 1),
            Cell::number(dose.map(|dose| dose.concentrate_l), 1),
            Cell::number(dose.map(|dose| dose.water_l), 1),
            Cell::time(one.followed),
            Cell::number(outcome.and_then(|outcome| outcome.expected_pct), 1),
            Cell::number(outcome.and_then(|outcome| outcome.got_pct), 1),
            came_of(one),
        ]
    });
    let columns = &[
        "time",
        "about",
        "drain_l",
        "concentrate_l",
        "water_l",
        "followed",
        "expected_pct",
        "measured_pct",
        "outcome",
    ];
    Table::new("advice", columns).with_rows(rows)
}

fn came_of(one: &Advised) -> Cell {
    let as_expected = one.outcome.and_then(|outcome| outcome.as_expected);
    match (as_expected, one.followed, one.withdrawn, one.dose) {
        (Some(true), ..) => Cell::word("outcome.worked"),
        (Some(false), ..) => Cell::Alert("outcome.missed".to_owned()),
        (None, Some(_), ..) => Cell::word("outcome.not_judged"),
        (None, None, Some(_), _) => Cell::word("outcome.withdrawn"),
        (None, None, None, None) => Cell::word("outcome.no_dose"),
        (None, None, None, Some(_)) => Cell::word("outcome.open"),
    }
}
