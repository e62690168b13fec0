//! The logbook of the demo's store, held against DuckDB over its export.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::{Value, json};
use sumpward::settings::Settings;
use sumpward::units::Timestamp;

/// An estimate counts for so long, ms.
const ESTIMATE_HOLDS_MS: i64 = 15 * 60_000;

/// A folder with the store of a played demo.
struct Played {
    folder: tempfile::TempDir,
}

impl Played {
    /// After so many simulated hours.
    fn new(hours: &str) -> Self {
        let played = Played {
            folder: tempfile::tempdir().unwrap(),
        };
        let done = Command::new(env!("CARGO_BIN_EXE_sumpward"))
            .args(["demo", "--hours", hours, "--speed", "1000000", "--folder"])
            .arg(played.store())
            .output()
            .unwrap();
        assert!(done.status.success(), "{done:?}");
        played
    }

    fn store(&self) -> PathBuf {
        self.folder.path().join("store")
    }

    fn config() -> PathBuf {
        Path::new(env!("CARGO_MANIFEST_DIR")).join("demo/plant")
    }

    fn run(&self, arguments: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_sumpward"))
            .args(arguments)
            .arg("--config")
            .arg(Self::config())
            .env("SUMPWARD__STORE__FOLDER", self.store())
            .current_dir(self.folder.path())
            .output()
            .unwrap()
    }

    fn well(&self, arguments: &[&str]) -> Value {
        let done = self.run(arguments);
        assert!(done.status.success(), "{done:?}");
        serde_json::from_slice(&done.stdout).unwrap()
    }

    fn text(&self, name: &str) -> String {
        std::fs::read_to_string(self.folder.path().join(name)).unwrap()
    }

    /// The rows of a table, by column.
    fn table(&self, name: &str) -> Vec<std::collections::HashMap<String, String>> {
        let text = self.text(&format!("tables/{name}.csv"));
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        reader.deserialize().map(Result::unwrap).collect()
    }
}

/// What Python says of a question.
fn python(script: &str, arguments: &[&Path], input: &str) -> Value {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let python = root.join("target/peers/bin/python");
    let mut child = Command::new(&python)
        .arg(root.join("tests/peers").join(script))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap_or_else(|why| panic!("{}: {why}; run tests/all once", python.display()));
    child
        .stdin
        .take()
        .unwrap()
        .write_all(input.as_bytes())
        .unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "run tests/all once");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(text: &str) -> Option<f64> {
    (!text.is_empty()).then(|| text.parse().unwrap())
}

fn near(found: Option<f64>, expected: Option<f64>, what: &str) {
    match (found, expected) {
        (None, None) => {}
        // DuckDB tells nothing of a part without any time, we tell 0.
        (Some(found), expected) => {
            let expected = expected.unwrap_or(0.0);
            let off = (found - expected).abs();
            assert!(
                off <= 1e-9 * expected.abs().max(1.0),
                "{what}: {found} {expected}"
            );
        }
        (found, expected) => panic!("{what}: {found:?} {expected:?}"),
    }
}

