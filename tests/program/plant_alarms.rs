//! A disk that is too full, and servers of series that do not get what is stored:
//! each is one alarm of the plant.

use std::fs::File;
use std::io::Write;
use std::path::Path;

use rusqlite::{Connection, OpenFlags};
use serde_json::Value;
use sumpward::store::FILE_NAME;

use crate::broker::{Keeps, Mosquitto, TestClient};
use crate::daemon::Daemon;
use crate::forward::{import, plant, send};
use crate::plant::{Plant, Wanted};
use crate::rough_server::{Does, RoughServer, TOKEN};
use crate::series_store::SeriesStore;
use crate::wait::until;

const ROWS: usize = 20_000;

/// How the alarms about servers behave.
const AT_ONCE: &str =
    "[plant.rules.forward]\naway_after = \"1 s\"\non_delay = \"0 s\"\noff_delay = \"0 s\"\n";

/// The next step of an alarm of the plant.
fn next(client: &TestClient) -> Value {
    client.next("test/plant/alarm")
}

fn text_of(line: &Value) -> &str {
    line["text"].as_str().unwrap()
}

#[test]
fn a_server_that_refuses_us_is_one_alarm_with_its_words_until_it_takes_lines() {
    let server = RoughServer::start(&[Does::Answers(401)], &[]);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(&broker, &(server.settings("") + AT_ONCE));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/plant/alarm"]);
    let daemon = Daemon::start(&plant);
    send(&client, 100);
    let raised = next(&client);
    assert_eq!(raised["condition"], "forward.rough");
    assert_eq!(raised["transition"], "raised");
    assert_eq!(raised["forward"]["kind"], "refused");
    assert_eq!(raised["forward"]["why"], "status 401: no, (not shown)");
    let text = text_of(&raised);
    assert!(
        text.starts_with("test: SERVER rough DOES NOT GET ALL that is stored"),
        "{text}"
    );
    assert!(
        text.contains("takes nothing until somebody mends it: status 401"),
        "{text}"
    );
    assert!(
        text.contains("compare url, org, bucket and token"),
        "{text}"
    );
    assert!(!raised.to_string().contains(TOKEN));
    let returned = next(&client);
    assert_eq!(returned["transition"], "returned");
    assert_eq!(returned["id"], raised["id"]);
    assert_eq!(daemon.count_logged(TOKEN), 0);
}

#[test]
fn a_server_that_is_away_for_too_long_is_one_alarm_until_it_is_back() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let mut server = SeriesStore::start();
    let target = format!(
        "[forward.series]\nurl = \"http://127.0.0.1:{}\"\n",
        server.port
    );
    let plant = plant(&broker, &(target + AT_ONCE));
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/plant/alarm"]);
    let daemon = Daemon::start(&plant);
    send(&client, 100);
    daemon.logged("takes lines");
    server.stop();
    send(&client, 100);
    let raised = next(&client);
    assert_eq!(raised["condition"], "forward.series");
    assert_eq!(raised["forward"]["kind"], "away");
    let text = text_of(&raised);
    assert!(text.contains("is away or busy: no connection"), "{text}");
    server.start_again();
    let returned = next(&client);
    assert_eq!(returned["transition"], "returned");
    assert_eq!(returned["id"], raised["id"]);
}

#[test]
fn lines_that_are_refused_for_good_are_one_alarm() {
    let server = RoughServer::start(&[], &["value=4.333 "]);
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = plant(
        &broker,
        &(server.settings("what = [\"readings\"]") + AT_ONCE),
    );
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/plant/alarm"]);
    let daemon = Daemon::start(&plant);
    send(&client, 500);
    let raised = next(&client);
    assert_eq!(raised["condition"], "forward.rough");
    assert_eq!(raised["forward"]["kind"], "dead_letters");
    assert_eq!(raised["forward"]["dead_letters"], 1);
    assert_eq!(
        raised["forward"]["why"],
        "status 400: unable to parse 'value=4.333 '"
    );
    let text = text_of(&raised);
    assert!(text.contains("has refused 1 line for good"), "{text}");
    assert!(text.contains("file of dead letters"), "{text}");
    drop(daemon);
}

