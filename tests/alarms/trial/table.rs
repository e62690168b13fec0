//! Prints what a trial came to.

use super::count::{Count, OfCondition, OfKind};

/// The confusion table by kind, and every figure.
pub(crate) fn print(count: &Count) {
    let (told, asked) = count.asked();
    let (right, wrong) = count.alarms();
    println!(
        "\nseed {}, {:.1} sump years, {} readings",
        count.seed, count.sump_years, count.readings
    );
    println!(
        "told in time {told} of {asked} ({:.1} %), alarms true {right} of {} ({:.1} %), false {:.2} a sump and quarter, {:.2} a sump and year in the upper two priorities ({} of the highest)",
        100.0 * count.told_share(),
        right + wrong,
        100.0 * count.true_share(),
        count.false_a_sump_and_quarter(),
        count.false_upper_a_sump_and_year(),
        count.false_high,
    );
    println!(
        "in window: raw {:.2} % (worst sump {:.2} %), net {:.2} % (worst sump {:.2} %, {} sumps below 99 %)",
        100.0 * count.in_window.0,
        100.0 * count.worst_in_window.0,
        100.0 * count.in_window.1,
        100.0 * count.worst_in_window.1,
        count.sumps_below,
    );
    figures(count);
    println!(
        "\n{:<26}{:>6}{:>8}{:>6}{:>8}{:>8}{:>8}{:>9}{:>9}{:>9}",
        "truly",
        "asked",
        "in time",
        "late",
        "missed",
        "%",
        "ledger",
        "not asked",
        "median h",
        "worst h"
    );
    for (kind, of) in &count.kinds {
        kind_line(kind, of);
    }
    println!(
        "\n{:<34}{:>6}{:>9}{:>7}{:>8}  false by what was about",
        "alarm", "true", "repeated", "false", "true %"
    );
    for (condition, of) in &count.conditions {
        condition_line(condition, of);
    }
}

fn figures(count: &Count) {
    let figures = &count.figures;
    println!(
        "for 300 sumps: {:.1} a day (most {:.0}), most in ten minutes {:.0}, ten-minute periods above ten {:.2} %, hours above thirty {:.2} %, ten most frequent {:.1} %, chattering {}, stale {:.1}, low/medium/high {:.0}/{:.0}/{:.0} %, acknowledged after {:.0} min",
        figures.a_day,
        figures.most_a_day,
        figures.most_in_ten,
        100.0 * figures.tens_above_10,
        100.0 * figures.hours_above_30,
        100.0 * figures.top_ten,
        figures.chattering,
        figures.stale,
        100.0 * figures.priorities[0],
        100.0 * figures.priorities[1],
        100.0 * figures.priorities[2],
        figures.to_acknowledge_min,
    );
}

fn kind_line(kind: &str, of: &OfKind) {
    let asked = of.in_time + of.late + of.missed;
    let mut hours = of.hours.clone();
    hours.sort_by(f64::total_cmp);
    let median = hours.get(hours.len() / 2).copied();
    let shown = |hours: Option<f64>| hours.map_or("-".to_owned(), |hours| format!("{hours:.1}"));
    println!(
        "{kind:<26}{asked:>6}{:>8}{:>6}{:>8}{:>8}{:>8}{:>9}{:>9}{:>9}",
        of.in_time,
        of.late,
        of.missed,
        match asked {
            0 => "-".to_owned(),
            _ => format!("{:.0}", 100.0 * f64::from(of.in_time) / f64::from(asked)),
        },
        of.by_ledger,
        format!("{}/{}", of.extra, of.not_asked),
        shown(median),
        shown(hours.last().copied()),
    );
}

fn condition_line(condition: &str, of: &OfCondition) {
    let all = of.right + of.repeated + of.false_ones();
    let by = of.wrong.iter().map(|(by, n)| format!("{by} {n}"));
    println!(
        "{condition:<34}{:>6}{:>9}{:>7}{:>8.0}  {}",
        of.right,
        of.repeated,
        of.false_ones(),
        100.0 * f64::from(of.right + of.repeated) / f64::from(all.max(1)),
        by.collect::<Vec<_>>().join(", "),
    );
}
