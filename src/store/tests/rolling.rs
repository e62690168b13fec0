//! Rollups, what is deleted, and the log.

use std::sync::atomic::Ordering::Relaxed;

use super::*;

/// Lengths, ms.
const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;
const DAY: i64 = 24 * HOUR;

/// A value every 20 s for so many days, some of them bad.
fn series_0(days: i64) -> Vec<Sample> {
    (0..days * DAY / 20_000)
        .map(|n| Sample {
            quality: if n % 50 == 7 {
                Quality::FAULT
            } else {
                Quality::GOOD
            },
            ..sample(0, 20_000 * n, (n * 37 % 1000) as f64 / 100.0)
        })
        .collect()
}

/// Everything that the view of rollups shows, as text.
fn rollups(plant: &Plant) -> Vec<String> {
    let other = rusqlite::Connection::open(plant.folder.path().join(FILE_NAME)).unwrap();
    let mut select = other
        .prepare(
            "SELECT sump || ' ' || channel || ' ' || step || ' ' || start || ' '
                 || coalesce(min, '-') || ' ' || coalesce(mean, '-') || ' '
                 || coalesce(max, '-') || ' ' || good || ' ' || count
             FROM rollups_plain ORDER BY step, start, sump, channel",
        )
        .unwrap();
    let rows = select.query_map((), |row| row.get(0)).unwrap();
    rows.map(Result::unwrap).collect()
}

fn keep(plant: &Plant, setup: KeeperSetup, now: i64) {
    let mut keeper = Keeper::open(plant.folder.path(), plant.writer.handle(), setup).unwrap();
    while keeper.round(at(now)).unwrap() {}
}

#[test]
fn rollups_are_what_the_values_come_to() {
    let plant = Plant::start(patient());
    let all = series_0(3);
    plant.commit(samples(all.clone()));
    keep(&plant, KeeperSetup::default(), 4 * DAY);
    let rows = rollups(&plant);
    let of = |step: &str| rows.iter().filter(|row| row.contains(step)).count() as i64;
    assert_eq!(
        (of(" day "), of(" hour "), of(" minute ")),
        (3, 72, 72 * 60)
    );
    for (step, length) in [("day", DAY), ("hour", HOUR), ("minute", MINUTE)] {
        for start in [0, DAY + 5 * HOUR, 2 * DAY + 13 * HOUR + 7 * MINUTE] {
            let start = start / length * length;
            let within = all
                .iter()
                .filter(|one| (start..start + length).contains(&one.time.millis()));
            let count = within.clone().count();
            let good: Vec<f64> = within
                .filter(|one| one.quality == Quality::GOOD)
                .map(|one| one.value)
                .collect();
            let low = good.iter().copied().fold(f64::INFINITY, f64::min);
            let high = good.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let mean = good.iter().sum::<f64>() / good.len() as f64;
            let beginning = format!("m1 brix {step} {} ", iso(start));
            let row = rows.iter().find(|row| row.starts_with(&beginning)).unwrap();
            let numbers: Vec<f64> = row[beginning.len()..]
                .split(' ')
                .map(|word| word.parse().unwrap())
                .collect();
            assert_eq!((numbers[0], numbers[2]), (low, high), "{row}");
            assert!((numbers[1] - mean).abs() < 6e-6, "{row}: {mean}");
            assert_eq!(numbers[3..], [good.len() as f64, count as f64], "{row}");
        }
    }
}

/// The time as SQLite writes it.
fn iso(millis: i64) -> String {
    let (day, rest) = (millis / DAY + 1, millis % DAY);
    let (hour, minute) = (rest / HOUR, rest % HOUR / MINUTE);
    format!("1970-01-0{day}T{hour:02}:{minute:02}:00.000Z")
}

#[test]
fn rollups_do_not_depend_on_the_order_in_which_values_come() {
    let in_order = Plant::start(patient());
    in_order.commit(samples(series_0(3)));
    keep(&in_order, KeeperSetup::default(), 5 * DAY);

    let late = Plant::start(patient());
    let (second, first): (Vec<_>, Vec<_>) = (0..)
        .zip(series_0(3))
        .partition(|(n, _)| n % 7 == 3 || n % 1001 == 0);
    let only = |some: Vec<(i64, Sample)>| some.into_iter().map(|(_, one)| one).collect();
    late.commit(samples(only(first)));
    keep(&late, KeeperSetup::default(), 4 * DAY);
    late.commit(samples(only(second)));
    keep(&late, KeeperSetup::default(), 5 * DAY);
    assert_eq!(rollups(&late), rollups(&in_order));
}

