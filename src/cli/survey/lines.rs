//! Lines that an instrument sends over a serial port. Nothing is written to it.

use std::io;
use std::path::PathBuf;
use std::time::{Duration, Instant};

use anyhow::{Context, bail};
use clap::Args;
use tokio::io::{AsyncRead, AsyncReadExt};

use crate::cli::progress::Progress;
use crate::daemon::Clock;
use crate::ingest::wired::open_port;
use crate::settings::{DataBits, Parity, PortSettings, StopBits};
use crate::survey::counted;
use crate::survey::lines::{Heard, Port, PortFormat, RateSearch, Verdict, report, usual_formats};

/// The search and the progress look at the time so often.
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// Bytes read at once.
const AT_ONCE: usize = 1024;

/// A serial port on which an instrument sends lines unasked.
#[derive(Debug, Args)]
pub(in crate::cli) struct LinesArgs {
    /// The port, such as /dev/serial/by-id/…
    #[arg(value_name = "DEVICE")]
    device: PathBuf,
    /// Rates to try, bit/s; by default the usual ones in turn.
    #[arg(long, value_name = "N", value_delimiter = ',', value_parser = clap::value_parser!(u32).range(50..=4_000_000))]
    baud: Vec<u32>,
    /// Parity; by default none is tried, then even with seven data bits.
    #[arg(long, value_name = "WORD", value_parser = ["none", "even", "odd"])]
    parity: Option<String>,
    /// Data bits, 7 or 8.
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u8).range(7..=8))]
    bits: Option<u8>,
    /// Listen so long once the rate is known, and so long for a first sign;
    /// Ctrl-C ends it earlier.
    #[arg(long = "for", value_name = "TIME", default_value = "30s", value_parser = super::listening)]
    listen: Duration,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

/// Why listening ended.
enum End {
    Time,
    Asked,
    Found,
    Next,
    GaveUp,
}

pub(super) fn survey(args: &LinesArgs) -> anyhow::Result<bool> {
    let (heard, format) = super::runtime()?.block_on(listen(args))?;
    let device = super::lasting_path(&args.device).display().to_string();
    let heading = format!("{device}: {}", counted(heard.lines, "line"));
    let port = Port {
        name: super::source_name(&device),
        device,
        format,
    };
    let mut report = report(&heard, &port);
    if heard.lines == 0 {
        report.rows.clear();
        report.notes.push(nothing(&heard));
    }
    super::print(&heading, &report, args.json);
    Ok(heard.lines > 0)
}

fn nothing(heard: &Heard) -> String {
    match heard.bytes {
        0 => "Nothing came. Does the instrument send unasked? Look at its settings, at power and \
              wiring (its TX to our RX), or listen for longer with --for."
            .to_owned(),
        bytes => format!(
            "{} came, but no line of text. Another rate, with --baud? Binary, as Modbus is? Then \
             try survey modbus.",
            counted(bytes, "byte")
        ),
    }
}

impl LinesArgs {
    fn formats(&self) -> Vec<PortFormat> {
        let usual = usual_formats(&self.baud);
        if self.parity.is_none() && self.bits.is_none() {
            return usual;
        }
        let parity = self.parity.as_deref().map_or(Parity::None, super::parity);
        let data_bits = match self.bits {
            Some(7) => DataBits::Seven,
            _ => DataBits::Eight,
        };
        let mut formats: Vec<PortFormat> = Vec::new();
        for PortFormat { baud, .. } in usual {
            let format = PortFormat {
                baud,
                data_bits,
                parity,
            };
            if !formats.contains(&format) {
                formats.push(format);
            }
        }
        formats
    }
}

async fn listen(args: &LinesArgs) -> anyhow::Result<(Heard, PortFormat)> {
    let formats = args.formats();
    let is_known = formats.len() == 1;
    let mut search = RateSearch::new(formats);
    loop {
        let format = search.format().context("there is no rate to try")?;
        let mut ear = Ear::open(args, format)?;
        if !is_known {
            match ear.listen(args.listen, Some(&mut search)).await? {
                End::Found => {}
                End::Next => continue,
                End::Time | End::Asked | End::GaveUp => return Ok((ear.heard, format)),
            }
            eprintln!("lines of text at {format}");
        }
        ear.listen(args.listen, None).await?;
        return Ok((ear.heard, format));
    }
}

/// An open port that is listened on.
struct Ear<W> {
    wire: W,
    heard: Heard,
    start: Instant,
}

impl Ear<tokio_serial::SerialStream> {
    fn open(args: &LinesArgs, format: PortFormat) -> anyhow::Result<Self> {
        let wire = open_port(&PortSettings {
            device: args.device.clone(),
            baud: format.baud,
            data_bits: format.data_bits,
            parity: format.parity,
            stop_bits: StopBits::One,
        })?;
        Ok(Ear {
            wire,
            heard: Heard::new(),
            start: Instant::now(),
        })
    }
}

impl<W: AsyncRead + Unpin> Ear<W> {
    /// Listens for so long, or until the search says otherwise.
    async fn listen(
        &mut self,
        time: Duration,
        mut search: Option<&mut RateSearch>,
    ) -> anyhow::Result<End> {
        let what = match search {
            Some(_) => "trying rates",
            None => "listening",
        };
        let mut progress = Progress::new(what, time.as_secs());
        let begun = Instant::now();
        let mut look = tokio::time::interval(LOOK_EVERY);
        let end = tokio::time::sleep(time);
        tokio::pin!(end);
        let mut buffer = [0; AT_ONCE];
        loop {
            let len = tokio::select! {
                read = self.wire.read(&mut buffer) => some(read)?,
                _ = look.tick() => 0,
                () = &mut end => { progress.done(); return Ok(End::Time) }
                _ = tokio::signal::ctrl_c() => return Ok(End::Asked),
            };
            progress.at(begun.elapsed().as_secs());
            let bytes = &buffer[..len];
            let now = self.start.elapsed();
            self.heard.handle_input(bytes, now, Clock::System.now());
            let verdict = search
                .as_mut()
                .map(|search| search.handle_input(bytes, now));
            match verdict {
                None | Some(Verdict::Listen) => {}
                Some(Verdict::Found) => return Ok(End::Found),
                Some(Verdict::Next) => return Ok(End::Next),
                Some(Verdict::GiveUp) => return Ok(End::GaveUp),
            }
        }
    }
}

/// What was read, which is something: a port that was unplugged gives nothing
/// at once and for ever.
fn some(read: io::Result<usize>) -> anyhow::Result<usize> {
    match read.context("the port was lost")? {
        0 => bail!("the port is gone: unplugged, switched off or closed"),
        len => Ok(len),
    }
}
