//! The demo as a newcomer starts it, where there is no terminal.

use std::process::Command;

/// The number behind a label on one of the last lines.
fn count(output: &str, label: &str) -> u64 {
    let line = output
        .lines()
        .rev()
        .take(4)
        .find_map(|line| line.strip_prefix(label));
    line.and_then(|number| number.trim().parse().ok())
        .unwrap_or_else(|| panic!("no line \"{label}\" in\n{output}"))
}

#[test]
fn it_tells_its_story_and_stops_by_itself() {
    let folder = tempfile::tempdir().unwrap();
    let store = folder.path().join("store");
    let done = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["demo", "--hours", "16", "--speed", "1000000", "--folder"])
        .arg(&store)
        .output()
        .unwrap();
    assert!(
        done.status.success(),
        "{}",
        String::from_utf8_lossy(&done.stderr)
    );
    let output = String::from_utf8(done.stdout).unwrap();
    assert!(count(&output, "readings stored: ") > 10_000, "{output}");
    assert!(count(&output, "alarms raised: ") >= 4, "{output}");
    assert!(count(&output, "advice given: ") >= 4, "{output}");
    assert!(count(&output, "advice followed: ") >= 1, "{output}");
    for words in [
        "mill-2     concentration TOO LOW",
        "Never pour neat concentrate",
        "mill-2     dose worked",
        "probe pH SILENT",
        "probe refractometer DRIFTS UP",
    ] {
        assert!(
            output.contains(words),
            "\"{words}\" is missing in\n{output}"
        );
    }
    // Bubbles are no reason for an alarm, nor is anything where all is well.
    for sump in ["central-1  conc", "saw-1"] {
        let alarmed = output
            .lines()
            .any(|line| line.contains("  ! ") && line.contains(sump));
        assert!(!alarmed, "{output}");
    }
}

#[test]
fn it_stops_after_some_seconds_too() {
    let folder = tempfile::tempdir().unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["demo", "--seconds", "1", "--folder"])
        .arg(folder.path().join("store"))
        .output()
        .unwrap();
    assert!(done.status.success());
    let output = String::from_utf8(done.stdout).unwrap();
    assert!(count(&output, "readings stored: ") > 0, "{output}");
}

#[test]
fn it_never_goes_on_in_an_old_store() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("sumpward.db"), "somebody's").unwrap();
    let done = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["demo", "--seconds", "1", "--folder"])
        .arg(folder.path())
        .output()
        .unwrap();
    assert_eq!(done.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&done.stderr).contains("name a new folder"));
}
