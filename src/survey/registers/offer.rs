//! Slaves and their registers, in words and as settings.

use std::collections::BTreeSet;

use super::floats::{Pair, best, order_name, pairs};
use super::slave::{SlaveSurvey, TableFound};
use crate::modbus::Table;
use crate::settings::{ModbusWay, Parity, StopBits};
use crate::survey::recognise::Seen;
use crate::survey::report::{Report, Row, Valued, counted};
use crate::survey::snippet::Snippets;

/// From here on a register may be a negative number.
const NEGATIVE: u16 = 0x8000;

/// The line that was surveyed.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// The name that settings are to give it.
    pub name: String,
    /// Where it is.
    pub way: ModbusWay,
}

/// What the slaves have, with settings that read it.
pub fn report(slaves: &[SlaveSurvey], line: &Line) -> Report {
    let there: Vec<&SlaveSurvey> = slaves.iter().filter(|slave| slave.is_there()).collect();
    let mut report = Report::default();
    let mut snippets = Snippets::default();
    let mut told = there.as_slice();
    if matches!(line.way, ModbusWay::Tcp { .. }) && all_alike(&there) {
        told = &there[..1];
        report.notes.push(format!(
            "{} answer alike: it seems to be one device that does not heed the number",
            counted(there.len() as u64, "slave")
        ));
    }
    for slave in told {
        for (table, found) in slave.found() {
            let of = Of {
                line,
                slave: slave.number,
                table,
            };
            report.rows.push(row(&mut snippets, &of, found));
        }
    }
    if report.rows.iter().any(|row| !row.settings.is_empty()) {
        report.settings = source(line);
    }
    report
}

fn all_alike(slaves: &[&SlaveSurvey]) -> bool {
    let same = |two: &[&SlaveSurvey]| two[0].found().eq(two[1].found());
    let has_some =
        |slave: &&SlaveSurvey| slave.found().any(|(_, found)| !found.registers.is_empty());
    slaves.len() > 1 && slaves.iter().all(has_some) && slaves.windows(2).all(same)
}

fn source(line: &Line) -> String {
    let mut snippets = Snippets::default();
    snippets.source("modbus", &line.name);
    match &line.way {
        ModbusWay::Tcp { host, port } => {
            snippets.line("host", host, None).number("port", port);
        }
        ModbusWay::Serial(port) => {
            let parity = match port.parity {
                Parity::None => "none",
                Parity::Even => "even",
                Parity::Odd => "odd",
            };
            let stop_bits = match port.stop_bits {
                StopBits::One => 1,
                StopBits::Two => 2,
            };
            snippets
                .line("device", &port.device.display().to_string(), None)
                .number("baud", port.baud)
                .line("parity", parity, None)
                .number("stop_bits", stop_bits);
        }
    }
    snippets.take()
}

/// Whose registers.
struct Of<'a> {
    line: &'a Line,
    slave: u8,
    table: Table,
}

fn row(snippets: &mut Snippets, of: &Of<'_>, found: &TableFound) -> Row {
    let pairs = pairs(&found.registers);
    offer(snippets, of, found, &best(&pairs));
    Row {
        name: format!("slave {}, {} registers", of.slave, of.table.name()),
        noun: "answer",
        format: "Modbus".to_owned(),
        messages: found.answers,
        values: values(found, &pairs),
        notes: notes(found),
        settings: snippets.take(),
        ..Row::default()
    }
}

fn values(found: &TableFound, pairs: &[Pair]) -> Vec<Valued> {
    let valued = |place: String, value: f64| Valued {
        place,
        value: Seen::Number(value),
        unit: None,
    };
    let mut values = Vec::new();
    for (register, value) in &found.registers {
        if *value > 0 {
            values.push(valued(format!("{register}"), f64::from(*value)));
        }
        if *value >= NEGATIVE {
            let signed = f64::from(*value as i16);
            values.push(valued(format!("{register} as int16"), signed));
        }
        for pair in pairs.iter().filter(|pair| pair.first == *register) {
            let order = order_name(pair.order);
            let (first, next) = (pair.first, pair.first + 1);
            let place = format!("{first}, {next} as float32 {order}");
            values.push(valued(place, pair.value));
        }
    }
    values
}

fn notes(found: &TableFound) -> Vec<String> {
    let mut notes = Vec::new();
    let registers = |count: u64| counted(count, "register");
    let zeros = found
        .registers
        .values()
        .filter(|value| **value == 0)
        .count();
    if zeros > 0 {
        let is = if zeros == 1 { "is" } else { "are" };
        notes.push(format!("{} {is} 0", registers(zeros as u64)));
    }
    if let Some((count, exception)) = found.refused {
        notes.push(format!("{} refused: {exception}", registers(count.into())));
    }
    if let Some((count, failure)) = found.failed {
        notes.push(format!(
            "{} without an answer: {failure}",
            registers(count.into())
        ));
    }
    notes
}

/// One channel a number: pairs where they may be one, else single registers.
/// Settings want no register to mean two things.
fn offer(snippets: &mut Snippets, of: &Of<'_>, found: &TableFound, best: &[Pair]) {
    let in_pairs: BTreeSet<u16> = best
        .iter()
        .flat_map(|pair| [pair.first, pair.first + 1])
        .collect();
    for (register, value) in &found.registers {
        if let Some(pair) = best.iter().find(|pair| pair.first == *register) {
            let low = found.registers.get(&(register + 1)).copied().unwrap_or(0);
            let remark = format!("guessed; as uint16 they are {value} and {low}");
            of.channel(snippets, *register, pair.value, "float32", &remark);
            snippets.line("order", order_name(pair.order), None);
        } else if *value > 0 && !in_pairs.contains(register) {
            let remark = match *value {
                NEGATIVE.. => format!("or \"int16\", as which it is {}", *value as i16),
                _ => "mostly with a scale: see its manual".to_owned(),
            };
            of.channel(snippets, *register, f64::from(*value), "uint16", &remark);
        }
    }
}

impl Of<'_> {
    fn channel(&self, snippets: &mut Snippets, register: u16, seen: f64, kind: &str, remark: &str) {
        let (slave, table) = (self.slave, self.table.name());
        let name = format!("slave-{slave}-{table}-{register}");
        let told = format!("slave {slave}, {table} register {register}: {seen}");
        snippets
            .channel_of(None, &name, &told)
            .line("modbus", &self.line.name, None)
            .number("slave", slave)
            .line("registers", table, None)
            .number("register", register)
            .line("number", kind, Some(remark));
    }
}

#[cfg(test)]
mod tests;
