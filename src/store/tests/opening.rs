//! Opening, closing, and what may lie in the folder.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use rusqlite::Connection;

use super::*;

/// The schema that the first version wrote, which files out there still have.
const SCHEMA_1: &str = include_str!("schema_1.sql");

/// What the second one added.
const SCHEMA_2: &str = include_str!("schema_2.sql");

/// What the third one added.
const SCHEMA_3: &str = include_str!("schema_3.sql");

/// What the fourth one added.
const SCHEMA_4: &str = include_str!("schema_4.sql");

/// SQLite's page size where none is asked for.
const PAGE: usize = 4096;

fn told(folder: &Path) -> String {
    Store::open(folder).unwrap_err().to_string()
}

#[test]
fn a_new_folder_is_private_and_clean() {
    let parent = tempfile::tempdir().unwrap();
    let folder = parent.path().join("a/b");
    let store = Store::open(&folder).unwrap();
    assert_eq!(*store.opened(), Opened::Clean);
    let mode = fs::metadata(&folder).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o700);
    store.close().unwrap();
    let again = Store::open(&folder).unwrap();
    assert_eq!(*again.opened(), Opened::Clean);
}

#[test]
fn the_file_is_in_the_mode_that_is_promised() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let ask = |pragma: &str| {
        store
            .connection
            .pragma_query_value(None, pragma, |row| row.get::<_, rusqlite::types::Value>(0))
            .unwrap()
    };
    assert_eq!(ask("journal_mode"), "wal".to_owned().into());
    assert_eq!(ask("synchronous"), 2.into(), "2 is FULL");
    assert_eq!(ask("auto_vacuum"), 2.into(), "2 is INCREMENTAL");
    assert_eq!(ask("foreign_keys"), 1.into());
}

#[test]
fn deleted_rows_give_their_disk_back() {
    let plant = Plant::start(patient());
    plant.commit(samples((0..40_000).map(|t| sample(0, t, 1.0)).collect()));
    plant.writer.stop().unwrap();
    let path = plant.folder.path().join(FILE_NAME);
    let full = fs::metadata(&path).unwrap().len();
    let store = Store::open(plant.folder.path()).unwrap();
    store
        .connection
        .execute("DELETE FROM readings", ())
        .unwrap();
    // Gives back one page a step.
    store
        .connection
        .pragma(None, "incremental_vacuum", 1_000_000, |_| Ok(()))
        .unwrap();
    store.close().unwrap();
    let emptied = fs::metadata(&path).unwrap().len();
    assert!(emptied < full / 4, "{full} bytes became {emptied}");
}

#[test]
fn a_second_daemon_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let first = Store::open(folder.path()).unwrap();
    assert!(told(folder.path()).contains("in use by another running daemon"));
    drop(first);
    Store::open(folder.path()).unwrap();
}

#[test]
fn a_newer_schema_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    Store::open(folder.path()).unwrap().close().unwrap();
    let path = folder.path().join(FILE_NAME);
    Connection::open(&path)
        .and_then(|other| other.pragma_update(None, "user_version", 7))
        .unwrap();
    let before = fs::read(&path).unwrap();
    let told = told(folder.path());
    assert!(
        told.contains("has schema 7") && told.contains("up to 5"),
        "{told}"
    );
    assert!(matches!(
        Reader::open(folder.path()),
        Err(StoreError::Newer { .. })
    ));
    assert_eq!(fs::read(&path).unwrap(), before);
}

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
    assert!(Reader::open(folder.path()).is_err(), "not brought up yet");

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
    assert!(Reader::open(folder.path()).is_err(), "not brought up yet");

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
    assert!(Reader::open(folder.path()).is_err(), "not brought up yet");

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

#[test]
fn what_is_no_store_is_refused_and_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE_NAME);
    fs::write(&path, "shopping list\n".repeat(1000)).unwrap();
    let before = fs::read(&path).unwrap();
    let words = told(folder.path());
    assert!(
        words.contains("it is no database") && words.contains("move it away"),
        "{words}"
    );
    assert_eq!(fs::read(&path).unwrap(), before);

    fs::remove_file(&path).unwrap();
    Connection::open(&path)
        .and_then(|other| other.execute_batch("CREATE TABLE songs (title TEXT)"))
        .unwrap();
    let before = fs::read(&path).unwrap();
    assert!(told(folder.path()).contains("a database of another program"));
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn a_folder_that_cannot_be_made_is_told() {
    let parent = tempfile::tempdir().unwrap();
    let in_the_way = parent.path().join("file");
    fs::write(&in_the_way, "").unwrap();
    assert!(told(&in_the_way.join("store")).contains("cannot be used"));
}