/// Bytes that are free on the disk of a folder.
fn free(folder: &Path) -> u64 {
    let found = rustix::fs::statvfs(folder).unwrap();
    found.f_bavail * found.f_frsize
}

/// Waits until all readings are in blocks.
fn wait_packed(plant: &Plant) {
    until("all readings are packed", || {
        let file = plant.store().join(FILE_NAME);
        let store = Connection::open_with_flags(file, OpenFlags::SQLITE_OPEN_READ_ONLY).ok()?;
        let sql = "SELECT (SELECT sum(count) FROM blocks JOIN series ON series.id = series
                   WHERE kind = 'reading')
                   - (SELECT count(*) FROM readings)";
        let packed: Option<i64> = store.query_row(sql, (), |row| row.get(0)).ok()?;
        (packed == Some(ROWS as i64)).then_some(())
    });
}

/// On a file system of its own in memory, as others may fill the real disk.
#[test]
fn a_disk_that_fills_up_is_one_alarm_that_says_what_it_costs_until_there_is_room() {
    const MEGABYTE: u64 = 1_000_000;
    let disk = tempfile::tempdir_in("/dev/shm").unwrap();
    let fill = (free(disk.path()) / 2).min(120 * MEGABYTE);
    let least = (free(disk.path()) - fill / 2) / MEGABYTE;
    let server = RoughServer::start_always(Does::Hangs);
    let broker = Mosquitto::start(Keeps::Nothing);
    let wanted = Wanted {
        port: broker.port,
        sumps: 2,
        on_delay: "0 s",
        broker: "",
    };
    let plant = Plant::write_with_store(&wanted, disk.path().join("store").to_str().unwrap());
    std::fs::write(plant.config().join("rough.token"), TOKEN).unwrap();
    let more = format!(
        "{}[store]\npack_after = \"10 min\"\nmin_free_mb = {least}\n\
         [plant.rules.disk]\non_delay = \"2 s\"\noff_delay = \"0 s\"\n",
        server.settings("history = \"all\"\nwhat = [\"readings\"]")
    );
    std::fs::write(plant.config().join("z.toml"), more).unwrap();
    let client = TestClient::connect(broker.port, "test", &["sumpward/test/plant/alarm"]);
    let daemon = Daemon::start(&plant);
    import(&plant, ROWS);
    wait_packed(&plant);
    let filled = disk.path().join("full");
    let mut file = File::create(&filled).unwrap();
    for _ in 0..fill / MEGABYTE {
        file.write_all(&[1; MEGABYTE as usize]).unwrap();
    }
    drop(file);

    let raised = next(&client);
    assert_eq!(
        (&raised["condition"], &raised["transition"]),
        (&"disk".into(), &"raised".into())
    );
    let told = &raised["disk"];
    let free_mb = told["free_mb"].as_f64().unwrap();
    assert_eq!(told["least_free_mb"], least as f64);
    assert!(
        free_mb < least as f64 && free_mb > (least - fill / MEGABYTE) as f64,
        "{told}"
    );
    assert_eq!(told["values_deleted"], ROWS);
    assert_eq!(told["values_not_forwarded"], ROWS);
    assert!(told["gone_to"].is_string(), "{told}");
    let text = text_of(&raised);
    assert!(
        text.starts_with("test: DISK TOO FULL, the oldest readings go"),
        "{text}"
    );
    let words = format!(
        "Deleted before their time since the daemon was started: {ROWS} values, {ROWS} of them before a server of series had them"
    );
    assert!(text.contains(&words), "{text}");
    assert!(text.contains("Make room on the disk"), "{text}");
    daemon.logged("the disk is too full");

    std::fs::remove_file(&filled).unwrap();
    let returned = next(&client);
    assert_eq!(
        (&returned["id"], &returned["transition"]),
        (&raised["id"], &"returned".into())
    );
    daemon.logged("there is room on the disk again");
}
