//! Slaves on a Modbus line. Only functions 03 and 04 are sent.

use std::ops::RangeInclusive;

use anyhow::bail;
use clap::Args;
use clap::error::ErrorKind;

use super::numbers::{self, Slaves};
use crate::cli::progress::Progress;
use crate::ingest::wired::Asker;
use crate::modbus::Table;
use crate::settings::{DataBits, ModbusSettings, ModbusWay, Parity, PortSettings, StopBits};
use crate::survey::counted;
use crate::survey::registers::{Line, SlaveSurvey, Wanted, report};
use crate::units::{Parse, Span};

/// The port of Modbus. IANA service name registry: mbap.
const TCP_PORT: u16 = 502;
/// Rate of a line. Memory: Modbus over serial line V1.02, section 3.2.
const BAUD: u32 = 19_200;
/// Slaves of a serial line (Modbus over serial line V1.02, section 2.2).
const SERIAL_SLAVES: RangeInclusive<u8> = 1..=247;

/// A line of Modbus slaves.
#[derive(Debug, Args)]
pub(in crate::cli) struct ModbusArgs {
    /// A serial port by its path, or a machine, HOST or HOST:PORT.
    #[arg(value_name = "DEVICE|HOST[:PORT]")]
    place: String,
    /// Rate of the serial line, bit/s; by default 19200.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: Option<u32>,
    /// Parity of the serial line; by default even, as the standard has it.
    #[arg(long, value_name = "WORD", value_parser = ["none", "even", "odd"])]
    parity: Option<String>,
    /// Stop bits; by default 1, without parity 2, as the standard has it.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(1..=2))]
    stop_bits: Option<u8>,
    /// Slaves to ask, as 1-32 or 1,3,10-12.
    #[arg(long, value_name = "RANGE", default_value = "1-32", value_parser = numbers::slaves)]
    slaves: Slaves,
    /// Registers to ask for, counted from 0 as they go over the wire.
    #[arg(long, value_name = "RANGE", default_value = "0-99", value_parser = numbers::registers)]
    registers: RangeInclusive<u16>,
    /// Registers of which kind.
    #[arg(long, value_name = "WORD", default_value = "both", value_parser = ["holding", "input", "both"])]
    table: String,
    /// Wait so long for an answer.
    #[arg(long, value_name = "TIME", default_value = "300 ms", value_parser = patience)]
    timeout: Span,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

fn patience(text: &str) -> Result<Span, String> {
    let span = Span::parse(text).map_err(|error| error.to_string())?;
    match span.millis() {
        10..=60_000 => Ok(span),
        _ => Err("10 ms to 60 s is allowed".to_owned()),
    }
}

pub(super) fn survey(args: &ModbusArgs) -> anyhow::Result<bool> {
    let settings = args.settings()?;
    warn(&settings.way);
    let slaves = super::runtime()?.block_on(ask(args, &settings))?;
    let there = slaves.iter().filter(|slave| slave.is_there()).count() as u64;
    let heading = format!(
        "{}, {} asked, registers {} to {}: {} there",
        args.place,
        counted(slaves.len() as u64, "slave"),
        args.registers.start(),
        args.registers.end(),
        counted(there, "slave")
    );
    let line = Line {
        name: settings.name.to_string(),
        way: settings.way.clone(),
    };
    let mut report = report(&slaves, &line);
    if there == 0 {
        report.notes.push(nobody(&settings.way).to_owned());
    }
    super::print(&heading, &report, args.json);
    Ok(there > 0)
}

/// What to know before anything is sent.
fn warn(way: &ModbusWay) {
    if let ModbusWay::Serial(_) = way {
        eprintln!(
            "Nothing else may be master on this line meanwhile: stop the daemon, the controller \
             or the gateway that asks there."
        );
    }
    eprintln!(
        "Only requests to read are sent (functions 03 and 04). Some old devices misbehave all the \
         same when asked for registers they do not have: keep --registers small."
    );
}

fn nobody(way: &ModbusWay) -> &'static str {
    match way {
        ModbusWay::Serial(_) => {
            "Nobody answers. Try --parity none --stop-bits 1 and other rates (--baud 9600), look at \
             power and wiring (A and B the right way round), or ask more --slaves."
        }
        ModbusWay::Tcp { .. } => {
            "The machine is there, but no slave answers. Try others with --slaves, 0 and 255 among \
             them, or a longer --timeout."
        }
    }
}

