//! Files that a disk, or somebody, has really damaged.

use std::fs;

use super::*;

/// SQLite's page size where none is asked for.
const PAGE: usize = 4096;

/// A store with packed and recent readings, rollups and a journal, that was not
/// closed in good order: its file and its log as a power cut leaves them.
fn cut_off() -> TempDir {
    let plant = Plant::start(patient());
    let packed = (0..9_000).map(|n| sample(0, 60_000 * n, (n % 77) as f64));
    plant.commit(samples(packed.collect()));
    let now = 60_000 * 9_000;
    let setup = KeeperSetup::default();
    let mut keeper = Keeper::open(plant.folder.path(), plant.writer.handle(), setup).unwrap();
    while keeper.round(at(now)).unwrap() {}
    drop(keeper);
    plant.meddle("PRAGMA wal_checkpoint(PASSIVE)");
    plant.commit(Batch {
        journal: vec![line(1, "m1", 1, "note", "{}")],
        ..samples(vec![sample(1, now, 1.0)])
    });
    as_if_cut_off(plant.folder.path())
}

/// The pages of a table or an index.
fn root_of(folder: &Path, name: &str) -> usize {
    let copy = as_if_cut_off(folder);
    let other = rusqlite::Connection::open(copy.path().join(FILE_NAME)).unwrap();
    let sql = "SELECT rootpage FROM sqlite_schema WHERE name = ?1";
    let root: i64 = other.query_row(sql, [name], |row| row.get(0)).unwrap();
    root as usize - 1
}

/// Overwrites bytes of the file.
fn overwrite(folder: &Path, file: &str, from: usize, length: usize) {
    let path = folder.join(file);
    let mut bytes = fs::read(&path).unwrap();
    let end = bytes.len().min(from + length);
    bytes[from..end].fill(0xa5);
    fs::write(&path, bytes).unwrap();
}

/// Opens what is there, writes and reads, and says how it was found.
fn opens_and_works(folder: &TempDir) -> Opened {
    let mut store = Store::open(folder.path()).unwrap();
    let found = store.opened().clone();
    let series = store.register(&series_rows()).unwrap();
    let writer = Writer::<u32>::start(store, series, patient(), Box::new(|_| {})).unwrap();
    let now = 60_000 * 9_000 + 1;
    writer
        .handle()
        .submit(samples(vec![sample(2, now, 1.0)]))
        .unwrap();
    writer.handle().flush().unwrap();
    let reader = Reader::open(folder.path()).unwrap();
    assert_eq!(reader.count_readings(SeriesKind::Estimate).unwrap(), 1);
    writer.stop().unwrap();
    found
}

#[test]
fn whatever_is_damaged_the_daemon_has_a_store_and_nothing_is_deleted() {
    type Damage = fn(&Path);
    let without_log: Damage = |folder| {
        fs::remove_file(folder.join(format!("{FILE_NAME}-wal"))).unwrap();
    };
    let damages: [(&str, Damage); 5] = [
        ("header", |folder| overwrite(folder, FILE_NAME, 0, 60)),
        ("first page", |folder| {
            overwrite(folder, FILE_NAME, 100, PAGE - 100)
        }),
        ("table", |folder| {
            overwrite(folder, FILE_NAME, root_of(folder, "rollups") * PAGE, PAGE);
        }),
        ("index", |folder| {
            overwrite(
                folder,
                FILE_NAME,
                root_of(folder, "blocks_by_series") * PAGE,
                PAGE,
            );
        }),
        ("blocks", |folder| {
            overwrite(folder, FILE_NAME, root_of(folder, "blocks") * PAGE, PAGE)
        }),
    ];
    for (name, damage) in damages {
        let folder = cut_off();
        damage(folder.path());
        // Pages that the log holds anew would hide the damage.
        without_log(folder.path());
        let damaged = fs::read(folder.path().join(FILE_NAME)).unwrap();
        let Opened::SetAside { path, reason } = opens_and_works(&folder) else {
            panic!("{name}: the damage was not seen");
        };
        assert!(!reason.is_empty());
        assert_eq!(fs::read(path).unwrap(), damaged, "{name}: it is evidence");
    }
}

#[test]
fn a_damaged_log_costs_what_was_in_it_at_most() {
    let folder = cut_off();
    let log = format!("{FILE_NAME}-wal");
    overwrite(folder.path(), &log, 32 + 24 + 100, 3 * PAGE);
    assert_eq!(opens_and_works(&folder), Opened::AfterUncleanStop);
    let reader = Reader::open(folder.path()).unwrap();
    assert_eq!(reader.count_readings(SeriesKind::Reading).unwrap(), 9_000);
    // And one that is no log at all.
    let folder = cut_off();
    fs::write(folder.path().join(&log), vec![0x5a; 50_000]).unwrap();
    assert_eq!(opens_and_works(&folder), Opened::AfterUncleanStop);
}
