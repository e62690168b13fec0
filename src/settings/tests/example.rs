//! The example plant under config/.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde::Deserialize;

use super::{example, variables};
use crate::engine::ChannelKind;
use crate::settings::Settings;
use crate::settings::raw::{
    RawAdmission, RawBroker, RawCalibration, RawChannel, RawChecks, RawChecksum, RawChoice,
    RawCleaner, RawContact, RawDespike, RawDose, RawEngine, RawFluid, RawMail, RawMessages,
    RawMethods, RawMinerals, RawMixer, RawModbus, RawOwnRule, RawPlant, RawPrices, RawRecharge,
    RawSerial, RawSettings, RawShifts, RawSouring, RawStock, RawStore, RawSump, RawTemplate,
    RawTls, RawVessel, RawWater, RawWebhook,
};
use crate::settings::raw_limits::{RawLimit, RawLimitPriority, RawLimits};
use crate::settings::raw_rules::{
    RawAhead, RawChart, RawDoubt, RawForwardRule, RawPlantRules, RawPumps, RawRate, RawRule,
    RawRules,
};
use crate::settings::strict::{Fault, Strict};
use crate::settings::targets::RawForward;
use crate::settings::web::RawWeb;

const NAMES: [&str; 5] = [
    "plant.toml",
    "sumps.toml",
    WIRES,
    "fluids/soluble-a.toml",
    "fluids/semi-synthetic-b.toml",
];

/// Written with every setting switched off.
const WIRES: &str = "wires.toml";

/// A file of the example, with all of its settings switched on.
fn text_of(name: &str) -> String {
    let text = fs::read_to_string(example().join(name)).unwrap();
    // Texts without a folder of their own are read from where the tests run.
    let text = text.replace("folder = \"messages\"", "folder = \"config/messages\"");
    if name != WIRES {
        return text;
    }
    let on = text.lines().map(|line| match line.strip_prefix('#') {
        Some(setting) if !setting.starts_with([' ', '#']) => setting,
        _ => line,
    });
    on.map(|line| format!("{line}\n")).collect()
}

#[test]
fn the_example_plant_is_right() {
    let settings = Settings::load(&example(), variables(&[])).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(settings.sumps.len(), 3);
    assert_eq!(settings.brokers[0].host, "127.0.0.1");
    assert_eq!(settings.store.folder, Path::new("./data"));
    let meters = 1;
    let series = settings.routes.len() + meters + 2 * settings.sumps.len();
    assert_eq!(settings.series.len(), series);
    for (place, series) in settings.series.iter().enumerate() {
        let sump = settings
            .sumps
            .iter()
            .find(|sump| sump.name == series.sump)
            .unwrap();
        let estimates = [sump.concentration_series, sump.volume_series];
        let totals = sump
            .channels
            .iter()
            .filter_map(|channel| match channel.kind {
                ChannelKind::Meter { total_series, .. } => Some(total_series),
                ChannelKind::Gauge | ChannelKind::Switch { .. } => None,
            });
        let channels = sump.channels.iter().map(|channel| channel.series);
        let here = channels
            .chain(totals)
            .chain(estimates)
            .filter(|series| series.0 as usize == place);
        assert_eq!(here.count(), 1, "{series:?}");
    }
    let checked = crate::cli::check::check(&example(), variables(&[]));
    assert_eq!(checked.status, 0, "{}", checked.text);
}

/// The example spells out the defaults of the turning cell and of the rest of
/// the plant: without them the settings are the same.
#[test]
fn the_example_tells_the_true_defaults() {
    let files = NAMES.map(|name| (name, text_of(name)));
    let short = files
        .clone()
        .map(|(name, text)| (name, without_defaults(&text)));
    let read = |files: &[(&str, String)]| {
        let files: Vec<_> = files
            .iter()
            .map(|(name, text)| (*name, text.as_str()))
            .collect();
        Settings::from_texts(&files, variables(&[])).unwrap_or_else(|e| panic!("{e}"))
    };
    let lines = |files: &[(&str, String)]| -> usize {
        files.iter().map(|(_, text)| text.lines().count()).sum()
    };
    assert!(lines(&short) + 50 < lines(&files));
    let (short, full) = (read(&short), read(&files));
    let (short, full) = (format!("{short:#?}"), format!("{full:#?}"));
    for (without, with) in short.lines().zip(full.lines()) {
        assert_eq!(without, with);
    }
    assert_eq!(short.len(), full.len());
}

