//! Sources with a wire of their own, valid: serial ports and Modbus.

use std::path::PathBuf;
use std::sync::Arc;

use crate::line::{LineEnd, LineFormat};
use crate::units::Span;

/// One line of Modbus slaves, whose master we are.
#[derive(Debug, Clone, PartialEq)]
pub struct ModbusSettings {
    /// Its name in settings.
    pub name: Arc<str>,
    /// Where the slaves are.
    pub way: ModbusWay,
    /// Every register is asked for once in this time, 100 ms to 1 d.
    pub poll: Span,
    /// How long an answer is waited for, 10 ms to 60 s.
    pub timeout: Span,
    /// The longest time that any slave may take to begin its answer, from
    /// `timeout` to 60 s. Serial lines only.
    pub latency: Span,
    /// Rest between an answer and the next request, to 60 s.
    pub pause: Span,
    /// So many registers that nobody wants may be read with those wanted.
    pub gap: u16,
}

/// Where Modbus slaves are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ModbusWay {
    /// On a serial line.
    Serial(PortSettings),
    /// At the far end of a TCP connection.
    Tcp {
        /// Name or address of the machine.
        host: String,
        /// TCP port, 1 to 65535.
        port: u16,
    },
}

/// One serial port on which an instrument sends lines unasked.
#[derive(Debug, Clone, PartialEq)]
pub struct SerialSettings {
    /// Its name in settings.
    pub name: Arc<str>,
    /// The port.
    pub port: PortSettings,
    /// What ends a line.
    pub end: LineEnd,
    /// Bytes that a line has at most, 16 to 65536.
    pub longest: usize,
    /// How the lines look.
    pub format: LineFormat,
}

/// A serial port.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortSettings {
    /// The device file.
    pub device: PathBuf,
    /// Rate, bit/s, 50 to 4,000,000.
    pub baud: u32,
    /// Bits of a character.
    pub data_bits: DataBits,
    /// Its parity.
    pub parity: Parity,
    /// Stop bits behind it.
    pub stop_bits: StopBits,
}

/// Data bits of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DataBits {
    /// Seven.
    Seven,
    /// Eight.
    Eight,
}

/// Parity of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// No parity bit.
    None,
    /// An even number of ones.
    Even,
    /// An odd number of ones.
    Odd,
}

/// Stop bits of a character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StopBits {
    /// One.
    One,
    /// Two.
    Two,
}
