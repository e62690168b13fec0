//! Whether alarms can be trusted: a plant with faults of every kind at random
//! times, a crew that follows them, and what was told held against what was so.
//! `cargo test --release --test alarms -- --nocapture` prints the tables, and
//! with `ALARMS_DETAILS=1` each thing that was missed and each alarm that was
//! false; `cargo bench --bench alarms_year` runs the whole year of all forty
//! sumps.

mod trial;

use trial::count::{count, details};
use trial::goals::failures;
use trial::{Extent, run, table};

/// Ten sumps for three months with a stand-still in them.
const SMALL: Extent = Extent {
    sumps: 10,
    from_day: 168,
    days: 91,
};

#[test]
fn alarms_of_a_quarter_can_be_trusted() {
    let mut all = Vec::new();
    for seed in 1..=2 {
        let records = run(seed, SMALL);
        let count = count(seed, &records);
        table::print(&count);
        if std::env::var_os("ALARMS_DETAILS").is_some() {
            details(&records);
        }
        all.extend(failures(&count));
    }
    assert!(all.is_empty(), "{all:#?}");
}
