//! A small invented plant, written as its settings.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use sumpward::units::Timestamp;
use tempfile::TempDir;

/// The settings of a plant in a folder of their own, with a store beside them.
pub struct Plant {
    folder: TempDir,
    store: PathBuf,
}

/// Sumps of a plant: `s0`, `s1`, … each with the channels brix and level; the
/// first payload is JSON with a time, the second a plain number.
pub struct Wanted<'a> {
    pub port: u16,
    pub sumps: usize,
    /// Of the concentration's limits.
    pub on_delay: &'static str,
    /// Further keys of the broker.
    pub broker: &'a str,
}

impl Plant {
    pub fn write(wanted: &Wanted<'_>) -> Self {
        Self::write_with_store(wanted, "store")
    }

    /// With the store in a folder of this name, within the plant's.
    pub fn write_with_store(wanted: &Wanted<'_>, store: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = folder.path().join(store);
        let plant = Plant { folder, store };
        std::fs::create_dir_all(plant.config().join("fluids")).unwrap();
        let mut text = format!(
            "[plant]\nname = \"test\"\n[store]\nfolder = \"{}\"\n[broker.main]\nhost = \"127.0.0.1\"\nport = {}\n{}\n",
            plant.store().display(),
            wanted.port,
            wanted.broker,
        );
        for sump in 0..wanted.sumps {
            let _ = write!(text, "{}", sump_text(sump, wanted.on_delay));
        }
        std::fs::write(plant.config().join("plant.toml"), text).unwrap();
        let fluid = "title = \"Invented\"\nfactor = 2.0\n";
        std::fs::write(plant.config().join("fluids/invented.toml"), fluid).unwrap();
        plant
    }

    pub fn config(&self) -> PathBuf {
        self.folder.path().join("config")
    }

    pub fn store(&self) -> PathBuf {
        self.store.clone()
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }
}

fn sump_text(sump: usize, on_delay: &str) -> String {
    format!(
        r#"
[sump.s{sump}]
title = "Sump {sump}"
fluid = "invented"
target = "8 %"
window = ["6 %", "10 %"]
working_volume = "900 L"
water_zero = "0 °Bx"
vessel = {{ shape = "rectangular", length = "1 m", width = "1 m", height = "1 m" }}
[sump.s{sump}.limits.concentration]
on_delay = "{on_delay}"
off_delay = "0 s"
[sump.s{sump}.channel.brix]
quantity = "brix"
broker = "main"
topic = "in/s{sump}/brix"
payload = "json"
value = "/value"
time = "/time"
unit = "°Bx"
despike = false
smooth = "0 s"
[sump.s{sump}.channel.level]
quantity = "level"
broker = "main"
topic = "in/s{sump}/level"
payload = "number"
unit = "mm"
despike = false
smooth = "0 s"
"#
    )
}

/// The payload of a brix reading.
pub fn brix(value: f64, time: Timestamp) -> String {
    format!("{{\"value\":{value},\"time\":\"{time}\"}}")
}

/// Milliseconds of the system's clock as a time.
pub fn now() -> Timestamp {
    let since = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .unwrap();
    Timestamp::from_millis(since.as_millis() as i64)
}
