//! The subcommands that need no peer.

use std::process::{Command, Output};

fn sumpward(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_sumpward"))
        .args(arguments)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

#[test]
fn calc_dose_prints_the_bare_balance_as_one_object() {
    let done = sumpward(&[
        "calc",
        "dose",
        "volume=820L",
        "concentration=4.2%",
        "target-volume=1000L",
        "target-concentration=6%",
        "--json",
    ]);
    assert!(done.status.success());
    let answer: serde_json::Value = serde_json::from_slice(&done.stdout).unwrap();
    // Row low_lean of tests/reference/mass_balance_topup.csv.
    for (key, expected) in [
        ("drain_l", 0.0),
        ("concentrate_l", 25.56),
        ("water_l", 154.44),
        ("premix_strength_pct", 14.2),
    ] {
        let found = answer[key].as_f64().unwrap();
        assert!((found - expected).abs() < 1e-6, "{key}: {found}");
    }
    let cautions = answer["cautions"].to_string();
    assert!(
        cautions.contains("Never pour neat concentrate"),
        "{cautions}"
    );
    assert!(
        answer["source"]
            .as_str()
            .is_some_and(|source| !source.is_empty())
    );
}

#[test]
fn calc_tells_wrong_and_missing_units_with_those_allowed() {
    for (argument, allowed) in [("volume=820", "L"), ("volume=820kg", "L")] {
        let done = sumpward(&[
            "calc",
            "dose",
            argument,
            "concentration=4.2%",
            "target-volume=1000L",
            "target-concentration=6%",
        ]);
        assert_eq!(done.status.code(), Some(2));
        let told = text(&done.stderr);
        assert!(
            told.contains("volume") && told.contains(allowed) && told.contains("unit"),
            "{told}"
        );
    }
}

#[test]
fn calc_lists_itself() {
    let listed = text(&sumpward(&["calc", "--list"]).stdout);
    for name in ["dose", "concentration", "tank-volume"] {
        assert!(listed.contains(name), "{listed}");
    }
}

#[test]
fn the_example_plant_passes_its_check() {
    let done = sumpward(&["check", "--config", "config"]);
    assert!(done.status.success(), "{}", text(&done.stderr));
}

#[test]
fn wrong_settings_end_with_2_and_every_mistake() {
    let folder = tempfile::tempdir().unwrap();
    let text_of = "[plant]\nname = 3\n[brokr.main]\nhost = \"x\"\n[sump.a]\ntarget = \"8\"\n";
    std::fs::write(folder.path().join("plant.toml"), text_of).unwrap();
    let folder = folder.path().to_str().unwrap().to_owned();
    for subcommand in ["check", "run"] {
        let done = sumpward(&[subcommand, "--config", &folder]);
        assert_eq!(done.status.code(), Some(2));
        let told = text(&done.stderr);
        for words in [
            "plant.toml:2:",
            "plant.name",
            "plant.toml:3:",
            "broker",
            "plant.toml:6:",
            "sump.a.target",
        ] {
            assert!(told.contains(words), "\"{words}\" is missing in:\n{told}");
        }
    }
}
