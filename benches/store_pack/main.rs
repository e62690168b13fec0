//! How small settled readings become, how fast, and what that costs those who
//! write meanwhile: `cargo bench --bench store_pack`, or with `-- SERIES VALUES`
//! for another number of series and of values of each. The same values go to
//! victoria-metrics (Debian's package), started for it on a folder of its own,
//! and are counted there; without the program that part is left out.

#![allow(clippy::disallowed_methods)] // it measures real time

mod data;
mod ours;
mod theirs;

use data::Kind;

fn main() {
    let given: Vec<usize> = std::env::args()
        .filter_map(|arg| arg.parse().ok())
        .collect();
    let (series, values) = match given[..] {
        [series, values] => (series, values),
        _ => (100, 100_000),
    };
    for kind in Kind::ALL {
        println!("{}: {series} series of {values} values", kind.name());
        let ours = ours::measure(kind, series, values);
        match theirs::measure(kind, series, values) {
            Some(theirs) => println!(
                "  victoria-metrics: {theirs:.3} bytes a value; the store takes {:.2} times that",
                ours / theirs
            ),
            None => {
                println!("  victoria-metrics is not installed: apt-get install victoria-metrics")
            }
        }
    }
    ours::draw_a_year();
}
