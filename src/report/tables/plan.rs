//! The check plan, its minimum contents, and what people did.

use crate::engine::{EntryKind, HappeningKind};
use crate::report::facts::log_sheet::{LogLine, Perceived};
use crate::report::facts::signal::{Side, Window};
use crate::report::facts::sump::SumpFacts;
use crate::report::table::{Cell, Table};
use crate::rules::Check;
use crate::units::{Brix, Quantity, Span, Timestamp};

/// Nitrate of make-up water may reach so much, mg/L (TRGS 611, section 5.2).
const NITRATE_MG_L: f64 = 50.0;
/// A new charge is to be measured at once; what comes later than this is told.
/// (choice)
const AT_ONCE: Span = Span::from_hours(24);

/// One item of the published minimum.
struct Item {
    key: &'static str,
    check: Check,
    quantities: &'static [Quantity],
    source: &'static str,
}

/// The minimum contents of a test plan (DGUV Regel 109-003, section 7.1.1), with
/// the number of its test plan.
const MINIMUM: [Item; 4] = [
    Item {
        key: "perceptible",
        check: Check::Look,
        quantities: &[],
        source: "DGUV Regel 109-003, 7.1.1, Prüfplan 1",
    },
    Item {
        key: "ph",
        check: Check::Ph,
        quantities: &[Quantity::Ph],
        source: "DGUV Regel 109-003, 7.1.1, Prüfplan 2",
    },
    Item {
        key: "concentration",
        check: Check::Concentration,
        quantities: &[Quantity::Brix, Quantity::Concentration],
        source: "DGUV Regel 109-003, 7.1.1, Prüfplan 3",
    },
    Item {
        key: "nitrite",
        check: Check::Nitrite,
        quantities: &[Quantity::Nitrite],
        source: "DGUV Regel 109-003, 7.1.1, Prüfplan 5; TRGS 611, 5.3",
    },
];

/// What the published test plans ask for at least, against what was found by
/// hand.
pub(super) fn test_plan(facts: &SumpFacts<'_>) -> Table {
    let items = MINIMUM.iter().map(|item| minimum(facts, item));
    let nitrates = facts
        .setup
        .waters
        .iter()
        .filter_map(|water| water.nitrate_mg_l);
    let nitrate: Vec<f64> = nitrates.collect();
    let made = facts
        .checks
        .iter()
        .find(|one| one.check == Check::MakeUpWater);
    let water = |key: &str, values: &[f64], wanted: Window| {
        let mut row = vec![
            Cell::word(format!("minimum.{key}")),
            Cell::number(wanted.low, 0),
            Cell::number(wanted.high, 0),
            Cell::Text("mg/L".to_owned()),
            Cell::None,
            made.map_or(Cell::Count(0), |made| Cell::Count(made.made as u64)),
            Cell::time(made.and_then(|made| made.last)),
        ];
        row.extend(found(values, wanted, 0));
        row.push(Cell::Text(
            "DGUV Regel 109-003, 7.1.1, Prüfplan 6; TRGS 611, 5.2".to_owned(),
        ));
        row
    };
    let up_to = |high: f64| Window {
        low: None,
        high: Some(high),
    };
    let waters = [
        water("water_nitrate", &nitrate, up_to(NITRATE_MG_L)),
        water("water_nitrite", &[], Window::default()),
    ];
    let columns = &[
        "item", "from", "to", "unit", "every_d", "made", "last", "newest", "lowest", "highest",
        "compared", "source",
    ];
    Table::new("test_plan", columns).with_rows(items.chain(waters))
}