#[test]
fn the_report_of_the_demo_says_what_its_readings_say() {
    let played = Played::new("40");
    let made = "2026-12-01T00:00:00Z";
    let page = [
        "report",
        "--out",
        "a.html",
        "--csv",
        "tables",
        "--made-at",
        made,
        "--json",
    ];
    let told = played.well(&page);
    assert_eq!(told["sumps"], 6);
    let at = |key: &str| {
        Timestamp::parse(told[key].as_str().unwrap())
            .unwrap()
            .millis()
    };
    let (from, to) = (at("from"), at("to"));
    played.well(&["export", "series", "series.parquet", "--json"]);
    played.well(&["export", "journal", "journal.parquet", "--json"]);

    // What was asked of each signal, and what DuckDB makes of it.
    let store = played.store().display().to_string();
    let folder = ("SUMPWARD__STORE__FOLDER".to_owned(), store);
    let settings = Settings::load(&Played::config(), [folder].into_iter()).unwrap();
    let windows = played.table("windows");
    let question = |row: &std::collections::HashMap<String, String>| {
        let sump = settings
            .sumps
            .iter()
            .find(|sump| *sump.name == row["sump"])
            .unwrap();
        let quantity = row["signal"].strip_prefix("quantity.").unwrap();
        let is_estimate = ["concentration", "volume"].contains(&quantity);
        let channel = sump
            .channels
            .iter()
            .find(|one| one.quantity.name() == quantity);
        let (channel, holds) = match channel.filter(|_| !is_estimate) {
            Some(channel) => (&*channel.name, channel.silent_after.millis()),
            None => (quantity, ESTIMATE_HOLDS_MS),
        };
        json!({
            "sump": row["sump"], "channel": channel, "kind": if is_estimate { "estimate" } else { "reading" },
            "low": number(&row["from"]).unwrap_or(-1e300), "high": number(&row["to"]).unwrap_or(1e300),
            "from": from, "to": to, "holds_ms": holds,
        })
    };
    let questions: Vec<String> = windows
        .iter()
        .map(|row| question(row).to_string())
        .collect();
    assert!(questions.len() >= 18, "{questions:?}");
    let files = ["series.parquet", "journal.parquet"].map(|name| played.folder.path().join(name));
    let answer = python(
        "in_window.py",
        &[&files[0], &files[1]],
        &questions.join("\n"),
    );
    let mut some_outside = false;
    for (row, answer) in windows.iter().zip(answer["windows"].as_array().unwrap()) {
        let what = format!("{} {}", row["sump"], row["signal"]);
        for (place, key) in ["below_pct", "inside_pct", "above_pct", "known_pct"]
            .iter()
            .enumerate()
        {
            let expected = answer[place].as_f64().map(|share| 100.0 * share);
            near(number(&row[*key]), expected, &format!("{what} {key}"));
        }
        near(
            number(&row["mean"]),
            answer[4].as_f64(),
            &format!("{what} mean"),
        );
        some_outside |= number(&row["inside_pct"]).is_some_and(|inside| inside < 99.0);
    }
    assert!(some_outside, "the demo's lean sump is missing");

    // Every alarm that was raised, by sump and condition.
    let counts = played.table("alarm_counts");
    let raised: Vec<_> = answer["raised"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|one| one[0] != "plant")
        .collect();
    assert!(raised.len() >= 4, "{answer}");
    for one in &raised {
        let row = counts
            .iter()
            .find(|row| one[0] == row["sump"].as_str() && one[1] == row["what"].as_str());
        let row = row.unwrap_or_else(|| panic!("{one} is missing in {counts:?}"));
        assert_eq!(row["raised"], one[2].to_string(), "{one}");
    }
    // What people wrote down of additions stands in the list, or what the balance made of it.
    let moved = played.table("moved");
    for one in answer["additions"].as_array().unwrap() {
        let of_sump = moved
            .iter()
            .filter(|row| one[0] == row["sump"].as_str() && row["known_by"] != "known.seen");
        let litres: f64 = of_sump
            .filter_map(|row| number(&row["litres"]))
            .filter(|litres| *litres > 0.0)
            .sum();
        let expected = one[2].as_f64().unwrap();
        assert!(
            (litres - expected).abs() < 0.2 * expected,
            "{one}: {litres}"
        );
    }
    // The sums of the parts are the sums of what went in, at these prices.
    let used = played.table("used");
    for sump in settings.sumps.iter() {
        let rows: Vec<_> = used
            .iter()
            .filter(|row| row["sump"] == *sump.name)
            .collect();
        let (all, parts) = rows.split_last().unwrap();
        assert_eq!(all["begins"], "in_all");
        for key in ["concentrate_l", "water_l", "drained_l"] {
            let sum: f64 = parts.iter().filter_map(|row| number(&row[key])).sum();
            near(number(&all[key]), Some(sum), key);
        }
        let litres = |key: &str| number(&all[key]).unwrap();
        let priced = [("water_l", 0.0042), ("drained_l", 0.35)];
        let mut cost: f64 = priced.iter().map(|(key, price)| litres(key) * price).sum();
        cost += sump
            .fluid
            .price
            .map_or(0.0, |price| price.of(litres("concentrate_l")));
        near(number(&all["cost"]), Some(cost), "cost");
    }

    // The same again, to the byte; whole for a reader of XML.
    let again = ["report", "--out", "b.html", "--made-at", made, "--json"];
    played.well(&again);
    let text = played.text("a.html");
    assert!(
        text == played.text("b.html"),
        "the same store gives another page"
    );
    let shown = settings.sumps.iter().all(|sump| text.contains(&sump.title));
    assert!(shown && text.ends_with("</html>\n"));
    let told = python("page.py", &[&played.folder.path().join("a.html")], "");
    assert_eq!(told["sections"], 6, "{told}");
    assert_eq!(told["elsewhere"], json!([]), "{told}");
    assert!(told["drawings"].as_u64().unwrap() >= 6 * 4, "{told}");
}

#[test]
fn a_part_of_it_in_another_language_and_what_cannot_be() {
    let played = Played::new("16");
    let one = [
        "report",
        "mill-2",
        "--out",
        "m.html",
        "--language",
        "de",
        "--made-at",
        "2026-12-01T00:00:00Z",
        "--json",
    ];
    assert_eq!(played.well(&one)["sumps"], 1);
    let text = played.text("m.html");
    assert!(
        text.contains("lang=\"de\"") && text.contains("Konzentration ZU NIEDRIG"),
        "{text}"
    );
    assert!(!text.contains("id=\"saw-1\""));
    let told = |arguments: &[&str], status: i32| {
        let done = played.run(arguments);
        assert_eq!(done.status.code(), Some(status), "{done:?}");
        String::from_utf8(done.stderr).unwrap()
    };
    assert!(told(&["report", "--out", "m.html"], 2).contains("--force"));
    assert!(told(&["report", "mill-9", "--out", "n.html"], 2).contains("did you mean \"mill-2\"?"));
    assert!(told(&["report", "--out", "n.html", "--language", "fr"], 2).contains("en, de"));
    assert!(
        told(&["report", "--out", "n.html", "--from", "2031-01-01"], 1).contains("keeps nothing")
    );
    assert!(told(&["report"], 2).contains("--out"));
    let left = std::fs::read_dir(played.folder.path()).unwrap();
    let left: Vec<_> = left
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.contains("part") || name.starts_with("n."))
        .collect();
    assert_eq!(left, Vec::<String>::new());
}