impl ModbusArgs {
    fn settings(&self) -> anyhow::Result<ModbusSettings> {
        let way = self.way()?;
        let name = match &way {
            ModbusWay::Serial(port) => super::source_name(&port.device.display().to_string()),
            ModbusWay::Tcp { host, .. } => super::source_name(host),
        };
        Ok(ModbusSettings {
            name: name.into(),
            way,
            poll: Span::from_secs(1),
            timeout: self.timeout,
            latency: Span::from_millis(2 * self.timeout.millis()),
            pause: Span::ZERO,
            gap: 0,
        })
    }

    fn way(&self) -> anyhow::Result<ModbusWay> {
        if self.place.contains('/') {
            self.refuse_slaves_of_tcp();
            return Ok(ModbusWay::Serial(self.port()));
        }
        if self.baud.is_some() || self.parity.is_some() || self.stop_bits.is_some() {
            wrong_usage(
                "--baud, --parity and --stop-bits are for serial ports, given by their path",
            );
        }
        let (host, port) = match self.place.rsplit_once(':') {
            Some((host, port)) if !host.contains(':') => match port.parse() {
                Ok(port) if port > 0 => (host, port),
                _ => bail!("{}: the port is 1 to 65535", self.place),
            },
            _ => (self.place.as_str(), TCP_PORT),
        };
        Ok(ModbusWay::Tcp {
            host: host.to_owned(),
            port,
        })
    }

    fn refuse_slaves_of_tcp(&self) {
        let others = self
            .slaves
            .0
            .iter()
            .find(|slave| !SERIAL_SLAVES.contains(slave));
        if let Some(slave) = others {
            wrong_usage(&format!(
                "--slaves: {slave} is none of a serial line, which has 1 to 247"
            ));
        }
    }

    fn port(&self) -> PortSettings {
        let parity = self.parity.as_deref().map_or(Parity::Even, super::parity);
        let stop_bits = match (self.stop_bits, parity) {
            (Some(2), _) | (None, Parity::None) => StopBits::Two,
            _ => StopBits::One,
        };
        PortSettings {
            device: super::lasting_path(self.place.as_ref()),
            baud: self.baud.unwrap_or(BAUD),
            data_bits: DataBits::Eight,
            parity,
            stop_bits,
        }
    }

    fn wanted(&self) -> Wanted {
        let tables = match self.table.as_str() {
            "holding" => vec![Table::Holding],
            "input" => vec![Table::Input],
            _ => vec![Table::Input, Table::Holding],
        };
        Wanted {
            tables,
            registers: self.registers.clone(),
        }
    }
}

/// Ends the program as the command line's own refusals do.
fn wrong_usage(why: &str) -> ! {
    clap::Error::raw(ErrorKind::ArgumentConflict, format!("{why}\n")).exit()
}

/// Asks one slave after the other; Ctrl-C ends it with what is known so far.
async fn ask(args: &ModbusArgs, settings: &ModbusSettings) -> anyhow::Result<Vec<SlaveSurvey>> {
    let wanted = args.wanted();
    let mut asker = Asker::open(settings).await?;
    let mut progress = Progress::new("asking", args.slaves.0.len() as u64);
    let mut slaves = Vec::new();
    for number in &args.slaves.0 {
        let mut slave = SlaveSurvey::new(*number, &wanted);
        while let Some(request) = slave.poll_request() {
            progress.at(slaves.len() as u64);
            let outcome = tokio::select! {
                outcome = asker.ask(*number, request) => outcome?,
                _ = tokio::signal::ctrl_c() => {
                    slaves.push(slave);
                    return Ok(slaves);
                }
            };
            slave.handle_outcome(outcome);
        }
        slaves.push(slave);
    }
    progress.done();
    Ok(slaves)
}
