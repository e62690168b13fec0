//! Alarms, and how good they are.

use std::collections::BTreeMap;

use crate::alarm::Priority;
use crate::alarm::performance::{
    AlarmCount, Bound, Figure, Inside, Occurrence, Performance, Period, Standing, Unit,
};
use crate::report::facts::book::TookOn;
use crate::report::facts::sump::SumpFacts;
use crate::report::table::{Cell, Table};
use crate::units::Span;

/// So many of the most frequent alarms are told, as in the standard's figure.
const MOST_FREQUENT: usize = 10;

const COLUMNS: &[&str] = &[
    "raised",
    "what",
    "priority",
    "acknowledged",
    "acknowledged_by",
    "ended",
    "stood_min",
    "remark",
];

/// Alarms of a sump, one by one.
pub(super) fn alarms(facts: &SumpFacts<'_>) -> Table {
    let took_on = facts.book.took_on();
    let rows = facts
        .alarms
        .iter()
        .map(|one| row(one, facts.period, took_on));
    Table::new("alarms", COLUMNS).with_rows(rows)
}

/// The same of the plant itself.
pub fn of_plant(occurrences: &[&Occurrence], period: Period) -> Table {
    let rows = occurrences.iter().map(|one| row(one, period, &[]));
    Table::new("plant_alarms", COLUMNS).with_rows(rows)
}

fn row(one: &Occurrence, period: Period, took_on: &[TookOn]) -> Vec<Cell> {
    let by = took_on
        .iter()
        .find(|by| Some(by.time) == one.acknowledged && *by.condition == *one.alarm.condition);
    let within = |time| (time < period.to).then_some(time);
    vec![
        Cell::Time(one.raised),
        Cell::Condition(one.alarm.condition.to_string()),
        Cell::word(format!("priority.{}", priority(one.priority))),
        Cell::time(one.acknowledged.and_then(within)),
        Cell::text(by.and_then(|by| by.by.as_deref())),
        Cell::time(one.ended.and_then(within)),
        Cell::Long(one.stood(period.to)),
        match (one.ended.and_then(within), one.hidden) {
            (None, _) => Cell::Alert("stands".to_owned()),
            (Some(_), true) => Cell::word("hidden"),
            (Some(_), false) => Cell::None,
        },
    ]
}

const fn priority(priority: Priority) -> &'static str {
    match priority {
        Priority::Low => "low",
        Priority::Medium => "medium",
        Priority::High => "high",
    }
}

/// Alarms of a sump by what was wrong.
pub(super) fn by_condition(facts: &SumpFacts<'_>) -> Table {
    let mut counts: BTreeMap<&str, (u64, Span)> = BTreeMap::new();
    for one in &facts.alarms {
        let (count, stood) = counts.entry(&one.alarm.condition).or_default();
        *count += u64::from(facts.period.has(one.raised));
        let from = one.raised.max(facts.period.from);
        let to = one.ended.unwrap_or(facts.period.to).min(facts.period.to);
        *stood = Span::from_millis(stood.millis() + (to - from).millis().max(0));
    }
    let mut counts: Vec<_> = counts.into_iter().collect();
    counts.sort_by(|(a, (x, _)), (b, (y, _))| y.cmp(x).then(a.cmp(b)));
    let rows = counts.into_iter().map(|(condition, (count, stood))| {
        vec![
            Cell::Condition(condition.to_owned()),
            Cell::Count(count),
            Cell::Long(stood),
        ]
    });
    Table::new("alarm_counts", &["what", "raised", "stood_min"]).with_rows(rows)
}

/// The figures of ISA-18.2 / IEC 62682.
pub fn performance(of: &Performance) -> Table {
    let rows = of.figures.iter().map(|figure| {
        vec![
            Cell::word(format!("figure.{}", figure.name)),
            value(figure.value, figure),
            bound(figure.acceptable, figure),
            bound(figure.manageable, figure),
            match figure.inside {
                None => Cell::None,
                Some(Inside::Acceptable) => Cell::word("inside.acceptable"),
                Some(Inside::Manageable) => Cell::word("inside.manageable"),
                Some(Inside::Outside) => Cell::Alert("inside.outside".to_owned()),
            },
        ]
    });
    let columns = &["figure", "value", "acceptable", "manageable", "judged"];
    Table::new("alarm_figures", columns).with_rows(rows)
}

fn value(value: Option<f64>, figure: &Figure) -> Cell {
    let Some(value) = value else {
        return Cell::None;
    };
    match figure.unit {
        Unit::Share => Cell::Share(value),
        Unit::Min => Cell::Long(Span::from_millis((value * 60_000.0) as i64)),
        Unit::Count if value.fract() == 0.0 => Cell::Number(value, 0),
        Unit::Count => Cell::Number(value, 2),
    }
}

fn bound(bound: Option<Bound>, figure: &Figure) -> Cell {
    let Some(bound) = bound else {
        return Cell::None;
    };
    let (key, limit) = match bound {
        Bound::AtMost(limit) => ("bound.at_most", limit),
        Bound::Below(limit) => ("bound.below", limit),
        Bound::AtLeast(limit) => ("bound.at_least", limit),
    };
    Cell::Several(vec![Cell::word(key), value(Some(limit), figure)])
}

/// The alarms that came most often.
pub fn most_frequent(of: &Performance) -> Table {
    let rows = of.most_frequent.iter().take(MOST_FREQUENT);
    let rows = rows.map(|AlarmCount { alarm, count }| {
        vec![
            Cell::Text(alarm.sump.to_string()),
            Cell::Condition(alarm.condition.to_string()),
            Cell::Count(*count),
        ]
    });
    Table::new("most_frequent", &["sump_name", "what", "told"]).with_rows(rows)
}

/// How often and how long alarms were hidden.
pub fn hidden(of: &Performance) -> Table {
    let rows = of.hidden.iter().map(|one| {
        let key = match one.standing {
            Standing::Shelved => "standing.shelved",
            Standing::Suppressed => "standing.suppressed",
            _ => "standing.out_of_service",
        };
        vec![
            Cell::word(key),
            Cell::Count(one.count as u64),
            Cell::Number(one.hours, 1),
        ]
    });
    Table::new("hidden_alarms", &["how", "times", "hours"]).with_rows(rows)
}
