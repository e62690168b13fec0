//! Which alarms come, go and move when settings are changed.

use std::fmt::Write;
use std::path::Path;
use std::process::{Command, Output};

use serde_json::Value;
use sumpward::units::{Span, Timestamp};

use crate::plant::{Plant, Wanted};

const START: &str = "2026-03-02T00:00:00Z";

fn plant() -> Plant {
    Plant::write(&Wanted {
        port: 1883,
        sumps: 2,
        on_delay: "10 min",
        broker: "",
    })
}

/// The settings with other limits of the first sump's concentration, which are
/// 6 % and 10 % otherwise.
fn changed(plant: &Plant) -> std::path::PathBuf {
    let folder = plant.folder().join("changed");
    std::fs::create_dir_all(folder.join("fluids")).unwrap();
    let fluid = "fluids/invented.toml";
    std::fs::copy(plant.config().join(fluid), folder.join(fluid)).unwrap();
    let text = std::fs::read_to_string(plant.config().join("plant.toml")).unwrap();
    let table = "[sump.s0.limits.concentration]\n";
    let limits = format!("{table}low = \"5.5 %\"\nhigh = \"9.5 %\"\n");
    std::fs::write(folder.join("plant.toml"), text.replace(table, &limits)).unwrap();
    folder
}

const LIMITS: [&str; 4] = [
    "concentration.low_low",
    "concentration.low",
    "concentration.high",
    "concentration.high_high",
];

/// A day of minutes; the fluid's factor is 2.
fn history() -> String {
    let start = Timestamp::parse(START).unwrap();
    let mut csv = String::from("time,sump,channel,value\n");
    for minute in 0..1200 {
        let time = start + Span::from_mins(minute);
        let first = match minute {
            100..200 => 2.9,            // 5.8 %
            400..430 | 500..560 => 2.9, // 5.8 %
            430..500 => 2.6,            // 5.2 %
            230..330 => 4.85,           // 9.7 %
            _ => 4.0,
        };
        // What makes it rich went in: else it were a film on the prism.
        let level = if (230..330).contains(&minute) {
            0.93
        } else {
            0.9
        };
        let second = if (900..1000).contains(&minute) {
            2.9
        } else {
            4.0
        };
        for (sump, value) in [("s0", first), ("s1", second)] {
            let _ = writeln!(csv, "{time},{sump},brix,{value}");
            let filled = if sump == "s0" { level } else { 0.9 };
            let _ = writeln!(csv, "{time},{sump},level,{filled}");
        }
    }
    csv
}

fn compare(plant: &Plant, changed: &Path, more: &[&str]) -> Output {
    let readings = plant.folder().join("readings.csv");
    std::fs::write(&readings, history()).unwrap();
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(["replay", "--config"])
        .arg(plant.config())
        .arg("--readings")
        .arg(readings)
        .arg("--changed")
        .arg(changed)
        .args(more)
        .current_dir(plant.folder())
        .output()
        .unwrap()
}

/// Minutes from the beginning.
fn minute(time: &Value) -> i64 {
    let time = Timestamp::parse(time.as_str().unwrap()).unwrap();
    (time - Timestamp::parse(START).unwrap()).millis() / 60_000
}

#[test]
fn moved_limits_show_exactly_what_comes_goes_and_moves() {
    let plant = plant();
    let changed = changed(&plant);
    let done = compare(&plant, &changed, &["--json"]);
    let errors = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{errors}");
    let again = compare(&plant, &changed, &["--json"]);
    assert_eq!(done.stdout, again.stdout);
    let told: Value = serde_json::from_slice(&done.stdout).unwrap();
    let text = |row: &Value, field: &str| row[field].as_str().unwrap().to_owned();
    let times =
        |side: &Value| (!side.is_null()).then(|| (minute(&side["raised"]), minute(&side["ended"])));
    let rows: Vec<_> = told["rows"]
        .as_array()
        .unwrap()
        .iter()
        // Limits alone: what the balance and the rules make of it is not moved.
        .filter(|row| LIMITS.contains(&text(row, "condition").as_str()))
        .map(|row| {
            (
                text(row, "change"),
                text(row, "sump"),
                text(row, "condition"),
                times(&row["present"]),
                times(&row["changed"]),
            )
        })
        .collect();
    let row = |change: &str, sump: &str, condition: &str, present, changed| {
        (
            change.to_owned(),
            sump.to_owned(),
            condition.to_owned(),
            present,
            changed,
        )
    };
    let low = "concentration.low";
    assert_eq!(
        rows,
        [
            row("gone", "s0", low, Some((110, 200)), None),
            row("came", "s0", "concentration.high", None, Some((240, 330))),
            row("moved", "s0", low, Some((410, 560)), Some((440, 500))),
            row("same", "s1", low, Some((910, 1000)), Some((910, 1000))),
        ]
    );
    let mut all = told["rows"].as_array().unwrap().iter();
    let moved = all
        .find(|row| row["condition"] == low && row["change"] == "moved")
        .unwrap();
    assert_eq!(moved["raised_later_ms"], 30 * 60_000);
    assert_eq!(moved["ended_later_ms"], -60 * 60_000);
    let of_low = &told["by_condition"][low];
    let counts = ["present", "changed", "came", "gone", "moved", "same"].map(|name| &of_low[name]);
    assert_eq!(counts, [3, 2, 0, 1, 1, 1]);
    for side in ["present", "changed"] {
        assert_eq!(told[side]["annunciations"], told["counts"][side]);
    }

    let text = String::from_utf8(compare(&plant, &changed, &[]).stdout).unwrap();
    for expected in [
        "\nCome (",
        "\nGo (",
        "\nMove (",
        "raised 30 min later, ends 1 h earlier",
        " stay as they are",
    ] {
        assert!(text.contains(expected), "{expected} is not in\n{text}");
    }
}

#[test]
fn the_same_settings_change_nothing_and_wrong_ones_are_told() {
    let plant = plant();
    let done = compare(&plant, &plant.config(), &["--json"]);
    let told: Value = serde_json::from_slice(&done.stdout).unwrap();
    let rows = told["rows"].as_array().unwrap();
    assert!(rows.len() >= 3, "{told}");
    assert!(rows.iter().all(|row| row["change"] == "same"), "{told}");
    assert_eq!(told["present"], told["changed"]);
    let missing = compare(&plant, &plant.folder().join("nowhere"), &[]);
    assert_eq!(missing.status.code(), Some(2));
}
