//! Files that earlier versions wrote.

use rusqlite::Connection;

use super::*;
use crate::store::packing::{Packed, Packer};

/// The schema that the first version wrote, which files out there still have.
const SCHEMA_1: &str = include_str!("schema_1.sql");

/// What the second one added.
const SCHEMA_2: &str = include_str!("schema_2.sql");

/// What the third one added.
const SCHEMA_3: &str = include_str!("schema_3.sql");

/// What the fourth one added.
const SCHEMA_4: &str = include_str!("schema_4.sql");

/// What the fifth one added.
const SCHEMA_5: &str = include_str!("schema_5.sql");

#[test]
fn a_file_of_the_first_schema_is_brought_up_and_keeps_what_it_holds() {
    let folder = tempfile::tempdir().unwrap();
    let old = Connection::open(folder.path().join(FILE_NAME)).unwrap();
    old.execute_batch(SCHEMA_1).unwrap();
    old.execute_batch(
        "PRAGMA application_id = 0x53756d70;
         PRAGMA user_version = 1;
         INSERT INTO series VALUES (1, 'm1', 'brix', 'brix', '°Bx', 'reading');
         INSERT INTO readings VALUES (1000, 1, 6.2, 0, 5);
         INSERT INTO journal VALUES (1000, 'm1', 1, 'entry', '{\"entry\":{\"id\":\"a1\"}}');
         INSERT INTO journal VALUES (1000, 'm1', 2, 'entry', 'no JSON');
         INSERT INTO outbox (topic, payload, retain, created) VALUES ('t', 'p', 0, 1);
         INSERT INTO snapshots VALUES ('m1', 1000, x'00');
         INSERT INTO recent_messages VALUES ('main', 7, 1, 1);",
    )
    .unwrap();
    drop(old);
    not_brought_up_yet(folder.path());

    let mut store = Store::open(folder.path()).unwrap();
    assert_eq!(*store.opened(), Opened::Clean);
    let brix = series_rows().remove(0);
    let series = store.register(&[brix]).unwrap();
    store.close().unwrap();
    let reader = Reader::open(folder.path()).unwrap();
    let id = series.id(SeriesIx(0)).unwrap();
    let kept = reader
        .readings(id, Timestamp::MIN, Timestamp::MAX, 9)
        .unwrap();
    assert_eq!((kept.len(), kept[0].value), (1, 6.2));
    assert_eq!(reader.journal(None, 9).unwrap().len(), 2);
    assert_eq!(reader.outbox_depth().unwrap(), 1);
    assert!(reader.snapshot("m1").unwrap().is_some());
    assert_eq!(reader.recent_messages(&"main".into()).unwrap().len(), 1);
    assert_eq!(reader.cursors("").unwrap(), []);
    assert!(reader.has_entry("m1", "a1").unwrap());
    assert!(!reader.has_entry("m2", "a1").unwrap());
}

#[test]
fn a_file_of_the_second_schema_is_brought_up_and_keeps_its_messages() {
    let folder = tempfile::tempdir().unwrap();
    let old = Connection::open(folder.path().join(FILE_NAME)).unwrap();
    old.execute_batch(SCHEMA_1).unwrap();
    old.execute_batch(SCHEMA_2).unwrap();
    old.execute_batch(
        "PRAGMA application_id = 0x53756d70;
         PRAGMA user_version = 2;
         INSERT INTO outbox (topic, payload, retain, slot, created, correlation)
         VALUES ('t', 'first', 1, 's', 1, x'07'), ('t', 'second', 0, NULL, 2, NULL);
         INSERT INTO cursors VALUES ('import', 5, 1);",
    )
    .unwrap();
    drop(old);
    not_brought_up_yet(folder.path());

    let store = Store::open(folder.path()).unwrap();
    assert_eq!(*store.opened(), Opened::Clean);
    store.close().unwrap();
    let reader = Reader::open(folder.path()).unwrap();
    let kept = reader.outbox_after(0, 9).unwrap();
    let payloads: Vec<&str> = kept.iter().map(|one| one.payload.as_str()).collect();
    assert_eq!(payloads, ["first", "second"]);
    assert_eq!(kept[0].correlation.as_deref(), Some(&[7][..]));
    assert_eq!(reader.receivers().unwrap(), [(BROKER.to_owned(), 2)]);
    assert_eq!(reader.expired(at(i64::MAX)).unwrap(), 0);
    assert_eq!(reader.due(at(i64::MAX), 9).unwrap(), []);
    assert_eq!(reader.put_aside(9).unwrap(), []);
    assert_eq!(reader.cursors("").unwrap().len(), 1);
}

#[test]
fn a_file_of_the_third_schema_is_brought_up_and_its_readings_packed() {
    brought_up_and_packed(&[SCHEMA_1, SCHEMA_2, SCHEMA_3], "");
}

#[test]
fn a_file_of_the_fourth_schema_is_brought_up_and_its_readings_packed() {
    let followed = "INSERT INTO cursors VALUES ('forward/x/values', 0, 1);
                    INSERT INTO late_spans VALUES ('forward/x/values', 1, 2);";
    let folder = brought_up_and_packed(&[SCHEMA_1, SCHEMA_2, SCHEMA_3, SCHEMA_4], followed);
    let reader = Reader::open(folder.path()).unwrap();
    let standing = reader.standing("forward/x/values").unwrap().unwrap();
    assert_eq!(standing.late, [(at(1), at(2))]);
}