/// A settings file without the settings whose comment begins with "default".
fn without_defaults(text: &str) -> String {
    let lines: Vec<&str> = text.lines().collect();
    let comment_of = |place: usize| {
        let (_, own) = lines[place].split_once('#').unwrap_or_default();
        let below = lines
            .get(place + 1)
            .and_then(|line| line.trim_start().strip_prefix('#'));
        if own.is_empty() {
            below.unwrap_or_default().trim()
        } else {
            own.trim()
        }
    };
    let is_default = |place: &usize| {
        let line = lines[*place];
        !line.starts_with('#') && line.contains(" = ") && comment_of(*place).starts_with("default")
    };
    let kept = (0..lines.len()).filter(|place| !is_default(place));
    kept.map(|place| format!("{}\n", lines[place])).collect()
}

#[test]
fn the_example_names_every_setting() {
    fn keys<T: for<'de> Deserialize<'de>>() -> &'static [&'static str] {
        let table = BTreeMap::from([("?".to_owned(), config::Value::from(1))]);
        let table = config::Value::from(table.into_iter().collect::<config::Map<_, _>>());
        match T::deserialize(Strict(&table)).err() {
            Some(Fault::UnknownKey { allowed }) => allowed,
            other => panic!("an unknown key gave {other:?}"),
        }
    }
    let text = NAMES.map(text_of).concat().to_lowercase();
    let words: Vec<&str> = text
        .split(|c: char| !(c.is_ascii_alphanumeric() || c == '_'))
        .collect();
    for keys in [
        keys::<RawSettings>(),
        keys::<RawPlant>(),
        keys::<RawShifts>(),
        keys::<RawStore>(),
        keys::<RawMessages>(),
        keys::<RawEngine>(),
        keys::<RawAdmission>(),
        keys::<RawBroker>(),
        keys::<RawTls>(),
        keys::<RawTemplate>(),
        keys::<RawModbus>(),
        keys::<RawSerial>(),
        keys::<RawChecksum>(),
        keys::<RawFluid>(),
        keys::<RawWater>(),
        keys::<RawContact>(),
        keys::<RawMail>(),
        keys::<RawWebhook>(),
        keys::<RawForward>(),
        keys::<RawWeb>(),
        keys::<RawOwnRule>(),
        keys::<RawMixer>(),
        keys::<RawSump>(),
        keys::<RawVessel>(),
        keys::<RawDose>(),
        keys::<RawMinerals>(),
        keys::<RawSouring>(),
        keys::<RawMethods>(),
        keys::<RawRecharge>(),
        keys::<RawCleaner>(),
        keys::<RawStock>(),
        keys::<RawPrices>(),
        keys::<RawChoice>(),
        keys::<RawLimits>(),
        keys::<RawLimit>(),
        keys::<RawLimitPriority>(),
        keys::<RawPlantRules>(),
        keys::<RawForwardRule>(),
        keys::<RawRules>(),
        keys::<RawRule>(),
        keys::<RawDoubt>(),
        keys::<RawAhead>(),
        keys::<RawRate>(),
        keys::<RawChart>(),
        keys::<RawPumps>(),
        keys::<RawChecks>(),
        keys::<RawChannel>(),
        keys::<RawCalibration>(),
        keys::<RawDespike>(),
    ] {
        assert!(!keys.is_empty());
        for key in keys {
            assert!(words.contains(key), "{key} is not in the example");
        }
    }
}

#[test]
fn the_same_files_give_the_same_settings() {
    let read = || Settings::load(&example(), variables(&[])).unwrap();
    assert_eq!(read(), read());
}
