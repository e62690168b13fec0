//! What people see of the settings.

mod alarm_manners;
mod any_text;
mod calibration;
mod check_plan;
mod dose;
mod example;
mod fluid_class;
mod instrument;
mod layers;
mod messages;
mod moves;
mod own_rules;
mod plant_rules;
mod recharge;
mod roads;
mod shifts;
mod tanks;
mod targets;
mod texts;
mod topics;
mod waters;
mod web;
mod wires;

use std::path::{Path, PathBuf};

use super::{Settings, SettingsError};

const PLANT: &str = r#"
[plant]
name = "north"
[store]
folder = "./data"
[broker.main]
host = "127.0.0.1"
[sump.cell-a]
fluid = "soluble-a"
target = "8 %"
working_volume = "820 L"
vessel = { shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }
[sump.cell-a.channel.brix]
quantity = "brix"
topic = "cells/a/brix"
"#;
const FLUID: &str = "factor = 1.1\n";

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("config")
}

fn variables(pairs: &[(&str, &str)]) -> impl Iterator<Item = (String, String)> {
    let pairs: Vec<_> = pairs
        .iter()
        .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
        .collect();
    pairs.into_iter()
}

fn read_with(extra: &str, env: &[(&str, &str)]) -> Result<Settings, SettingsError> {
    let files = [
        ("plant.toml", PLANT),
        ("fluids/soluble-a.toml", FLUID),
        ("z.toml", extra),
    ];
    Settings::from_texts(&files, variables(env))
}

fn read(extra: &str) -> Result<Settings, SettingsError> {
    read_with(extra, &[])
}

#[track_caller]
fn told(extra: &str, expected: &[&str]) {
    let error = read(extra).expect_err("the settings are wrong");
    let lines: Vec<String> = error.mistakes.iter().map(ToString::to_string).collect();
    assert_eq!(lines, expected);
}
