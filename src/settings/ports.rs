//! Serial ports: the keys that `[modbus.NAME]` and `[serial.NAME]` share.

use std::path::{Path, PathBuf};

use super::key_path::KeyPath;
use super::problem::Problem;
use super::review::Review;
use super::wires::{DataBits, Parity, PortSettings, StopBits};

const PARITIES: [(&str, Parity); 3] = [
    ("none", Parity::None),
    ("even", Parity::Even),
    ("odd", Parity::Odd),
];

/// What is written of a port.
#[derive(Debug, Clone, Copy)]
pub(super) struct RawPort<'a> {
    pub(super) device: Option<&'a str>,
    pub(super) baud: Option<u32>,
    pub(super) data_bits: Option<u8>,
    pub(super) parity: Option<&'a str>,
    pub(super) stop_bits: Option<u8>,
}

/// What holds where nothing is written; the stop bits follow from the parity.
#[derive(Debug, Clone, Copy)]
pub(super) struct Usual {
    pub(super) baud: u32,
    pub(super) parity: Parity,
    /// Stop bits where there is no parity.
    pub(super) bare_stop_bits: StopBits,
}

/// Reads the port at `at`.
pub(super) fn port(
    review: &mut Review,
    at: &KeyPath,
    raw: RawPort<'_>,
    usual: Usual,
) -> Option<PortSettings> {
    let device = device(review, at, raw.device);
    let baud = raw.baud.unwrap_or(usual.baud);
    let baud = review.within(&at.key("baud"), baud, (50, 4_000_000), |baud| {
        baud.to_string()
    });
    let data_bits = match raw.data_bits {
        None | Some(8) => Some(DataBits::Eight),
        Some(7) => Some(DataBits::Seven),
        Some(other) => refuse(review, &at.key("data_bits"), other, "7 or 8"),
    };
    let parity = match raw.parity {
        None => Some(usual.parity),
        Some(word) => review.one_of(&at.key("parity"), word, &PARITIES),
    };
    let stop_bits = match (raw.stop_bits, parity) {
        (None, Some(Parity::None)) => Some(usual.bare_stop_bits),
        (None, _) | (Some(1), _) => Some(StopBits::One),
        (Some(2), _) => Some(StopBits::Two),
        (Some(other), _) => refuse(review, &at.key("stop_bits"), other, "1 or 2"),
    };
    Some(PortSettings {
        device: device?,
        baud: baud?,
        data_bits: data_bits?,
        parity: parity?,
        stop_bits: stop_bits?,
    })
}

fn device(review: &mut Review, at: &KeyPath, written: Option<&str>) -> Option<PathBuf> {
    let path = at.key("device");
    let example = "device = \"/dev/serial/by-id/…\"; ls /dev/serial/by-id tells what is there";
    let device = review.required(&path, written, example)?;
    if !Path::new(device).is_absolute() {
        let found = format!("\"{}\"", device.chars().take(60).collect::<String>());
        let allowed = "the whole path of a device, such as /dev/serial/by-id/…".to_owned();
        review.tell(&path, Problem::OutOfRange { found, allowed });
        return None;
    }
    Some(device.into())
}

fn refuse<T>(review: &mut Review, path: &KeyPath, found: u8, allowed: &str) -> Option<T> {
    let (found, allowed) = (found.to_string(), allowed.to_owned());
    review.tell(path, Problem::OutOfRange { found, allowed });
    None
}

/// Tells a device that an earlier source has taken already: the second would
/// never get it.
pub(super) fn check_devices<'a>(
    review: &mut Review,
    ports: impl IntoIterator<Item = (KeyPath, &'a PortSettings)>,
) {
    let mut taken: Vec<(&PathBuf, KeyPath)> = Vec::new();
    for (at, port) in ports {
        match taken.iter().find(|(device, _)| **device == port.device) {
            Some((_, by)) => {
                let device = port.device.display().to_string();
                let by = by.to_string();
                review.tell(&at.key("device"), Problem::DeviceTaken { device, by });
            }
            None => taken.push((&port.device, at)),
        }
    }
}
