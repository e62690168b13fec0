//! A copy of the store of a running daemon, and its way back.

use std::fmt::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;
use std::process::{Command, Output};

use sumpward::units::Span;

use crate::broker::{Keeps, Mosquitto};
use crate::daemon::{Daemon, stored};
use crate::plant::{Plant, Wanted, now};

/// Runs a subcommand with a file.
fn run(plant: &Plant, words: &[&str], file: &Path) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(words)
        .arg(file)
        .arg("--config")
        .arg(plant.config())
        .current_dir(plant.folder())
        .output()
        .unwrap()
}

fn told(output: &Output) -> String {
    let both = [&output.stdout[..], &output.stderr[..]].concat();
    String::from_utf8_lossy(&both).into_owned()
}

/// One value a minute, until yesterday.
fn history(plant: &Plant, rows: i64) {
    let begun = now() - Span::from_hours(24) - Span::from_mins(rows);
    let mut csv = String::from("time,sump,channel,value\n");
    for n in 0..rows {
        let time = begun + Span::from_mins(n);
        let _ = writeln!(csv, "{time},s0,brix,{}", 4.0 + n as f64 / 1000.0);
    }
    let file = plant.folder().join("history.csv");
    std::fs::write(&file, csv).unwrap();
    let done = run(plant, &["import"], &file);
    assert_eq!(done.status.code(), Some(0), "{}", told(&done));
}

#[test]
fn a_copy_is_taken_from_a_running_daemon_and_goes_back_to_a_stopped_one() {
    let broker = Mosquitto::start(Keeps::Nothing);
    let plant = Plant::write(&Wanted {
        port: broker.port,
        sumps: 1,
        on_delay: "0 s",
        broker: "",
    });
    let daemon = Daemon::start(&plant);
    history(&plant, 5_000);
    let file = plant.folder().join("copy.db");
    let made = run(&plant, &["backup"], &file);
    assert_eq!(made.status.code(), Some(0), "{}", told(&made));
    assert!(told(&made).contains("5000 values"), "{}", told(&made));
    let mode = std::fs::metadata(&file).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    let again = run(&plant, &["backup"], &file);
    assert_eq!(again.status.code(), Some(1));
    assert!(told(&again).contains("not overwritten"), "{}", told(&again));
    let checked = run(&plant, &["backup", "--check"], &file);
    assert_eq!(checked.status.code(), Some(0), "{}", told(&checked));
    let early = run(&plant, &["restore"], &file);
    assert_eq!(early.status.code(), Some(1));
    assert!(
        told(&early).contains("in use by another"),
        "{}",
        told(&early)
    );

    daemon.kill();
    std::fs::write(plant.store().join("sumpward.db"), "lost").unwrap();
    let back = run(&plant, &["restore"], &file);
    assert_eq!(back.status.code(), Some(0), "{}", told(&back));
    assert!(told(&back).contains("before-restore-1"), "{}", told(&back));
    let _daemon = Daemon::start(&plant);
    assert_eq!(stored(&plant), 5_000);
}
