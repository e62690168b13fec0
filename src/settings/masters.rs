//! `[modbus.NAME]`: lines of slaves whose master we are.

use crate::units::{Parse, Span};

use super::brokers;
use super::defaults;
use super::key_path::KeyPath;
use super::plant::Origin;
use super::ports::{self, RawPort, Usual};
use super::problem::Problem;
use super::raw::{Named, RawModbus};
use super::review::Review;
use super::wires::{ModbusSettings, ModbusWay, Parity, PortSettings, StopBits};

/// The line as the standard has it where nothing else is said.
const USUAL: Usual = Usual {
    baud: defaults::MODBUS_BAUD,
    parity: Parity::Even,
    bare_stop_bits: StopBits::Two,
};

/// The lines by name. Nothing stands in place of one that is wrong.
#[derive(Debug, Default)]
pub(super) struct Masters {
    /// The names, in order.
    pub(super) names: Vec<String>,
    /// Their settings, in the same order.
    pub(super) settings: Vec<Option<ModbusSettings>>,
}

impl Masters {
    /// The ports among them, with their paths.
    pub(super) fn ports(&self) -> impl Iterator<Item = (KeyPath, &PortSettings)> {
        self.settings.iter().flatten().filter_map(|one| {
            let at = KeyPath::root().key("modbus").key(&one.name);
            match &one.way {
                ModbusWay::Serial(port) => Some((at, port)),
                ModbusWay::Tcp { .. } => None,
            }
        })
    }
}

/// Tells a channel at `at` that is called silent before the line that it comes
/// from is asked again.
pub(super) fn check_silence(
    review: &mut Review,
    at: &KeyPath,
    origin: &Origin,
    silent_after: Span,
    masters: &Masters,
) {
    let Origin::Register { source, .. } = origin else {
        return;
    };
    let Some(ModbusSettings { name, poll, .. }) = &masters.settings[*source] else {
        return;
    };
    if *poll >= silent_after {
        let problem = Problem::SilentBetween {
            line: KeyPath::root().key("modbus").key(name).to_string(),
            poll: *poll,
            silent_after,
        };
        review.tell(&at.key("silent_after"), problem);
    }
}

/// Reads every line.
pub(super) fn masters(review: &mut Review, tables: Named) -> Masters {
    let at = KeyPath::root().key("modbus");
    let mut masters = Masters::default();
    for (name, part) in tables.unwrap_or_default() {
        let at = at.key(&name);
        review.name(&at, &name);
        let raw: RawModbus = review.take(&at, part);
        let settings = master(review, &at, &name, &raw);
        masters.names.push(name);
        masters.settings.push(settings);
    }
    masters
}

fn master(
    review: &mut Review,
    at: &KeyPath,
    name: &str,
    raw: &RawModbus,
) -> Option<ModbusSettings> {
    let way = way(review, at, raw);
    let mut span = |key: &str, written: Option<&_>, usual: Span, least: Span, most: Span| {
        let path = at.key(key);
        let span = review.or_default(&path, written, Span::parse, usual)?;
        review.within(&path, span, (least, most), |span| span.to_string())
    };
    let (ms, minute) = (Span::from_millis, Span::from_mins(1));
    let day = Span::from_hours(24);
    let poll = span(
        "poll",
        raw.poll.as_ref(),
        defaults::MODBUS_POLL,
        ms(100),
        day,
    );
    let usual = defaults::MODBUS_TIMEOUT;
    let timeout = span("timeout", raw.timeout.as_ref(), usual, ms(10), minute);
    let usual = defaults::MODBUS_LATENCY;
    let least = timeout.unwrap_or_default();
    let usual = usual.max(least);
    let latency = span("latency", raw.latency.as_ref(), usual, least, minute);
    let pause = span("pause", raw.pause.as_ref(), Span::ZERO, Span::ZERO, minute);
    let gap = raw.gap.unwrap_or(defaults::MODBUS_GAP);
    let gap = review.within(&at.key("gap"), gap, (0, 123), |gap| gap.to_string());
    Some(ModbusSettings {
        name: name.into(),
        way: way?,
        poll: poll?,
        timeout: timeout?,
        latency: latency?,
        pause: pause?,
        gap: gap?,
    })
}

fn way(review: &mut Review, at: &KeyPath, raw: &RawModbus) -> Option<ModbusWay> {
    match (&raw.device, &raw.host) {
        (Some(_), Some(_)) => {
            review.tell(&at.key("host"), Problem::NotBoth("device", "host"));
            None
        }
        (None, None) => {
            let example = "device = \"/dev/serial/by-id/…\" for a serial line, or host = \"10.0.0.7\" for TCP";
            review.missing(at, example);
            None
        }
        (Some(_), None) => serial(review, at, raw),
        (None, Some(_)) => tcp(review, at, raw),
    }
}

fn serial(review: &mut Review, at: &KeyPath, raw: &RawModbus) -> Option<ModbusWay> {
    if raw.port.is_some() {
        review.tell(&at.key("port"), Problem::OnlyFor("lines with a host"));
    }
    let written = RawPort {
        device: raw.device.as_deref(),
        baud: raw.baud,
        // The frames of Modbus RTU are of bytes.
        data_bits: None,
        parity: raw.parity.as_deref(),
        stop_bits: raw.stop_bits,
    };
    ports::port(review, at, written, USUAL).map(ModbusWay::Serial)
}

fn tcp(review: &mut Review, at: &KeyPath, raw: &RawModbus) -> Option<ModbusWay> {
    let given = [
        ("baud", raw.baud.is_some()),
        ("parity", raw.parity.is_some()),
        ("stop_bits", raw.stop_bits.is_some()),
        ("latency", raw.latency.is_some()),
    ];
    for (key, _) in given.iter().filter(|(_, given)| *given) {
        review.tell(&at.key(key), Problem::OnlyFor("lines with a device"));
    }
    let host = brokers::plain_host(review, &at.key("host"), raw.host.as_deref()?);
    let port = raw.port.unwrap_or(defaults::MODBUS_PORT);
    let port = review.within(&at.key("port"), port, (1, u16::MAX), |port| {
        port.to_string()
    });
    Some(ModbusWay::Tcp {
        host: host?,
        port: port?,
    })
}
