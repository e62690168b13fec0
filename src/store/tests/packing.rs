//! What is settled is packed, and is read as if it were not.

use proptest::prelude::*;

use super::*;

/// One hour, ms.
const HOUR: i64 = 3_600_000;

/// One day, ms.
const DAY: i64 = 24 * HOUR;

impl Plant {
    fn keeper(&self) -> Keeper<u32> {
        Keeper::open(
            self.folder.path(),
            self.writer.handle(),
            KeeperSetup::default(),
        )
        .unwrap()
    }

    /// Everything that is to be done at this time.
    fn keep(&self, now: i64) {
        let mut keeper = self.keeper();
        while keeper.round(at(now)).unwrap() {}
    }

    fn ask(&self, sql: &str) -> i64 {
        let other = rusqlite::Connection::open(self.folder.path().join(FILE_NAME)).unwrap();
        other.query_row(sql, (), |row| row.get(0)).unwrap()
    }
}

/// A reading a minute of series 0, 1 and 3 for so many days, with marks and
/// delays here and there.
fn days(days: i64) -> Vec<Sample> {
    let minutes = days * 24 * 60;
    let series = [0, 1, 3];
    let all = (0..minutes).flat_map(|minute| series.map(|series| (minute, series)));
    all.map(|(minute, series)| Sample {
        quality: if minute % 97 == 0 {
            Quality::SPIKE
        } else {
            Quality::GOOD
        },
        delay: Span::from_millis(minute % 7),
        ..sample(series, minute * 60_000, (minute % 500) as f64 / 100.0)
    })
    .collect()
}

#[test]
fn packed_values_are_read_as_before() {
    let plant = Plant::start(patient());
    plant.commit(samples(days(4)));
    let id = plant.series.id(SeriesIx(1)).unwrap();
    let everything = |plant: &Plant| {
        let reader = plant.reader();
        let mut since = Vec::new();
        reader
            .readings_since(at(5 * HOUR), |one| since.push(one))
            .unwrap();
        let mut range = Vec::new();
        let all = (Timestamp::MIN, Timestamp::MAX);
        reader
            .range(all.0, all.1, |one| {
                range.push(*one);
                std::ops::ControlFlow::Continue(())
            })
            .unwrap();
        let hour = reader.live_readings_arrived(at(HOUR), at(2 * HOUR), Span::from_hours(1));
        (
            (plant.all(0), since, range),
            hour.unwrap(),
            reader
                .readings(id, at(DAY - HOUR), at(DAY + HOUR), 90)
                .unwrap(),
            reader.draw(id, at(HOUR), at(3 * DAY), 50).unwrap(),
            reader.first_live_reading().unwrap(),
            reader.count_readings(SeriesKind::Reading).unwrap(),
        )
    };
    let before = everything(&plant);
    plant.keep(4 * DAY);
    assert!(plant.ask("SELECT count(*) FROM blocks") >= 3);
    assert_eq!(plant.ask("SELECT count(*) FROM readings"), 3 * 24 * 60);
    assert!(before == everything(&plant), "something reads differently");
}

#[test]
fn young_readings_stay_rows() {
    let plant = Plant::start(patient());
    plant.commit(samples(days(1)));
    plant.keep(DAY + 6 * HOUR - 60_001);
    assert_eq!(plant.ask("SELECT count(*) FROM blocks"), 0);
    plant.keep(DAY + 6 * HOUR);
    assert_eq!(plant.ask("SELECT count(*) FROM blocks"), 3);
    assert_eq!(plant.ask("SELECT count(*) FROM readings"), 0);
}

#[test]
fn a_packed_reading_delivered_again_is_known() {
    let plant = Plant::start(patient());
    plant.commit(samples(days(3)));
    plant.keep(4 * DAY);
    let again = plant.commit(samples(days(3)));
    assert_eq!(
        (again.counts.stored, again.counts.duplicates),
        (0, 3 * 3 * 24 * 60)
    );
    let other = plant.commit(samples(vec![sample(0, 60_000, 7.0)]));
    assert_eq!((other.counts.stored, other.counts.conflicts), (0, 1));
    assert_eq!(plant.all(0)[1].value, 0.01);
}

