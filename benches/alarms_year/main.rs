//! A year of forty sumps with faults of every kind: what is told, what is true,
//! and the confusion table by kind of the worst seed. Arguments, each with its
//! default: first seed (1), seeds (10), sumps (40), first day (0), days (364).
//! With `ALARMS_DETAILS=1` each thing that was missed and each alarm that was
//! false stands on a line.

// A bench looks at the real clock.
#![allow(clippy::disallowed_methods)]

mod together;
#[path = "../../tests/alarms/trial/mod.rs"]
mod trial;

use std::time::Instant;

use sumpward::simulate::year::YEAR_START;
use sumpward::units::Span;
use together::{Came, together};
use trial::count::{Count, count, details};
use trial::goals::failures;
use trial::{Extent, run, table};

fn main() {
    let numbers: Vec<i64> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let number = |place: usize, default: i64| numbers.get(place).copied().unwrap_or(default);
    let extent = Extent {
        sumps: usize::try_from(number(2, 40)).unwrap_or(40),
        from_day: number(3, 0),
        days: number(4, 364),
    };
    let (first, seeds) = (number(0, 1), number(1, 10));
    let counts: Vec<Count> = (first..first + seeds)
        .map(|seed| one_seed(seed.unsigned_abs(), extent))
        .collect();
    print_worst(&counts);
    let came: Vec<Came> = counts.iter().flat_map(|one| one.came.clone()).collect();
    let start = YEAR_START + Span::from_hours(24 * extent.from_day);
    let together = together(&came, start, extent.days);
    println!(
        "\n{} sumps together: {:.1} alarms a day, most in ten minutes {} ({} but for the day after a stand-still), ten-minute periods above ten {:.2} %, hours above thirty {:.2} %",
        together.sumps,
        together.a_day,
        together.most_in_ten,
        together.most_in_ten_else,
        100.0 * together.tens_above_10,
        100.0 * together.hours_above_30,
    );
    for (time, of) in &together.fullest {
        let of: Vec<String> = of.iter().map(|(name, n)| format!("{name} {n}")).collect();
        println!("  {time}: {}", of.join(", "));
    }
}

fn one_seed(seed: u64, extent: Extent) -> Count {
    let began = Instant::now();
    let records = run(seed, extent);
    let took = began.elapsed().as_secs_f64();
    let count = count(seed, &records);
    println!(
        "seed {seed}: {took:.1} s, told {:.1} %, true {:.1} %, false {:.2} a sump and quarter, upper two {:.2} a sump and year, in window {:.2} % net, {:.2} % raw",
        100.0 * count.told_share(),
        100.0 * count.true_share(),
        count.false_a_sump_and_quarter(),
        count.false_upper_a_sump_and_year(),
        100.0 * count.in_window.1,
        100.0 * count.in_window.0,
    );
    if std::env::var_os("ALARMS_DETAILS").is_some() {
        details(&records);
    }
    count
}

/// Of the seeds that told least and whose alarms were least true.
fn print_worst(counts: &[Count]) {
    let worst = |share: fn(&Count) -> f64| {
        let least = |a: &&Count, b: &&Count| share(a).total_cmp(&share(b));
        counts.iter().min_by(least)
    };
    let (told, right) = (worst(Count::told_share), worst(Count::true_share));
    for (which, count) in [("told least", told), ("was true least", right)] {
        if let Some(count) = count {
            println!("\nthe seed that {which}:");
            table::print(count);
            for failure in failures(count) {
                println!("{failure}");
            }
        }
    }
}
