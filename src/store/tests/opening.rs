//! Opening, closing, and what may lie in the folder.

use std::fs;
use std::os::unix::fs::PermissionsExt;

use rusqlite::Connection;

use super::*;

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
        told.contains("has schema 7") && told.contains("up to 6"),
        "{told}"
    );
    assert!(matches!(
        Reader::open(folder.path()),
        Err(StoreError::Newer { .. })
    ));
    assert_eq!(fs::read(&path).unwrap(), before);
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