#[test]
fn late_values_are_read_at_once_and_merged_later() {
    let plant = Plant::start(patient());
    plant.commit(samples(days(3)));
    plant.keep(4 * DAY);
    let late = vec![
        sample(0, 1, 1.5),
        sample(0, DAY + 5, 2.5),
        sample(2, 7, 3.5),
        sample(0, -DAY, 4.5),
    ];
    let first = plant.commit(samples(late.clone()));
    assert_eq!(first.counts.stored, 4);
    let again = plant.commit(samples(late.clone()));
    assert_eq!((again.counts.stored, again.counts.duplicates), (0, 4));
    let before = (plant.all(0), plant.all(2));
    assert_eq!(before.0.len(), 3 * 24 * 60 + 3);
    assert_eq!(before.1.len(), 1);
    plant.keep(5 * DAY);
    assert_eq!(plant.ask("SELECT count(*) FROM late_readings"), 0);
    assert_eq!((plant.all(0), plant.all(2)), before);
    let again = plant.commit(samples(late));
    assert_eq!((again.counts.stored, again.counts.duplicates), (0, 4));
}

#[test]
fn small_blocks_are_joined() {
    let plant = Plant::start(patient());
    plant.commit(samples(days(20)));
    plant.keep(21 * DAY);
    let blocks = plant.ask("SELECT count(*) FROM blocks WHERE series = 1");
    assert!(blocks <= 20 / 4 + 4, "{blocks} blocks");
    assert_eq!(plant.all(0).len(), 20 * 24 * 60);
}

/// Others wait for no more than a plain commit and this much.
const MOST_PAGES: i64 = 60;

#[test]
fn no_transaction_of_packing_is_large() {
    let channel = |n: u32| SeriesRow {
        sump: format!("m{}", n / 6).into(),
        channel: format!("c{}", n % 6).into(),
        quantity: Quantity::Ph,
        kind: SeriesKind::Reading,
    };
    let rows: Vec<_> = (0..120).map(channel).collect();
    let plant = Plant::start_with(&rows, tempfile::tempdir().unwrap(), patient());
    for day in 0..3 {
        let minutes = day * 24 * 60..(day + 1) * 24 * 60;
        let all = minutes.flat_map(|minute| (0..120).map(move |series| (minute, series)));
        let all = all.map(|(minute, series)| {
            let rough = (minute * 7_919 + i64::from(series) * 104_729) % 10_007;
            sample(series, minute * 60_000 + rough % 900, rough as f64 / 97.0)
        });
        plant.commit(samples(all.collect()));
    }
    let mut keeper = plant.keeper();
    // What was written before is folded, and the log begins anew.
    assert!(!keeper.round(at(0)).unwrap());
    plant.commit(journal(vec![line(1, "m0", 1, "note", "{}")]));
    assert!(keeper.take_largest_chore() > MOST_PAGES);
    while keeper.round(at(5 * DAY)).unwrap() {}
    // What comes late to each of them, and many small blocks to be joined.
    let late = (0..120).map(|series| sample(series, DAY + 5, 1.5));
    plant.commit(samples(late.collect()));
    while keeper.round(at(6 * DAY)).unwrap() {}
    assert_eq!(plant.ask("SELECT count(*) FROM readings"), 0);
    assert_eq!(plant.ask("SELECT count(*) FROM late_readings"), 0);
    assert_eq!(plant.ask("SELECT count(*) FROM rollups"), 120 * 3 * 25);
    let largest = keeper.take_largest_chore();
    assert!((1..=MOST_PAGES).contains(&largest), "{largest} pages");
}

