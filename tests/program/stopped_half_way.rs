//! Long work that a person stops half way: exports and reports.

use std::fs::OpenOptions;
use std::io::{ErrorKind, Read, Write};
use std::os::fd::AsRawFd;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::export;
use crate::plant::Plant;
use crate::wait::until;

/// Linux's `O_NONBLOCK`.
const O_NONBLOCK: i32 = 0o4000;
/// What fills the pipe; no message has it.
const FILLING: u8 = 0;

/// Fills a pipe, so that who writes into it next waits for its reader.
fn fill(pipe: &std::io::PipeWriter) {
    let mut other_end = OpenOptions::new()
        .write(true)
        .custom_flags(O_NONBLOCK)
        .open(format!("/proc/self/fd/{}", pipe.as_raw_fd()))
        .unwrap();
    loop {
        match other_end.write(&[FILLING; 4096]) {
            Ok(_) => {}
            Err(why) if why.kind() == ErrorKind::WouldBlock => return,
            Err(why) => panic!("{why}"),
        }
    }
}

fn names(folder: &Path) -> Vec<String> {
    let entries = std::fs::read_dir(folder).unwrap();
    let mut names: Vec<String> = entries
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// Begins the work, which waits in the middle as nobody reads how far it has come;
/// sends the signal; reads on once it has been heard. Gives the exit status and
/// what was said.
fn stopped(plant: &Plant, arguments: &[&str], signal: &str) -> (Option<i32>, String) {
    let before = names(plant.folder());
    let (mut told, teller) = std::io::pipe().unwrap();
    fill(&teller);
    let mut child = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(arguments)
        .args(["--progress", "--config"])
        .arg(plant.config())
        .current_dir(plant.folder())
        .stdout(Stdio::null())
        .stderr(teller)
        .spawn()
        .unwrap();
    until("a file is under way", || {
        (names(plant.folder()) != before).then_some(())
    });
    let pid = child.id().to_string();
    let sent = Command::new("kill").args(["-s", signal, &pid]).status();
    assert!(sent.unwrap().success());
    // The thread that listens for signals ends with the first.
    until("the signal is heard", || {
        let threads = std::fs::read_dir(format!("/proc/{pid}/task")).unwrap();
        (threads.count() == 1).then_some(())
    });
    let mut text = Vec::new();
    told.read_to_end(&mut text).unwrap();
    text.retain(|byte| *byte != FILLING);
    let status = child.wait().unwrap();
    assert_eq!(
        names(plant.folder()),
        before,
        "{arguments:?} left something"
    );
    (status.code(), String::from_utf8(text).unwrap())
}

#[test]
fn what_is_stopped_half_way_leaves_nothing_and_says_so() {
    let plant = export::plant(1883);
    export::keep(&plant);
    let store = rusqlite::Connection::open(plant.store().join("sumpward.db")).unwrap();
    store.execute_batch(export::ROLLUPS).unwrap();
    drop(store);
    std::fs::write(plant.folder().join("there.csv"), "theirs").unwrap();
    let asked: [&[&str]; 8] = [
        &["export", "series", "a.csv"],
        &["export", "series", "a.parquet"],
        &["export", "rollups", "a.csv"],
        &["export", "rollups", "a.parquet"],
        &["export", "journal", "a.csv"],
        &["export", "journal", "a.parquet"],
        &["export", "series", "there.csv", "--force"],
        &["report", "--out", "a.html", "--csv", "tables"],
    ];
    let mut showed_how_far = 0;
    for arguments in asked {
        for signal in ["INT", "TERM"] {
            let (status, told) = stopped(&plant, arguments, signal);
            assert_eq!(status, Some(1), "{arguments:?} {signal}: {told}");
            let why = told.lines().last();
            assert_eq!(why, Some("stopped; nothing was written"), "{arguments:?}");
            showed_how_far += usize::from(told.contains(" %, "));
        }
    }
    // The signal may be faster than the first word of how far it has come.
    assert!(showed_how_far > 0);
    let there = std::fs::read_to_string(plant.folder().join("there.csv"));
    assert_eq!(there.unwrap(), "theirs");
}
