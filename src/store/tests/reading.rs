//! What readers get, and in which order.

use super::*;

/// A reading that arrived some time after its own.
fn delayed(series: u32, millis: i64, delay: i64) -> Sample {
    Sample {
        delay: Span::from_millis(delay),
        ..sample(series, millis, 1.0)
    }
}

#[test]
fn a_series_comes_by_time_within_its_bounds() {
    let plant = Plant::start(patient());
    plant.commit(samples(
        [5, 3, 1, 4, 2].map(|t| sample(0, t, t as f64)).to_vec(),
    ));
    let id = plant.series.id(SeriesIx(0)).unwrap();
    let times = |from, to, limit| -> Vec<i64> {
        plant
            .reader()
            .readings(id, at(from), at(to), limit)
            .unwrap()
            .iter()
            .map(|r| r.time.millis())
            .collect()
    };
    assert_eq!(times(2, 5, 10), [2, 3, 4]);
    assert_eq!(times(2, 6, 2), [2, 3]);
    assert!(times(6, 9, 10).is_empty());
}

#[test]
fn everything_of_a_sample_comes_back() {
    let plant = Plant::start(patient());
    let kept = Sample {
        value: 0.1 + 0.2,
        quality: Quality::LATE.with(Quality::OUT_OF_RANGE),
        delay: Span::from_millis(-70),
        ..sample(1, -5, 0.0)
    };
    plant.commit(samples(vec![kept]));
    let found = plant.all(1)[0];
    assert_eq!(plant.series.series(found.series), Some(kept.series));
    assert_eq!(
        (found.time, found.value, found.quality, found.delay),
        (kept.time, kept.value, kept.quality, kept.delay)
    );
}

#[test]
fn catching_up_follows_the_arrival() {
    let plant = Plant::start(patient());
    plant.commit(samples(vec![
        delayed(0, 99, 20),  // its time is before
        delayed(0, 105, 15), // third
        delayed(0, 119, 1),  // third too, after it by time
        delayed(1, 105, 15), // the same time and arrival, a later series
        delayed(0, 101, 0),  // second
        delayed(1, 110, -9), // second too: its clock runs ahead
        delayed(0, 100, 0),  // first
        delayed(2, 130, 0),  // an estimate
    ]));
    let mut order = Vec::new();
    plant
        .reader()
        .readings_since(at(100), |reading| {
            let series = plant.series.series(reading.series).unwrap();
            order.push((series.0, reading.time.millis()));
        })
        .unwrap();
    assert_eq!(
        order,
        [(0, 100), (0, 101), (1, 110), (0, 105), (1, 105), (0, 119)]
    );
}

#[test]
fn values_are_counted_by_kind() {
    let plant = Plant::start(patient());
    plant.commit(samples(vec![
        sample(0, 1, 1.0),
        sample(3, 1, 1.0),
        sample(2, 1, 1.0),
    ]));
    let reader = plant.reader();
    assert_eq!(reader.count_readings(SeriesKind::Reading).unwrap(), 2);
    assert_eq!(reader.count_readings(SeriesKind::Estimate).unwrap(), 1);
}

#[test]
fn the_journal_is_paged_in_its_own_order() {
    let plant = Plant::start(patient());
    plant.commit(journal(vec![
        line(2, "m1", 3, "note", "{}"),
        line(1, "m2", 1, "note", "{}"),
        line(1, "m1", 2, "note", "{}"),
        line(1, "m1", 1, "note", "{}"),
    ]));
    let reader = plant.reader();
    let mut found = Vec::new();
    let mut after = None;
    loop {
        let page = reader.journal(after.as_ref(), 3).unwrap();
        let Some(last) = page.last() else { break };
        after = Some(last.key());
        found.extend(
            page.iter()
                .map(|l| (l.time.millis(), l.sump.clone(), l.seq)),
        );
    }
    let expected = [(1, "m1", 1), (1, "m1", 2), (1, "m2", 1), (2, "m1", 3)]
        .map(|(time, sump, seq)| (time, sump.to_owned(), seq));
    assert_eq!(found, expected);
}