#[test]
fn what_is_too_old_is_deleted_and_what_is_awaited_is_not() {
    let plant = Plant::start(patient());
    let mut all = series_0(20);
    all.extend((0..20 * 24).map(|hour| sample(3, hour * HOUR, 1.0)));
    plant.commit(Batch {
        journal: vec![
            line(1, "m1", 1, "note", "{}"),
            line(12 * DAY, "m1", 2, "note", "{}"),
        ],
        cursors: vec![cursor("forward/x/values", Some((5 * DAY) as u64))],
        ..samples(all)
    });
    let days = |days: i64| Some(Span::from_millis(days * DAY));
    let setup = KeeperSetup {
        keep: Keep {
            readings: days(10),
            minutes: days(15),
            journal: days(12),
            ..Keep::default()
        },
        ..KeeperSetup::default()
    };
    keep(&plant, KeeperSetup::default(), 21 * DAY);
    keep(&plant, setup, 21 * DAY + 2 * MINUTE);
    let first = |series| plant.all(series).first().unwrap().time.millis();
    assert!(first(0) <= 5 * DAY && first(0) > 0, "{}", first(0));
    assert_eq!(first(3), 0, "its one block is not too old as a whole");
    assert!(plant.writer.stats().deleted.load(Relaxed) > 0);
    plant.commit(Batch {
        cursors: vec![cursor("forward/x/values", None)],
        ..Batch::default()
    });
    keep(&plant, setup, 21 * DAY + 4 * MINUTE);
    assert!(first(0) > 8 * DAY && first(0) <= 11 * DAY, "{}", first(0));
    let rows = rollups(&plant);
    assert!(rows[0].starts_with("m1 brix day 1970-01-01"), "{}", rows[0]);
    let minutes = rows.iter().filter(|row| row.contains(" minute ")).count() as i64;
    assert_eq!(minutes, (14 * 24 - 1) * 60, "slow series have none");
    assert_eq!(plant.reader().journal(None, 9).unwrap().len(), 1);
}

/// Numbers that no rule foretells.
fn rough(n: i64) -> f64 {
    let mixed = n.cast_unsigned().wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    (mixed >> 40) as f64
}

#[test]
fn a_store_that_is_too_large_loses_the_oldest_values_first_and_gets_smaller() {
    let plant = Plant::start(patient());
    let noisy = (0..200_000).map(|n| sample(0, 10_000 * n, rough(n)));
    plant.commit(samples(noisy.collect()));
    let now = 10_000 * 200_000 + 2 * DAY;
    keep(&plant, KeeperSetup::default(), now);
    keep(&plant, KeeperSetup::default(), now + MINUTE);
    let size = || {
        std::fs::metadata(plant.folder.path().join(FILE_NAME))
            .unwrap()
            .len()
    };
    let stats = plant.writer.stats();
    let used = stats.file_bytes.load(Relaxed);
    assert!(used > 600_000, "{used}");
    let setup = KeeperSetup {
        room: Room {
            most: Some(used - 200_000),
            least_free: 0,
        },
        ..KeeperSetup::default()
    };
    keep(&plant, setup, now + 2 * MINUTE);
    assert!(stats.file_bytes.load(Relaxed) <= used - 200_000);
    assert!(stats.deleted_for_room.load(Relaxed) > 10_000);
    assert!(!stats.short_of_room.load(Relaxed));
    assert!(plant.all(0).first().unwrap().time.millis() > 0);
    assert!(
        rollups(&plant).len() > 30_000,
        "rollups stay as long as there are values"
    );
    let plant_size = size();
    assert!(plant_size < 20_000_000, "{plant_size}");

    let impossible = KeeperSetup {
        room: Room {
            most: None,
            least_free: u64::MAX,
        },
        ..KeeperSetup::default()
    };
    keep(&plant, impossible, now + 4 * MINUTE);
    assert!(stats.short_of_room.load(Relaxed), "it is told, and goes on");
    assert_eq!(
        plant
            .commit(samples(vec![sample(1, now, 1.0)]))
            .counts
            .stored,
        1
    );
}

#[test]
fn what_nobody_has_got_yet_is_counted_apart_where_it_goes_for_want_of_room() {
    let plant = Plant::start(patient());
    let two = (0..40_000).flat_map(|n| [sample(0, 10_000 * n, 1.0), sample(1, 10_000 * n, 2.0)]);
    plant.commit(Batch {
        cursors: vec![cursor("forward/x/values", Some(10_000 * 30_000))],
        ..samples(two.collect())
    });
    plant.meddle("INSERT INTO late_spans VALUES ('forward/x/values', 95000, 115000)");
    let now = 10_000 * 40_000 + 2 * DAY;
    keep(&plant, KeeperSetup::default(), now);
    let room = Room {
        most: None,
        least_free: u64::MAX,
    };
    let setup = KeeperSetup {
        room,
        ..KeeperSetup::default()
    };
    keep(&plant, setup, now + MINUTE);
    let stats = plant.writer.stats();
    assert_eq!(stats.values_deleted_for_room.load(Relaxed), 80_000);
    // Those behind the cursor, and two of each series that came late.
    let missed = stats.values_deleted_unforwarded.load(Relaxed);
    assert_eq!(missed, 2 * (9_999 + 2));
    assert_eq!(stats.deleted_to_ms.load(Relaxed), 10_000 * 39_999);
    assert!(
        stats.deleted_for_room.load(Relaxed) > 80_000,
        "rollups go last"
    );
}