#[test]
fn a_damaged_block_is_told_and_hides_nothing_else() {
    let plant = Plant::start(patient());
    plant.commit(samples(days(10)));
    plant.keep(11 * DAY);
    plant.meddle("UPDATE blocks SET body = zeroblob(length(body)) WHERE series = 1");
    let id = |series| plant.series.id(SeriesIx(series)).unwrap();
    let read = |series| {
        plant
            .reader()
            .readings(id(series), Timestamp::MIN, Timestamp::MAX, usize::MAX >> 1)
    };
    let told = read(0).unwrap_err().to_string();
    assert!(
        told.contains("checksum") && told.contains("backup"),
        "{told}"
    );
    assert_eq!(read(1).unwrap().len(), 10 * 24 * 60);
    plant.commit(samples(vec![sample(0, 1, 1.5), sample(3, 1, 1.5)]));
    plant.keep(12 * DAY);
    assert_eq!(
        plant.ask("SELECT count(*) FROM late_readings"),
        1,
        "it stays beside"
    );
    assert_eq!(read(3).unwrap().len(), 10 * 24 * 60 + 1);
}

/// Has every chore from the `n`-th on fail, as a disk might, and looks what is
/// left then.
#[test]
fn stopped_anywhere_each_value_is_there_once() {
    for stop in 0.. {
        let plant = Plant::start(patient());
        plant.commit(samples(days(2)));
        plant.meddle(
            "CREATE TABLE steps (n INTEGER); INSERT INTO steps VALUES (0);
             CREATE TRIGGER block BEFORE INSERT ON blocks BEGIN UPDATE steps SET n = n + 1; END;
             CREATE TRIGGER unblock BEFORE DELETE ON blocks BEGIN UPDATE steps SET n = n + 1; END;
             CREATE TRIGGER moved BEFORE UPDATE ON meta BEGIN UPDATE steps SET n = n + 1; END;",
        );
        plant.meddle(&format!(
            "CREATE TRIGGER fails BEFORE UPDATE ON steps WHEN new.n > {stop}
             BEGIN SELECT raise(ABORT, 'no more'); END;"
        ));
        let expected = (0..minutes(2)).count();
        let mut keeper = plant.keeper();
        let outcome = (0..3).try_for_each(|_| keeper.round(at(3 * DAY)).map(|_| ()));
        for series in [0, 1, 3] {
            assert_eq!(plant.all(series).len(), expected, "stopped after {stop}");
        }
        plant.meddle("DROP TRIGGER fails");
        // A late one in the middle of what was being packed.
        let late = plant.commit(samples(vec![sample(0, 30, 1.0), sample(0, 60_000, 0.01)]));
        assert_eq!((late.counts.stored, late.counts.duplicates), (1, 1));
        plant.keep(3 * DAY);
        plant.keep(4 * DAY);
        assert_eq!(plant.all(0).len(), expected + 1, "stopped after {stop}");
        assert_eq!(plant.all(1).len(), expected, "stopped after {stop}");
        if outcome.is_ok() {
            assert!(stop > 5, "the steps were counted");
            return;
        }
    }
}

fn minutes(days: i64) -> i64 {
    days * 24 * 60
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whatever comes, in whatever order, with rounds in between: the store
    /// holds the first value of each key, and counts the others.
    #[test]
    fn packing_changes_nothing(
        steps in proptest::collection::vec(
            (proptest::collection::vec((0..3u32, 0..40i64, 0..4u8), 0..30), 0..8i64),
            1..12,
        ),
    ) {
        let plant = Plant::start(patient());
        let mut model = std::collections::BTreeMap::new();
        let mut stored = 0;
        let mut now = 2 * DAY;
        for (values, forward) in steps {
            let batch = values.iter().map(|(series, place, value)| {
                let time = place * 3 * HOUR;
                model.entry((*series, time)).or_insert(f64::from(*value) / 2.0);
                sample(*series, time, f64::from(*value) / 2.0)
            });
            let batch: Vec<_> = batch.collect();
            if !batch.is_empty() {
                stored += plant.commit(samples(batch)).counts.stored;
            }
            now += forward * 6 * HOUR;
            plant.keep(now);
        }
        prop_assert_eq!(stored, model.len() as u64);
        for series in 0..3 {
            let found: Vec<_> = plant.all(series).iter().map(|one| (one.time.millis(), one.value)).collect();
            let expected: Vec<_> = model.range((series, i64::MIN)..=(series, i64::MAX))
                .map(|((_, time), value)| (*time, *value)).collect();
            prop_assert_eq!(found, expected);
        }
    }
}
