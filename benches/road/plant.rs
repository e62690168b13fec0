//! An invented plant of 1,000 sumps with 6 channels each, and what it says.

use std::fmt::Write;
use std::fs;
use std::path::PathBuf;
use std::time::{SystemTime, UNIX_EPOCH};

use rumqttc::v5::mqttbytes::QoS;
use sumpward::settings::Settings;
use sumpward::units::Timestamp;
use tempfile::TempDir;

/// Sumps of the plant.
pub const SUMPS: usize = 1000;

/// A channel: its name, its quantity, the middle of its readings and how far
/// they scatter to each side.
pub type Channel = (&'static str, &'static str, f64, f64);

/// The channels of each sump; around these middles nothing is amiss.
pub const CHANNELS: [Channel; 6] = [
    ("brix", "brix", 4.0, 0.1),
    ("ph", "ph", 9.2, 0.05),
    ("conductivity", "conductivity", 2500.0, 60.0),
    ("tank", "temperature", 24.0, 0.5),
    ("return", "temperature", 26.0, 0.5),
    ("level", "level", 0.542, 0.003),
];

/// A °Bx that is lean and calls for one alarm, of the low limit.
pub const LEAN_BRIX: f64 = 3.25;

/// The plant's settings in a folder of their own, with room for its store.
pub struct Plant {
    folder: TempDir,
}

impl Plant {
    /// A plant behind the broker at `port`. The first `prompt` sumps are
    /// neither despiked nor smoothed, and their alarms have no delay.
    pub fn write(port: u16, prompt: usize) -> Self {
        let plant = Plant {
            folder: tempfile::tempdir().expect("a temporary folder can be made"),
        };
        let mut text = format!(
            "[plant]\nname = \"road\"\n[store]\nfolder = \"{}\"\n\
             [broker.main]\nhost = \"127.0.0.1\"\nport = {port}\n",
            plant.store().display(),
        );
        for sump in 0..SUMPS {
            sump_text(&mut text, sump, sump < prompt);
        }
        let fluids = plant.config().join("fluids");
        fs::create_dir_all(&fluids).expect("the folder is ours");
        fs::write(plant.config().join("plant.toml"), text).expect("the folder is ours");
        let fluid = "title = \"Invented\"\nfactor = 2.0\n";
        fs::write(fluids.join("invented.toml"), fluid).expect("the folder is ours");
        plant
    }

    /// Folder of the settings.
    pub fn config(&self) -> PathBuf {
        self.folder.path().join("config")
    }

    /// Folder of the store.
    pub fn store(&self) -> PathBuf {
        self.folder.path().join("store")
    }

    /// The settings as the daemon reads them.
    pub fn settings(&self) -> Settings {
        Settings::load(&self.config(), std::iter::empty()).expect("the bench writes right settings")
    }
}

fn sump_text(text: &mut String, sump: usize, prompt: bool) {
    let name = sump_name(sump);
    let _ = write!(
        text,
        r#"
[sump.{name}]
title = "Machine {sump}"
fluid = "invented"
target = "8 %"
working_volume = "820 L"
lines = "40 L"
circulation = "120 L/min"
vessel = {{ shape = "rectangular", length = "1.6 m", width = "0.9 m", height = "0.65 m" }}
limits.conductivity = {{ high = "4500 µS/cm", high_high = "6000 µS/cm" }}
"#
    );
    if prompt {
        text.push_str("limits.concentration = { on_delay = \"0 s\" }\n");
    }
    for (channel, (_, quantity, ..)) in CHANNELS.iter().enumerate() {
        let _ = write!(
            text,
            "[sump.{name}.channel.{}]\nquantity = \"{quantity}\"\ntopic = \"{}\"\n\
             payload = \"json\"\nvalue = \"/value\"\ntime = \"/time\"\n",
            CHANNELS[channel].0,
            topic(sump, channel),
        );
        if prompt {
            text.push_str("despike = false\nsmooth = \"0 s\"\n");
        }
    }
}

/// Name of a sump in settings and topics.
pub fn sump_name(sump: usize) -> String {
    format!("m{sump:03}")
}

/// Topic of a channel's readings.
pub fn topic(sump: usize, channel: usize) -> String {
    format!("plant/{}/{}", sump_name(sump), CHANNELS[channel].0)
}

/// Payload of a reading.
pub fn payload(value: f64, time: Timestamp) -> String {
    format!("{{\"value\":{value},\"time\":\"{time}\"}}")
}

/// The `n`-th reading of a channel in its unit: scattered evenly, three
/// decimals, the same in each run.
pub fn value(channel: usize, n: usize) -> f64 {
    let (.., middle, scatter) = CHANNELS[channel];
    // Multiplicative hashing; the upper bits are well mixed.
    let mixed = (n as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40;
    let share = mixed as f64 / (1u64 << 24) as f64;
    let value = middle + scatter * (2.0 * share - 1.0);
    (value * 1000.0).round() / 1000.0
}

/// QoS from its number.
pub fn qos(level: u64) -> QoS {
    match level {
        0 => QoS::AtMostOnce,
        _ => QoS::AtLeastOnce,
    }
}

/// The system's time.
pub fn now() -> Timestamp {
    let since = SystemTime::now()
        .duration_since(UNIX_EPOCH)
        .expect("the clock is past 1970");
    Timestamp::from_millis(since.as_millis() as i64)
}