fn minimum(facts: &SumpFacts<'_>, item: &Item) -> Vec<Cell> {
    let made = facts.checks.iter().find(|one| one.check == item.check);
    let setup = facts.setup;
    let window = match item.check {
        Check::Ph => facts.of(Quantity::Ph).map(|one| one.signal.window()),
        Check::Concentration => Some(facts.concentration().window()),
        Check::Nitrite => Some(Window {
            low: None,
            high: Some(setup.choice.nitrite_mg_l),
        }),
        _ => None,
    };
    let window = window.unwrap_or_default();
    let values = by_hand(facts, item.quantities);
    let (decimals, unit) = match item.quantities.last() {
        Some(quantity) => (quantity.decimals(), Cell::Text(quantity.unit().to_owned())),
        None => (0, Cell::None),
    };
    let mut row = vec![
        Cell::word(format!("minimum.{}", item.key)),
        Cell::number(window.low, decimals),
        Cell::number(window.high, decimals),
        unit,
        every(made.and_then(|made| made.every)),
        Cell::Count(made.map_or(0, |made| made.made as u64)),
        Cell::time(made.and_then(|made| made.last)),
    ];
    row.extend(found(&values, window, decimals));
    row.push(Cell::Text(item.source.to_owned()));
    row
}

/// Values that people took of the sump itself, in order; °Bx as %.
fn by_hand(facts: &SumpFacts<'_>, quantities: &[Quantity]) -> Vec<f64> {
    let setup = facts.setup;
    let percent = |brix: f64| {
        let chart = &setup.fluid.chart;
        chart
            .concentration(Brix::from_degrees(brix), setup.water_zero)
            .percent()
    };
    let values = facts
        .book
        .written()
        .iter()
        .filter_map(|one| match &one.entry.kind {
            EntryKind::HandReading {
                quantity,
                value,
                mixer: None,
                ..
            } if quantities.contains(quantity) => Some(match quantity {
                Quantity::Brix => percent(*value),
                _ => *value,
            }),
            _ => None,
        });
    values.collect()
}

/// Newest, lowest, highest, and how they compare with what is wanted.
fn found(values: &[f64], wanted: Window, decimals: usize) -> [Cell; 4] {
    let least = values.iter().copied().reduce(f64::min);
    let most = values.iter().copied().reduce(f64::max);
    let outside = values
        .iter()
        .filter(|value| wanted.side(**value) != Side::Inside);
    let compared = match (values.len(), outside.count()) {
        (0, _) => Cell::None,
        (_, _) if wanted.is_none() => Cell::word("compared.nothing_wanted"),
        (_, 0) => Cell::word("compared.inside"),
        (_, _) => Cell::Alert("compared.outside".to_owned()),
    };
    [
        Cell::number(values.last().copied(), decimals),
        Cell::number(least, decimals),
        Cell::number(most, decimals),
        compared,
    ]
}

fn every(span: Option<Span>) -> Cell {
    Cell::number(span.map(|span| span.secs_f64() / 86_400.0), 1)
}

/// The checks, made and missed.
pub(super) fn checks(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.checks.iter().map(|one| {
        vec![
            Cell::word(format!("check.{}", one.check.name())),
            every(one.every),
            Cell::Count(one.made as u64),
            Cell::time(one.last),
            one.longest.map_or(Cell::None, Cell::Long),
            Cell::Count(one.missed as u64),
            match one.overdue > Span::ZERO {
                true => Cell::Long(one.overdue),
                false => Cell::None,
            },
            match one.still {
                true => Cell::Alert("overdue".to_owned()),
                false => Cell::None,
            },
        ]
    });
    let columns = &[
        "check",
        "every_d",
        "made",
        "last",
        "longest_without_min",
        "missed",
        "overdue_min",
        "at_the_end",
    ];
    Table::new("checks", columns).with_rows(rows)
}

/// What was measured of each new charge.
pub(super) fn new_charges(facts: &SumpFacts<'_>) -> Table {
    let written = || facts.book.written().iter().map(|one| &one.entry);
    let rows = written().filter_map(|entry| {
        let EntryKind::Event {
            what: HappeningKind::Recharged,
            litres,
            ..
        } = &entry.kind
        else {
            return None;
        };
        let first = |quantities: &[Quantity]| {
            let after = written().find(|one| {
                one.time >= entry.time
                    && matches!(&one.kind, EntryKind::HandReading { quantity, mixer: None, .. } if quantities.contains(quantity))
            });
            after.map(|one| one.time)
        };
        let measured = |quantities: &[Quantity]| measured_after(entry.time, first(quantities));
        Some(vec![
            Cell::Time(entry.time),
            Cell::number(*litres, 0),
            Cell::text(entry.by.as_deref()),
            measured(&[Quantity::Brix, Quantity::Concentration]),
            measured(&[Quantity::Ph]),
            measured(&[Quantity::Nitrite]),
        ])
    });
    let columns = &[
        "time",
        "litres",
        "by",
        "concentration_measured",
        "ph_measured",
        "nitrite_measured",
    ];
    Table::new("new_charges", columns).with_rows(rows)
}