#[test]
fn what_was_committed_outlives_a_cut_off() {
    let plant = Plant::start(patient());
    plant.commit(samples(vec![sample(0, 1, 5.0), sample(0, 2, 6.0)]));
    plant.submit(samples(vec![sample(0, 3, 7.0)]));
    let copy = as_if_cut_off(plant.folder.path());
    let store = Store::open(copy.path()).unwrap();
    assert_eq!(*store.opened(), Opened::AfterUncleanStop);
    let reader = Reader::open(copy.path()).unwrap();
    assert_eq!(reader.count_readings(SeriesKind::Reading).unwrap(), 2);
    store.close().unwrap();
    assert_eq!(*Store::open(copy.path()).unwrap().opened(), Opened::Clean);
}

#[test]
fn a_writer_that_is_only_dropped_leaves_its_data_and_the_mark() {
    let Plant {
        folder,
        writer,
        receipts,
        ..
    } = Plant::start(patient());
    let handle = writer.handle();
    handle.submit(samples(vec![sample(0, 1, 5.0)])).unwrap();
    handle.flush().unwrap();
    drop((writer, handle, receipts));
    let mut found = None;
    wait_until("the thread lets go of the folder", || {
        found = Store::open(folder.path()).ok();
        found.is_some()
    });
    assert_eq!(*found.unwrap().opened(), Opened::AfterUncleanStop);
    let reader = Reader::open(folder.path()).unwrap();
    assert_eq!(reader.count_readings(SeriesKind::Reading).unwrap(), 1);
}

/// Leaves a store that was not closed, with `damage` done to the bytes of its
/// file.
fn damaged(damage: impl Fn(&mut [u8])) -> TempDir {
    let plant = Plant::start(patient());
    plant.commit(samples((0..5_000).map(|t| sample(0, t, 1.0)).collect()));
    plant.writer.stop().unwrap();
    drop(Store::open(plant.folder.path()).unwrap());
    let path = plant.folder.path().join(FILE_NAME);
    let mut bytes = fs::read(&path).unwrap();
    damage(&mut bytes);
    fs::write(&path, bytes).unwrap();
    plant.folder
}

#[test]
fn a_damaged_file_is_set_aside_and_a_new_one_begun() {
    let in_the_schema = |bytes: &mut [u8]| bytes[100..PAGE].fill(0xff);
    let in_the_rows = |bytes: &mut [u8]| {
        let half = bytes.len() / 2 / PAGE * PAGE;
        bytes[half..half + 4 * PAGE].fill(0xff);
    };
    for folder in [damaged(in_the_schema), damaged(in_the_rows)] {
        let path = folder.path().join(FILE_NAME);
        let before = fs::read(&path).unwrap();
        let store = Store::open(folder.path()).unwrap();
        let Opened::SetAside {
            path: aside,
            reason,
        } = store.opened()
        else {
            panic!("opened as {:?}", store.opened());
        };
        assert!(!reason.is_empty());
        assert_eq!(*aside, folder.path().join("sumpward.db.damaged-1"));
        assert_eq!(fs::read(aside).unwrap(), before);
        let reader = Reader::open(folder.path()).unwrap();
        assert_eq!(reader.count_readings(SeriesKind::Reading).unwrap(), 0);
    }
}

#[test]
fn files_set_aside_do_not_replace_each_other() {
    let folder = damaged(|bytes| bytes[100..PAGE].fill(0xff));
    fs::write(folder.path().join("sumpward.db.damaged-1"), "earlier").unwrap();
    let store = Store::open(folder.path()).unwrap();
    assert!(matches!(
        store.opened(),
        Opened::SetAside { path, .. } if path.ends_with("sumpward.db.damaged-2")
    ));
}
