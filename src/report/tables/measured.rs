//! What instruments and people measured, and how far it can be trusted.

use crate::engine::{EntryKind, HappeningKind};
use crate::report::facts::signal::{Side, Unknown};
use crate::report::facts::sump::{Followed, SumpFacts};
use crate::report::table::{Cell, Table};
use crate::units::Span;

/// How long each signal was where it should be.
pub(super) fn windows(facts: &SumpFacts<'_>) -> Table {
    let watched = facts
        .followed
        .iter()
        .filter(|one| !one.signal.window().is_none());
    let rows = watched.map(|one| {
        let Followed {
            quantity, signal, ..
        } = one;
        let decimals = quantity.decimals();
        let (low, high) = (signal.window().low, signal.window().high);
        let extremes = signal.extremes();
        let long = |span: Span| match span > Span::ZERO {
            true => Cell::Long(span),
            false => Cell::None,
        };
        vec![
            Cell::word(format!("quantity.{}", quantity.name())),
            Cell::Text(quantity.unit().to_owned()),
            Cell::number(low, decimals),
            Cell::number(high, decimals),
            Cell::share(signal.share(Side::Inside)),
            Cell::share(signal.share(Side::Below)),
            Cell::share(signal.share(Side::Above)),
            long(signal.longest_outside()),
            Cell::share(signal.known_share()),
            long(signal.unknown(Unknown::NoValue)),
            long(signal.unknown(Unknown::NotBelieved)),
            Cell::number(signal.mean(), decimals),
            Cell::number(extremes.map(|(low, _)| low), decimals),
            Cell::number(extremes.map(|(_, high)| high), decimals),
        ]
    });
    let columns = &[
        "signal",
        "unit",
        "from",
        "to",
        "inside_pct",
        "below_pct",
        "above_pct",
        "longest_outside_min",
        "known_pct",
        "no_value_min",
        "not_believed_min",
        "mean",
        "lowest",
        "highest",
    ];
    Table::new("windows", columns).with_rows(rows)
}

/// Readings by hand and from laboratories.
pub(super) fn by_hand(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.book.written().iter().filter_map(|one| {
        let EntryKind::HandReading {
            quantity,
            value,
            method,
            mixer,
            written,
        } = &one.entry.kind
        else {
            return None;
        };
        let method = method.and_then(|method| serde_json::to_value(method).ok());
        let method = method.and_then(|method| method.as_str().map(str::to_owned));
        Some(vec![
            Cell::Time(one.entry.time),
            Cell::word(format!("quantity.{}", quantity.name())),
            Cell::Number(*value, quantity.decimals()),
            Cell::Text(quantity.unit().to_owned()),
            Cell::text(written.as_deref()),
            method.map_or(Cell::None, |method| Cell::word(format!("method.{method}"))),
            Cell::text(mixer.as_deref()),
            Cell::text(one.entry.by.as_deref()),
            match one.late {
                true => Cell::word("from_history"),
                false => Cell::None,
            },
        ])
    });
    let columns = &[
        "time",
        "quantity",
        "value",
        "unit",
        "as_written",
        "method",
        "mixer",
        "by",
        "remark",
    ];
    Table::new("hand_readings", columns).with_rows(rows)
}

/// Probes that were cleaned and calibrated.
pub(super) fn calibrations(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.book.written().iter().filter_map(|one| {
        let EntryKind::Event { what, channel, .. } = &one.entry.kind else {
            return None;
        };
        let what = match what {
            HappeningKind::ProbeCalibrated => "work.probe_calibrated",
            HappeningKind::ProbeCleaned => "work.probe_cleaned",
            _ => return None,
        };
        Some(vec![
            Cell::Time(one.entry.time),
            Cell::word(what),
            channel
                .as_deref()
                .map_or(Cell::word("all_channels"), |one| Cell::text(Some(one))),
            Cell::text(one.entry.by.as_deref()),
        ])
    });
    Table::new("calibrations", &["time", "what", "channel", "by"]).with_rows(rows)
}

/// What the outlets of mixers gave.
pub(super) fn mixers(facts: &SumpFacts<'_>) -> Table {
    let rows = facts.book.mixers().iter().map(|one| {
        vec![
            Cell::Time(one.time),
            Cell::Text(one.mixer.clone()),
            Cell::Number(one.setting_pct, 1),
            Cell::Number(one.got_pct, 1),
            Cell::number(one.new_setting_pct, 1),
        ]
    });
    let columns = &["time", "mixer", "set_pct", "gave_pct", "set_anew_pct"];
    Table::new("mixers", columns).with_rows(rows)
}

/// How the instruments were.
pub(super) fn instruments(facts: &SumpFacts<'_>) -> Table {
    let channels = facts.followed.iter().filter(|one| !one.is_estimate);
    let rows = channels.map(|one| {
        let classes = one.signal.classes();
        let alarms = |kind: &str| {
            let condition = format!("{kind}.{}", one.channel);
            let raised = facts.alarms.iter().filter(|alarm| {
                *alarm.alarm.condition == *condition && facts.period.has(alarm.raised)
            });
            Cell::Count(raised.count() as u64)
        };
        vec![
            Cell::Text(one.channel.clone()),
            Cell::word(format!("quantity.{}", one.quantity.name())),
            Cell::Count(classes.good),
            Cell::Count(classes.uncertain),
            Cell::Count(classes.bad),
            Cell::share(one.signal.known_share()),
            Cell::Count(one.signal.gaps().1),
            alarms("silent"),
            alarms("instrument"),
            alarms("disagrees"),
        ]
    });
    let columns = &[
        "channel",
        "quantity",
        "good",
        "uncertain",
        "bad",
        "known_pct",
        "gaps",
        "silences",
        "instrument_faults",
        "disagreements",
    ];
    Table::new("instruments", columns).with_rows(rows)
}

/// When what was not known.
pub(super) fn gaps(facts: &SumpFacts<'_>) -> Table {
    let each = facts.followed.iter().flat_map(|one| {
        let of_estimate = one.is_estimate;
        one.signal.gaps().0.iter().map(move |gap| {
            vec![
                Cell::Text(one.channel.clone()),
                Cell::word(if of_estimate { "estimate" } else { "reading" }),
                Cell::Time(gap.period.from),
                Cell::Time(gap.period.to),
                Cell::Long(gap.period.length()),
                Cell::word(match gap.why {
                    Unknown::NoValue => "unknown.no_value",
                    Unknown::NotBelieved => "unknown.not_believed",
                }),
            ]
        })
    });
    let counted = facts.followed.iter().map(|one| {
        let (kept, all) = one.signal.gaps();
        all - kept.len() as u64
    });
    let columns = &["channel", "kind", "begins", "ends", "lasted_min", "why"];
    let mut table = Table::new("gaps", columns).with_rows(each);
    table.left_out += counted.sum::<u64>();
    table
}
