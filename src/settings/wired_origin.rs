//! Channels whose readings come over a wire of their own: `modbus = "…"` and
//! `serial = "…"`.

use std::ops::RangeInclusive;

use crate::line::{Place, Shape};
use crate::modbus::{Encoding, NumberKind, Order, Table};
use crate::units::Linear;

use super::key_path::KeyPath;
use super::line_ports::LinePorts;
use super::masters::Masters;
use super::plant::Origin;
use super::problem::Problem;
use super::raw::RawChannel;
use super::review::Review;
use super::wires::ModbusWay;

const TABLES: [(&str, Table); 2] = [
    (Table::Input.name(), Table::Input),
    (Table::Holding.name(), Table::Holding),
];

/// Slaves of a serial line (Modbus over serial line V1.02, section 2.2).
const SLAVES: RangeInclusive<u8> = 1..=247;

/// The most columns that a line may have. Choice: more than 512 bytes hold.
const MOST_COLUMNS: u16 = 256;

/// What channels can refer to.
#[derive(Debug)]
pub(super) struct Wires<'a> {
    /// Lines of Modbus slaves.
    pub(super) masters: &'a Masters,
    /// Ports of lines of text.
    pub(super) ports: &'a LinePorts,
}

/// Which way a channel's readings come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Broker,
    Modbus,
    Serial,
}

/// The way of the channel at `at`; keys of the other ways are told.
pub(super) fn way(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<Way> {
    let way = match (&raw.modbus, &raw.serial) {
        (Some(_), Some(_)) => {
            review.tell(&at.key("serial"), Problem::NotBoth("modbus", "serial"));
            return None;
        }
        (Some(_), None) => Way::Modbus,
        (None, Some(_)) => Way::Serial,
        (None, None) => Way::Broker,
    };
    let mut only_for = |of: Way, whose: &'static str, keys: &[(&str, bool)]| {
        let given = keys.iter().filter(|(_, given)| *given && of != way);
        for (key, _) in given {
            review.tell(&at.key(key), Problem::OnlyFor(whose));
        }
    };
    let broker = [
        ("broker", raw.broker.is_some()),
        ("topic", raw.topic.is_some()),
        ("payload", raw.payload.is_some()),
        ("value", raw.value.is_some()),
        ("time", raw.time.is_some()),
        ("time_format", raw.time_format.is_some()),
        ("node", raw.node.is_some()),
        ("device", raw.device.is_some()),
        ("metric", raw.metric.is_some()),
        ("unit_from", raw.unit_from.is_some()),
        ("status", raw.status.is_some()),
        ("status_good", raw.status_good.is_some()),
        ("name", raw.name.is_some()),
    ];
    only_for(Way::Broker, "channels of a broker", &broker);
    let modbus = [
        ("slave", raw.slave.is_some()),
        ("register", raw.register.is_some()),
        ("registers", raw.registers.is_some()),
        ("number", raw.number.is_some()),
        ("order", raw.order.is_some()),
        ("scale", raw.scale.is_some()),
        ("offset", raw.offset.is_some()),
    ];
    only_for(Way::Modbus, "channels with modbus = \"…\"", &modbus);
    let serial = [
        ("field", raw.field.is_some()),
        ("column", raw.column.is_some()),
    ];
    only_for(Way::Serial, "channels with serial = \"…\"", &serial);
    Some(way)
}

/// Where the registers of the channel at `at` are.
pub(super) fn register(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    wires: &Wires<'_>,
) -> Option<Origin> {
    let names = &wires.masters.names;
    let source = named(
        review,
        &at.key("modbus"),
        "modbus line",
        raw.modbus.as_deref()?,
        names,
    );
    let over_tcp = source
        .and_then(|source| wires.masters.settings[source].as_ref())
        .is_some_and(|line| matches!(line.way, ModbusWay::Tcp { .. }));
    let slave = slave(review, at, raw, over_tcp);
    let path = at.key("registers");
    let word = review.required(&path, raw.registers.as_deref(), "registers = \"input\"");
    let table = word.and_then(|word| review.one_of(&path, word, &TABLES));
    let kind = kind(review, at, raw);
    let order = kind.and_then(|kind| order(review, at, raw, kind));
    let first = first(review, at, raw, kind);
    let line = line(review, at, raw);
    Some(Origin::Register {
        source: source?,
        slave: slave?,
        table: table?,
        first: first?,
        encoding: Encoding {
            kind: kind?,
            order: order?,
            line: line?,
        },
    })
}

fn named(
    review: &mut Review,
    path: &KeyPath,
    kind: &'static str,
    name: &str,
    names: &[String],
) -> Option<usize> {
    let place = names.iter().position(|known| known == name);
    if place.is_none() {
        review.unknown_name(path, kind, name, names.iter().map(String::as_str));
    }
    place
}