#[test]
fn journal_lines_are_counted_by_a_field() {
    let plant = Plant::start(patient());
    plant.commit(journal(vec![
        line(1, "m1", 1, "alarm", r#"{"state":"raised"}"#),
        line(2, "m1", 2, "alarm", r#"{"state":"cleared"}"#),
        line(3, "m1", 3, "alarm", r#"{"state":"raised"}"#),
        line(4, "m1", 4, "alarm", "not JSON"),
        line(5, "m1", 5, "note", r#"{"state":"raised"}"#),
    ]));
    let count = |kind, field| plant.reader().count_journal(kind, field).unwrap();
    assert_eq!(count("alarm", None), 4);
    assert_eq!(count("alarm", Some(("state", "raised"))), 2);
    assert_eq!(count("alarm", Some(("other", "raised"))), 0);
}

#[test]
fn other_tools_read_names_times_and_words() {
    let plant = Plant::start(patient());
    let marks = [
        (Quality::GOOD, "good"),
        (Quality::LATE, "late"),
        (Quality::SPIKE, "spike"),
        (Quality::CLOCK, "clock"),
        (Quality::REPEATED, "repeated"),
        (Quality::OUT_OF_RANGE, "out_of_range"),
        (Quality::FAULT, "fault"),
        (Quality::UNSURE, "unsure"),
        (Quality::LATE.with(Quality::SPIKE), "late spike"),
    ];
    let start = Timestamp::parse("2026-03-02T06:10:00.001Z").unwrap();
    plant.commit(samples(
        (0..)
            .zip(marks)
            .map(|(n, (quality, _))| Sample {
                quality,
                delay: Span::from_millis(40),
                ..sample(0, start.millis() + 333 * n, 5.25)
            })
            .collect(),
    ));
    let other = rusqlite::Connection::open(plant.folder.path().join(FILE_NAME)).unwrap();
    let mut select = other
        .prepare(
            "SELECT time, quality, value, delay_ms,
                    sump || ' ' || channel || ' ' || kind || ' ' || quantity || ' ' || unit
             FROM readings_plain ORDER BY time",
        )
        .unwrap();
    let rows = select
        .query_map((), |row| {
            assert_eq!(row.get::<_, f64>(2)?, 5.25);
            assert_eq!(row.get::<_, i64>(3)?, 40);
            assert_eq!(row.get::<_, String>(4)?, "m1 brix reading brix °Bx");
            Ok((row.get::<_, String>(0)?, row.get::<_, String>(1)?))
        })
        .unwrap();
    let rows: Vec<_> = rows.map(Result::unwrap).collect();
    assert_eq!(rows.len(), marks.len());
    for (n, ((time, words), (_, expected))) in (0..).zip(rows.into_iter().zip(marks)) {
        assert_eq!(words, expected);
        assert_eq!(
            Timestamp::parse(&time).unwrap().millis(),
            start.millis() + 333 * n
        );
    }
}

#[test]
fn a_reader_needs_a_store() {
    let folder = tempfile::tempdir().unwrap();
    assert!(Reader::open(folder.path()).is_err());
    assert!(!folder.path().join(FILE_NAME).exists(), "nothing is made");
}

#[test]
fn lines_of_one_kind_come_in_pages() {
    let plant = Plant::start(patient());
    plant.commit(journal(vec![
        line(1, "m1", 1, "alarm", "{}"),
        line(1, "m2", 1, "note", "{}"),
        line(2, "m1", 2, "note", "{}"),
        line(2, "m2", 2, "alarm", "{}"),
        line(3, "m1", 3, "alarm", "{}"),
    ]));
    let reader = plant.reader();
    let first = reader.journal_of_kind("alarm", None, 2).unwrap();
    let rest = reader
        .journal_of_kind("alarm", Some(&first[1].key()), 2)
        .unwrap();
    let times: Vec<i64> = first.iter().chain(&rest).map(|l| l.time.millis()).collect();
    assert_eq!(times, [1, 2, 3]);
}

#[test]
fn the_first_live_reading_is_none_of_those_that_came_late() {
    let plant = Plant::start(patient());
    assert_eq!(plant.reader().first_live_reading().unwrap(), None);
    assert_eq!(plant.reader().newest_snapshot().unwrap(), None);
    let late = Sample {
        quality: Quality::LATE,
        ..sample(0, 5, 1.0)
    };
    let snapshot = |time: i64, sump: &str| SnapshotRow {
        sump: sump.into(),
        time: at(time),
        body: Vec::new(),
    };
    plant.commit(Batch {
        snapshots: vec![snapshot(9, "m1"), snapshot(7, "m2")],
        ..samples(vec![late, sample(0, 8, 1.0), sample(1, 7, 1.0)])
    });
    assert_eq!(plant.reader().first_live_reading().unwrap(), Some(at(7)));
    assert_eq!(plant.reader().newest_snapshot().unwrap(), Some(at(9)));
}

#[test]
fn live_readings_come_by_the_hour_of_their_arrival() {
    let plant = Plant::start(patient());
    let late = Sample {
        quality: Quality::LATE,
        ..delayed(0, 12, 0)
    };
    plant.commit(samples(vec![
        delayed(0, 8, 3),   // arrived within, its time is before
        delayed(0, 22, -4), // the same of a clock that is ahead
        delayed(1, 18, 0),  // arrived at the same time, its time is earlier
        delayed(0, 10, 10), // arrived after
        delayed(2, 12, 0),  // an estimate
        delayed(0, 2, 10),  // too long on its way
        delayed(1, 10, 0),  // arrived at the very beginning
        late,
    ]));
    let found = plant
        .reader()
        .live_readings_arrived(at(10), at(20), Span::from_millis(5))
        .unwrap();
    let times: Vec<i64> = found.iter().map(|one| one.time.millis()).collect();
    assert_eq!(times, [10, 8, 18, 22]);
    let series = plant.reader().series_of_readings().unwrap();
    let names: Vec<_> = series
        .iter()
        .map(|one| {
            (
                one.sump.as_str(),
                one.channel.as_str(),
                one.quantity.as_str(),
            )
        })
        .collect();
    assert_eq!(
        names,
        [
            ("m1", "brix", "brix"),
            ("m1", "level", "level"),
            ("m2", "brix", "brix")
        ]
    );
}