#[test]
fn a_file_of_the_fifth_schema_is_brought_up_and_its_blocks_are_read() {
    let plain: Vec<Packed> = (0..500).map(|n| packed(n, n as f64 / 10.0)).collect();
    // What a conversion of units leaves lies beside the decimal number.
    let beside: Vec<Packed> = (0..500)
        .map(|n| packed(n, (n as f64 / 10.0).next_up()))
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let old = Connection::open(folder.path().join(FILE_NAME)).unwrap();
    for schema in [SCHEMA_1, SCHEMA_2, SCHEMA_3, SCHEMA_4, SCHEMA_5] {
        old.execute_batch(schema).unwrap();
    }
    old.execute_batch(
        "PRAGMA application_id = 0x53756d70;
         PRAGMA user_version = 5;
         INSERT INTO series VALUES (1, 'm1', 'brix', 'brix', '°Bx', 'reading'),
                                   (2, 'm1', 'level', 'level', 'm', 'reading');
         UPDATE meta SET value = 30000000 WHERE name IN ('packed_to', 'settling_to');
         INSERT INTO readings VALUES (30000000, 1, 77.5, 0, 0);",
    )
    .unwrap();
    for (series, values) in [(1, &plain), (2, &beside)] {
        let body = Packer::new().pack(values);
        assert_eq!(body[0], series, "the format");
        let last = values[values.len() - 1].time;
        old.execute(
            "INSERT INTO blocks (series, first, last, count, live, body)
             VALUES (?1, 0, ?2, ?3, 0, ?4)",
            (series, last, values.len() as i64, body),
        )
        .unwrap();
    }
    drop(old);
    not_brought_up_yet(folder.path());

    let plant = Plant::start_in(folder, patient());
    let values = |series| -> Vec<f64> { plant.all(series).iter().map(|one| one.value).collect() };
    let expected = |values: &[Packed]| -> Vec<f64> { values.iter().map(|one| one.value).collect() };
    assert_eq!(values(0), [expected(&plain), vec![77.5]].concat());
    assert_eq!(values(1), expected(&beside));
    let version = Connection::open(plant.folder.path().join(FILE_NAME))
        .and_then(|other| other.pragma_query_value(None, "user_version", |row| row.get(0)));
    assert_eq!(version, Ok(6), "older programs refuse it");
}

/// Who only reads is told what to do, and the file is left as it is.
fn not_brought_up_yet(folder: &Path) {
    let told = Reader::open(folder).unwrap_err();
    assert!(matches!(told, StoreError::Older { .. }), "{told}");
}

fn packed(minute: i64, value: f64) -> Packed {
    Packed {
        time: 60_000 * minute,
        value,
        quality: 0,
        delay: 0,
    }
}

/// Makes a file of earlier schemas with rows, and looks what becomes of them.
fn brought_up_and_packed(schemas: &[&str], more: &str) -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    let old = Connection::open(folder.path().join(FILE_NAME)).unwrap();
    for schema in schemas {
        old.execute_batch(schema).unwrap();
    }
    old.pragma_update(None, "user_version", schemas.len() as i64)
        .unwrap();
    old.execute_batch(
        "PRAGMA application_id = 0x53756d70;
         INSERT INTO series VALUES (1, 'm1', 'brix', 'brix', '°Bx', 'reading'),
                                   (7, 'm1', 'volume', 'volume', 'L', 'estimate');
         WITH RECURSIVE minute(n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM minute WHERE n < 4999)
         INSERT INTO readings SELECT n * 60000, 1, n / 10.0, n % 5 = 0, n % 3 FROM minute;
         INSERT INTO readings VALUES (60000, 7, 812.3456789, 0, 0);
         INSERT INTO outbox (topic, payload, retain, created, receiver, message, expires)
         VALUES ('', 'letter', 0, 1, 'anna/mail', 'id', 9);
         INSERT INTO waiting (due, subject, body) VALUES (5, 'm1/ph', '{}');
         INSERT INTO put_aside (receiver, topic, payload, created, attempts, time, why)
         VALUES ('anna/mail', '', 'old', 1, 3, 2, 'refused');
         INSERT INTO cursors VALUES ('import', 5, 1);",
    )
    .unwrap();
    old.execute_batch(more).unwrap();
    drop(old);
    not_brought_up_yet(folder.path());

    let plant = Plant::start_in(folder, patient());
    let expected: Vec<_> = (0..5_000)
        .map(|n| (60_000 * n, n as f64 / 10.0, n % 5 == 0, n % 3))
        .collect();
    let found = |plant: &Plant| -> Vec<_> {
        let all = plant.all(0);
        all.iter()
            .map(|one| {
                let late = one.quality == Quality::LATE;
                (one.time.millis(), one.value, late, one.delay.millis())
            })
            .collect()
    };
    assert_eq!(found(&plant), expected);
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(plant.folder.path(), plant.writer.handle(), setup).unwrap();
    while keeper.round(at(60_000 * 5_000)).unwrap() {}
    assert_eq!(found(&plant), expected);
    assert_eq!(plant.all(2)[0].value, 812.345_678_9);
    let reader = plant.reader();
    assert_eq!(reader.receivers().unwrap(), [("anna/mail".to_owned(), 1)]);
    assert_eq!(reader.due(at(9), 9).unwrap().len(), 1);
    assert_eq!(reader.put_aside(9).unwrap().len(), 1);
    assert_eq!(reader.cursors("import").unwrap().len(), 1);
    plant.folder
}