fn slave(review: &mut Review, at: &KeyPath, raw: &RawChannel, over_tcp: bool) -> Option<u8> {
    let path = at.key("slave");
    let slave = review.required(&path, raw.slave, "slave = 3, the number set on the device")?;
    let range = if over_tcp {
        (0, i64::from(u8::MAX))
    } else {
        (i64::from(*SLAVES.start()), i64::from(*SLAVES.end()))
    };
    let slave = review.within(&path, slave, range, |slave| slave.to_string())?;
    u8::try_from(slave).ok()
}

fn kind(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<NumberKind> {
    let path = at.key("number");
    let word = review.required(&path, raw.number.as_deref(), "number = \"float32\"")?;
    review.one_of(&path, word, &NumberKind::ALL.map(|one| (one.name(), one)))
}

/// Nothing is guessed but what the standard settles: the bytes of one register.
fn order(review: &mut Review, at: &KeyPath, raw: &RawChannel, kind: NumberKind) -> Option<Order> {
    let path = at.key("order");
    let names = kind.orders();
    let word = match (raw.order.as_deref(), kind.registers()) {
        (None, 1) => return Some(Order::HighFirst),
        (None, 2) => review.required(&path, None, "order = \"ABCD\", or \"CDAB\"; see its manual"),
        (None, _) => review.required(&path, None, "order = \"ABCDEFGH\"; see its manual"),
        (written, _) => written,
    }?;
    // A register alone has two orders, each under the names of two.
    let mut words: Vec<(&'static str, Order)> = names.into_iter().zip(Order::ALL).collect();
    words.dedup_by_key(|(name, _)| *name);
    review.one_of(&path, word, &words)
}

fn first(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    kind: Option<NumberKind>,
) -> Option<u16> {
    let path = at.key("register");
    let example = "register = 12, counted from 0 as it goes over the wire";
    let first = review.required(&path, raw.register, example)?;
    let last = 65_536 - i64::from(kind.map_or(1, NumberKind::registers));
    let first = review.within(&path, first, (0, last), |first| first.to_string())?;
    u16::try_from(first).ok()
}

fn line(review: &mut Review, at: &KeyPath, raw: &RawChannel) -> Option<Linear> {
    let scale = raw.scale.unwrap_or(1.0);
    let offset = raw.offset.unwrap_or(0.0);
    let path = at.key("scale");
    if scale == 0.0 {
        let (found, allowed) = ("0".to_owned(), "what one step of the number stands for");
        let allowed = allowed.to_owned();
        review.tell(&path, Problem::OutOfRange { found, allowed });
        return None;
    }
    let scale = review.within(&path, scale, (-1e9, 1e9), |scale| scale.to_string());
    let path = at.key("offset");
    let offset = review.within(&path, offset, (-1e9, 1e9), |offset| offset.to_string());
    Some(Linear {
        scale: scale?,
        offset: offset?,
    })
}

/// Where in the lines of a port the value of the channel at `at` stands.
pub(super) fn place(
    review: &mut Review,
    at: &KeyPath,
    raw: &RawChannel,
    wires: &Wires<'_>,
) -> Option<Origin> {
    let names = &wires.ports.names;
    let name = raw.serial.as_deref()?;
    let source = named(review, &at.key("serial"), "serial port", name, names)?;
    // What is wrong with the port itself was told there.
    let port = wires.ports.settings[source].as_ref()?;
    let place = match &port.format.shape {
        Shape::Pattern(pattern) => {
            if raw.column.is_some() {
                let problem = Problem::OnlyFor("ports with a delimiter; this one has a pattern");
                review.tell(&at.key("column"), problem);
            }
            let path = at.key("field");
            let example = "field = \"brix\", a name from the port's pattern";
            let field = review.required(&path, raw.field.as_deref(), example)?;
            let place = pattern.field_named(field);
            if place.is_none() {
                let known = pattern.fields().iter().map(String::as_str);
                review.unknown_name(&path, "field", field, known);
            }
            Place::Field(place?)
        }
        Shape::Columns(_) => {
            if raw.field.is_some() {
                let problem = Problem::OnlyFor("ports with a pattern; this one has a delimiter");
                review.tell(&at.key("field"), problem);
            }
            let path = at.key("column");
            let column = review.required(&path, raw.column, "column = 2; the first is 1")?;
            let column = review.within(&path, column, (1, MOST_COLUMNS), |column| {
                column.to_string()
            })?;
            Place::Column(usize::from(column))
        }
    };
    Some(Origin::Line { source, place })
}