#[test]
fn what_the_store_holds_is_counted_some_at_a_time() {
    let plant = Plant::start(patient());
    let lines = (0..12_345).map(|n| line(n / 3, "m1", n as u64, "note", "{}"));
    plant.commit(Batch {
        journal: lines.collect(),
        ..samples(series_0(3))
    });
    keep(&plant, KeeperSetup::default(), 4 * DAY);
    let stats = plant.writer.stats();
    *stats.held.lock().unwrap() = None;
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(plant.folder.path(), plant.writer.handle(), setup).unwrap();
    let held = loop {
        keeper.round(at(4 * DAY)).unwrap();
        if let Some(held) = *stats.held.lock().unwrap() {
            break held;
        }
    };
    let store = rusqlite::Connection::open(plant.folder.path().join(FILE_NAME)).unwrap();
    let ask = |sql: &str| -> u64 {
        let count: i64 = store.query_row(sql, (), |row| row.get(0)).unwrap();
        count.cast_unsigned()
    };
    let wanted = Held {
        blocks: ask("SELECT count(*) FROM blocks"),
        packed_values: series_0(3).len() as u64,
        minute_hours: 72,
        hours: 72,
        days: 3,
        journal_lines: 12_345,
    };
    assert!(wanted.blocks > 0);
    assert_eq!(held, wanted);
}

#[test]
fn another_program_that_reads_for_long_makes_the_log_grow_until_it_is_gone() {
    let plant = Plant::start(patient());
    plant.commit(samples(vec![sample(0, 0, 1.0)]));
    let log = plant.folder.path().join(format!("{FILE_NAME}-wal"));
    let size = || std::fs::metadata(&log).unwrap().len();
    let other = rusqlite::Connection::open(plant.folder.path().join(FILE_NAME)).unwrap();
    other.execute_batch("BEGIN").unwrap();
    other
        .query_row("SELECT count(*) FROM readings", (), |_| Ok(()))
        .unwrap();
    for round in 0..20 {
        let some = (0..5_000).map(|n| sample(0, 1 + 5_000 * round + n, n as f64));
        plant.commit(samples(some.collect()));
    }
    let large = size();
    let mut keeper = Keeper::open(
        plant.folder.path(),
        plant.writer.handle(),
        KeeperSetup::default(),
    )
    .unwrap();
    keeper.wal_may_have(large);
    keeper.round(at(1)).unwrap();
    assert_eq!(size(), large, "somebody still reads from it");
    assert_eq!(plant.writer.stats().wal_bytes.load(Relaxed), large);
    other.execute_batch("COMMIT").unwrap();
    keeper.wal_may_have(large);
    keeper.round(at(1)).unwrap();
    assert_eq!(size(), 0);
    assert_eq!(plant.writer.stats().wal_bytes.load(Relaxed), 0);
    assert_eq!(plant.all(0).len(), 100_001);
}

#[test]
fn a_series_is_drawn_from_rollups_where_its_values_are_gone() {
    let plant = Plant::start(patient());
    let all = (0..30 * DAY / 20_000).map(|n| sample(0, n * 20_000, (n % 4) as f64));
    plant.commit(samples(all.collect()));
    keep(&plant, KeeperSetup::default(), 31 * DAY);
    let id = plant.series.id(SeriesIx(0)).unwrap();
    let draw = |points| {
        let reader = plant.reader();
        reader.draw(id, at(0), at(30 * DAY), points).unwrap()
    };
    let (days, half_hours) = (draw(60), draw(1_440));
    assert_eq!(days.len(), 60);
    let spread = Spread {
        min: 0.0,
        mean: 1.5,
        max: 3.0,
    };
    assert!(
        days.iter()
            .all(|one| (one.count, one.good, one.spread) == (2_160, 2_160, Some(spread)))
    );
    let setup = KeeperSetup {
        keep: Keep {
            readings: Some(Span::from_millis(10 * DAY)),
            ..Keep::default()
        },
        ..KeeperSetup::default()
    };
    keep(&plant, setup, 31 * DAY + 2 * MINUTE);
    assert!(plant.all(0)[0].time.millis() > 15 * DAY);
    let close = |before: &[Drawn], after: &[Drawn]| {
        assert_eq!(before.len(), after.len());
        for (one, other) in before.iter().zip(after) {
            let mean = |drawn: &Drawn| drawn.spread.unwrap().mean;
            assert!((mean(one) - mean(other)).abs() < 1e-3, "{one:?} {other:?}");
            assert_eq!((one.from, one.count), (other.from, other.count));
        }
    };
    close(&days, &draw(60));
    close(&half_hours, &draw(1_440));
}
