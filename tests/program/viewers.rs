//! The dashboards under deploy/viewer, as a viewer and its stores would take them.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use serde_json::{Value, json};
use sumpward::simulate::plant::START;
use sumpward::units::Span;

use crate::broker::free_port;
use crate::series_store::SeriesStore;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn viewer() -> PathBuf {
    root().join("deploy/viewer")
}

/// Runs the check of dashboards on a folder.
fn check(folder: &Path, what: &[&str]) -> Output {
    let python = root().join("target/peers/bin/python");
    Command::new(&python)
        .arg(root().join("tests/peers/dashboards.py"))
        .arg(folder)
        .args(what)
        .output()
        .unwrap_or_else(|why| panic!("{}: {why}; run tests/all once", python.display()))
}

/// What the Flux library says of queries, by their names.
fn flux(queries: &Value) -> Value {
    let modules = root().join("target/peers/node/node_modules");
    assert!(
        modules.exists(),
        "no {}; run tests/all once",
        modules.display()
    );
    let mut child = Command::new("node")
        .arg(root().join("tests/peers/flux.js"))
        .env("NODE_PATH", modules)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("node is installed (tests/all installs it)");
    let mut stdin = child.stdin.take().unwrap();
    stdin.write_all(queries.to_string().as_bytes()).unwrap();
    drop(stdin);
    let done = child.wait_with_output().unwrap();
    assert!(done.status.success());
    serde_json::from_slice(&done.stdout).unwrap()
}

#[test]
fn the_files_are_as_their_description_writes_them() {
    let written = Command::new("python3")
        .args(["-B", "deploy/viewer/dashboards.py", "--check"])
        .current_dir(root())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&written.stderr);
    assert!(written.status.success(), "{told}");
}

#[test]
fn every_dashboard_is_whole() {
    let found = check(&viewer(), &["structure"]);
    let told = String::from_utf8_lossy(&found.stdout);
    assert!(found.status.success(), "{told}");
}

#[test]
fn the_viewers_own_model_knows_everything_in_them() {
    let found = check(&viewer(), &["model"]);
    let told = String::from_utf8_lossy(&found.stdout);
    assert!(found.status.success(), "{told}");
    let folder = changed(|made| made["panels"][0]["titel"] = json!("Worst alarm"));
    let found = check(folder.path(), &["model"]);
    let told = String::from_utf8_lossy(&found.stdout);
    assert!(told.contains("promql/plant/panels/0/titel"), "{told}");
}

/// A copy of the folder in which one dashboard has been changed.
fn changed(change: impl FnOnce(&mut Value)) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let copied = Command::new("cp")
        .arg("-r")
        .args([viewer().join("dashboards"), viewer().join("provisioning")])
        .arg(folder.path())
        .status();
    assert!(copied.unwrap().success());
    let file = folder.path().join("dashboards/promql/plant.json");
    let mut made: Value = serde_json::from_slice(&std::fs::read(&file).unwrap()).unwrap();
    change(&mut made);
    std::fs::write(&file, made.to_string()).unwrap();
    folder
}

#[test]
fn mistakes_in_a_dashboard_are_found() {
    type Change = fn(&mut Value);
    let changes: [(&str, Change); 8] = [
        ("overlap", |made| {
            made["panels"][1]["gridPos"]["y"] = json!(2)
        }),
        ("same id", |made| {
            made["panels"][1]["id"] = made["panels"][0]["id"].clone()
        }),
        ("has no unit", |made| {
            made["panels"][2]["fieldConfig"]["defaults"]["unit"] = json!("none");
        }),
        ("has no description", |made| {
            made["panels"][2]["description"] = json!("")
        }),
        ("nothing resolves", |made| {
            made["panels"][0]["datasource"]["uid"] = json!("other")
        }),
        ("not provisioned", |made| {
            made["templating"]["list"][0]["current"]["value"] = json!("other");
        }),
        ("variable machine", |made| {
            made["panels"][0]["targets"][0]["expr"] = json!("reading_value{sump=~\"$machine\"}");
        }),
        ("outside of the 24 columns", |made| {
            made["panels"][0]["gridPos"]["w"] = json!(25)
        }),
    ];
    for (told, change) in changes {
        let folder = changed(change);
        let found = check(folder.path(), &["structure"]);
        let text = String::from_utf8_lossy(&found.stdout);
        assert!(
            !found.status.success() && text.contains(told),
            "{told}: {text}"
        );
    }
}