fn measured_after(charge: Timestamp, first: Option<Timestamp>) -> Cell {
    match first {
        Some(time) if time - charge <= AT_ONCE => Cell::Time(time),
        Some(time) => Cell::Several(vec![
            Cell::Alert("measured_late".to_owned()),
            Cell::Time(time),
        ]),
        None => Cell::Alert("measured_never".to_owned()),
    }
}

/// The log sheet.
pub(super) fn log_sheet(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.log_sheet.iter().map(log_line);
    let columns = &[
        "day",
        "perceived",
        "ph",
        "by_refractometer_pct",
        "by_titration_pct",
        "nitrite_mg_l",
        "remarks",
        "by",
    ];
    Table::new("log_sheet", columns).with_rows(rows)
}

fn log_line(line: &LogLine) -> Vec<Cell> {
    let perceived = line.perceived.iter().map(|one| match one {
        Perceived::Key(key) => Cell::word(key.clone()),
        Perceived::Words(words) => Cell::Text(words.clone()),
    });
    let others = line.others.iter().map(|(quantity, value)| {
        Cell::Several(vec![
            Cell::word(format!("quantity.{}", quantity.name())),
            Cell::Number(*value, quantity.decimals()),
            Cell::Text(quantity.unit().to_owned()),
        ])
    });
    let notes = line.notes.iter().map(|note| Cell::Text(note.clone()));
    let several = |cells: Vec<Cell>| match cells.is_empty() {
        true => Cell::None,
        false => Cell::List(cells),
    };
    vec![
        Cell::Day(line.day),
        several(perceived.collect()),
        Cell::number(line.ph, 1),
        Cell::number(line.by_refractometer, 1),
        Cell::number(line.by_titration, 1),
        Cell::number(line.nitrite, 0),
        several(others.chain(notes).collect()),
        Cell::text(line.by.as_deref()),
    ]
}

/// What was done to the sump.
pub(super) fn works(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.book.written().iter().filter_map(|one| {
        let EntryKind::Event { what, litres, .. } = &one.entry.kind else {
            return None;
        };
        if matches!(
            what,
            HappeningKind::ProbeCleaned | HappeningKind::ProbeCalibrated
        ) {
            return None;
        }
        let word = serde_json::to_value(what).ok()?;
        Some(vec![
            Cell::Time(one.entry.time),
            Cell::word(format!("work.{}", word.as_str()?)),
            Cell::number(*litres, 0),
            Cell::text(one.entry.by.as_deref()),
        ])
    });
    Table::new("works", &["time", "what", "litres", "by"]).with_rows(rows)
}

/// Entries that were corrected or taken back.
pub(super) fn corrected(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.book.corrected().iter().map(|one| {
        let taken_back = matches!(one.after.kind, EntryKind::Withdrawn { .. });
        let said = |entry: &crate::engine::Entry| {
            let told = serde_json::to_value(&entry.kind).unwrap_or_default();
            let fields = told.as_object().into_iter().flatten();
            let words: Vec<String> = fields
                .map(|(name, value)| match value.as_str() {
                    Some(text) => format!("{name}: {text}"),
                    None => format!("{name}: {value}"),
                })
                .collect();
            Cell::Text(words.join(", "))
        };
        vec![
            Cell::Time(one.time),
            Cell::word(if taken_back {
                "taken_back"
            } else {
                "corrected"
            }),
            Cell::Time(one.after.time),
            one.before.as_ref().map_or(Cell::None, said),
            said(&one.after),
            Cell::text(one.by.as_deref()),
        ]
    });
    let columns = &["time", "what", "of", "before", "after", "by"];
    Table::new("corrected", columns).with_rows(rows)
}
