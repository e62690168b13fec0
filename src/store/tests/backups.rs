//! Copies: taken from a store at work, checked, and put back.

use std::os::unix::fs::PermissionsExt;

use super::*;

#[test]
fn a_copy_is_whole_and_goes_back() {
    let plant = Plant::start(patient());
    plant.commit(Batch {
        journal: vec![line(1, "m1", 1, "note", "{}")],
        ..samples(
            (0..5_000)
                .map(|n| sample(0, 60_000 * n, n as f64))
                .collect(),
        )
    });
    let now = at(60_000 * 5_000);
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(plant.folder.path(), plant.writer.handle(), setup).unwrap();
    while keeper.round(now).unwrap() {}
    let away = tempfile::tempdir().unwrap();
    let file = away.path().join("copy.db");
    let mut told = Vec::new();
    let made = backup(plant.folder.path(), &file, |done, all| {
        told.push((done, all))
    })
    .unwrap();
    assert_eq!((made.values, made.journal, made.schema), (5_000, 1, 6));
    assert!(
        told.last()
            .is_some_and(|(done, all)| done == all && *all > 0)
    );
    let mode = std::fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    assert_eq!(
        std::fs::read_dir(away.path()).unwrap().count(),
        1,
        "nothing is left beside it"
    );
    assert_eq!(check(&file).unwrap(), made);
    let again = backup(plant.folder.path(), &file, |_, _| {}).unwrap_err();
    assert!(again.to_string().contains("not overwritten"), "{again}");

    // Not while the store is in use.
    assert!(restore(&file, plant.folder.path()).is_err());
    plant.commit(samples(vec![sample(0, -1, 1.0)]));
    let before = plant.all(0);
    let Plant { folder, writer, .. } = plant;
    writer.stop().unwrap();
    let (checked, aside) = restore(&file, folder.path()).unwrap();
    assert_eq!(checked, made);
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(*store.opened(), Opened::Clean);
    let count = |folder: &Path| {
        Reader::open(folder)
            .unwrap()
            .count_readings(SeriesKind::Reading)
    };
    assert_eq!(count(folder.path()).unwrap(), 5_000);
    // The one before is still there.
    let old = tempfile::tempdir().unwrap();
    std::fs::copy(aside.unwrap(), old.path().join(FILE_NAME)).unwrap();
    assert_eq!(count(old.path()).unwrap(), before.len() as u64);
}

#[test]
fn what_is_no_copy_is_told_as_such() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("store");
    let told = |error: BackupError| error.to_string();
    let missing = told(check(&folder.path().join("gone.db")).unwrap_err());
    assert!(missing.contains("there is no file"), "{missing}");
    let a_folder = told(check(folder.path()).unwrap_err());
    assert!(a_folder.contains("it is a folder"), "{a_folder}");
    let list = folder.path().join("list.txt");
    std::fs::write(&list, "shopping list\n".repeat(1_000)).unwrap();
    for error in [
        check(&list).unwrap_err(),
        restore(&list, &store).unwrap_err(),
    ] {
        let told = told(error);
        assert!(
            told.contains("is no copy of a store: it is no database"),
            "{told}"
        );
    }
    let to = folder.path().join("copy.db");
    let no_store = told(backup(&store, &to, |_, _| {}).unwrap_err());
    assert!(no_store.contains("there is no store in"), "{no_store}");
    let no_folder = folder.path().join("none/copy.db");
    let no_folder = told(backup(&store, &no_folder, |_, _| {}).unwrap_err());
    assert!(no_folder.contains("none; make it first"), "{no_folder}");
    std::fs::write(store.join(FILE_NAME), "shopping list\n".repeat(1_000)).unwrap();
    let no_store = told(backup(&store, &to, |_, _| {}).unwrap_err());
    assert!(no_store.contains("it is no database"), "{no_store}");
    assert!(!to.exists());
}

#[test]
fn a_damaged_copy_is_not_put_back() {
    let plant = Plant::start(patient());
    let rough = (0..9_000).map(|n| sample(0, 60_000 * n, (n * n % 7_919) as f64));
    plant.commit(samples(rough.collect()));
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(plant.folder.path(), plant.writer.handle(), setup).unwrap();
    while keeper.round(at(60_000 * 9_000)).unwrap() {}
    let away = tempfile::tempdir().unwrap();
    let file = away.path().join("copy.db");
    drop(keeper);
    backup(plant.folder.path(), &file, |_, _| {}).unwrap();
    let Plant { folder, writer, .. } = plant;
    writer.stop().unwrap();
    let path = folder.path().join(FILE_NAME);
    let before = std::fs::read(&path).unwrap();
    let whole = std::fs::read(&file).unwrap();

    let flip = |place: usize| {
        let mut bytes = whole.clone();
        bytes[place] ^= 0x55;
        std::fs::write(&file, bytes).unwrap();
    };
    // In the text of a block, which SQLite does not look at.
    let other = rusqlite::Connection::open(&file).unwrap();
    let body: Vec<u8> = other
        .query_row("SELECT body FROM blocks LIMIT 1", (), |row| row.get(0))
        .unwrap();
    drop(other);
    let place = whole
        .windows(64)
        .position(|bytes| bytes == &body[8..72])
        .unwrap();
    flip(place + 20);
    let told = restore(&file, folder.path()).unwrap_err().to_string();
    assert!(
        told.contains("not whole") && told.contains("checksum"),
        "{told}"
    );
    // In its header, cut short, and something else altogether.
    flip(3);
    assert!(restore(&file, folder.path()).is_err());
    std::fs::write(&file, &whole[..whole.len() / 2]).unwrap();
    assert!(restore(&file, folder.path()).is_err());
    std::fs::write(&file, "shopping list").unwrap();
    assert!(restore(&file, folder.path()).is_err());
    assert_eq!(
        std::fs::read(&path).unwrap(),
        before,
        "the store is as before"
    );
    assert_eq!(
        std::fs::read_dir(folder.path()).unwrap().count(),
        2,
        "store and lock alone"
    );
}