#[test]
fn the_flux_library_reads_every_flux_query() {
    let found = check(&viewer(), &["queries", "flux"]);
    let queries: Value = serde_json::from_slice(&found.stdout).unwrap();
    assert!(queries.as_object().unwrap().len() > 25, "{queries}");
    assert_eq!(flux(&queries), json!({}));
}

#[test]
fn the_flux_library_finds_mistakes() {
    let found = flux(&json!({
        "good": "from(bucket: \"a\") |> range(start: -1h)",
        "grammar": "from(bucket: \"a\") |> range(start: -1h",
        "function": "from(bucket: \"a\") |> reach(start: -1h)",
        "argument": "from(bucket: \"a\") |> range(begin: -1h)",
        "type": "from(bucket: \"a\") |> range(start: -1h) |> limit(n: \"ten\")",
        "variable": "from(bucket: v.defaultBucket) |> range(start: -1h)",
    }));
    let found = found.as_object().unwrap();
    let mut names: Vec<_> = found.keys().collect();
    names.sort();
    assert_eq!(
        names,
        ["argument", "function", "grammar", "type", "variable"]
    );
    assert!(
        found["grammar"].as_str().unwrap().starts_with("1:"),
        "{found:?}"
    );
}

/// So long the demo is played: losses are told after a day and a half, of two sumps
/// ever since.
const HOURS: i64 = 60;

/// A store that has taken everything from the demo: what it forwards, and what it
/// tells of itself.
fn filled_by_the_demo() -> SeriesStore {
    let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
    let scrape = std::fs::read_to_string(viewer().join("scrape.yaml")).unwrap();
    let scrape = scrape
        .replace("127.0.0.1:8480", &format!("127.0.0.1:{port}"))
        .replace("scrape_interval: 15s", "scrape_interval: 1s");
    let file = folder.path().join("scrape.yaml");
    std::fs::write(&file, scrape).unwrap();
    let store = SeriesStore::start_with(vec![
        format!("-promscrape.config={}", file.display()),
        // Else it shows nothing of the last thirty seconds, and a demo may take no longer.
        "-search.latencyOffset=0s".to_owned(),
    ]);
    let played = Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args([
            "demo",
            "--hours",
            &HOURS.to_string(),
            "--speed",
            "15000",
            "--folder",
        ])
        .arg(folder.path().join("store"))
        .env("SUMPWARD__WEB__LISTEN", format!("127.0.0.1:{port}"))
        .env(
            "SUMPWARD__FORWARD__STORE__URL",
            format!("http://127.0.0.1:{}", store.port),
        )
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&played.stderr);
    assert!(played.status.success(), "{told}");
    store.flush();
    store
}

#[test]
fn every_promql_query_has_data_once_the_demo_has_been_played() {
    let store = filled_by_the_demo();
    let url = format!("http://127.0.0.1:{}", store.port);
    let seconds = |time: sumpward::units::Timestamp| (time.millis() / 1000).to_string();
    let (from, to) = (seconds(START), seconds(START + Span::from_hours(HOURS)));
    let asked = ["data", &url, &from, &to];
    let found = check(&viewer(), &asked);
    assert!(found.status.success(), "{found:?}");
    let wrong = changed(|made| {
        made["panels"][0]["targets"][0]["expr"] = json!("raeding_value");
        made["panels"][1]["targets"][0]["expr"] = json!("max by (sump (reading_value)");
    });
    let found = check(wrong.path(), &asked);
    let told = String::from_utf8_lossy(&found.stdout);
    assert!(!found.status.success(), "{told}");
    assert_eq!(told.lines().count(), 2, "{told}");
    assert!(
        told.contains("no data for raeding_value") && told.contains("unexpected token"),
        "{told}"
    );
}
