//! What can be asked for on the command line: the subcommands and their arguments.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use super::{alarms, entry, export, message, report, survey};
use crate::units::{Concentration, Parse, QuantityError, Span, Volume};

/// Watches the water-mixed metalworking fluids of a plant and tells
/// maintenance what to do, in litres. It advises; it never acts on the plant.
#[derive(Debug, Parser)]
#[command(name = "sumpward", version, max_term_width = 100)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Run the daemon on a plant's settings.
    Run(Folder),
    /// Check the settings without starting anything; every mistake at once.
    Check(Folder),
    /// Play the invented plant, self-contained: its own broker, plant and crew.
    Demo(DemoArgs),
    /// Look what a broker, a serial port or a Modbus line has, with settings to
    /// copy.
    #[command(subcommand)]
    Survey(survey::Survey),
    /// Drive the same engine with history from files or the store; prints the
    /// journal, or which alarms come, go and move under changed settings.
    Replay(ReplayArgs),
    /// Put history from files into the store of the running daemon.
    Import(ImportArgs),
    /// Write something into the running daemon's journal:
    /// entry SUMP hand-reading brix 6.2 --by anna --at 06:10
    Entry(Box<EntryArgs>),
    /// How good the alarms are: the figures of ISA-18.2, what comes most often,
    /// and what stands or is hidden; from the store.
    Alarms(AlarmsArgs),
    /// What sumps have used, by charge, days and months, what it costs, and how
    /// long the concentrate in stock lasts; from the store.
    Consumption(ConsumptionArgs),
    /// Weigh going on, an exchange and a clean-out by what the store knows of
    /// the charge, and plan the clean-out in litres and hours, with its hazards.
    Recharge(RechargeArgs),
    /// Write series or journal into a file for other programs, as CSV or
    /// Parquet: export series readings.parquet --sump mill-4 --from 2026-03-01
    Export(export::ExportArgs),
    /// The logbook of a period for managers and auditors, as one HTML file that
    /// prints, and as CSV: report mill-4 --from 2026-03-01 --to 2026-04-01 --out
    /// march.html
    Report(report::ReportArgs),
    /// Try the roads to a contact; show messages that wait or were given up.
    Message(MessageArgs),
    /// Copy the store to a file, whether the daemon runs or not, and read the
    /// copy through.
    Backup(BackupArgs),
    /// Put a copy in the place of the store, which is set aside; the daemon must
    /// not run.
    Restore(RestoreArgs),
    /// Work out a formula: calc dose volume=820L concentration=4.2% …
    Calc(CalcArgs),
}

#[derive(Debug, Args)]
pub(super) struct Folder {
    /// Folder of the plant's settings.
    #[arg(long, value_name = "DIR", default_value = "config")]
    pub(super) config: PathBuf,
}

#[derive(Debug, Args)]
pub(super) struct DemoArgs {
    /// End by itself after so many seconds; otherwise Ctrl-C ends it.
    #[arg(long, value_name = "N")]
    pub(super) seconds: Option<u64>,
    /// End by itself after so many simulated hours.
    #[arg(long, value_name = "N")]
    pub(super) hours: Option<u32>,
    /// Simulated seconds in a real one, at most.
    #[arg(long, value_name = "X", default_value_t = 3600.0, value_parser = speed)]
    pub(super) speed: f64,
    /// Another seed is another chance of noise and crew.
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(super) seed: u64,
    /// Folder for the store; a new one under the system's folder for temporary
    /// files if not given.
    #[arg(long, value_name = "DIR")]
    pub(super) folder: Option<PathBuf>,
}

/// Reads how fast the demo is to be.
fn speed(text: &str) -> Result<f64, String> {
    let speed: f64 = text.parse().map_err(|_| "a number is needed".to_owned())?;
    if (1.0..=1e6).contains(&speed) {
        Ok(speed)
    } else {
        Err("1 to 1000000 is allowed".to_owned())
    }
}

#[derive(Debug, Args)]
pub(super) struct ReplayArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// Readings as CSV: time,sump,channel,value and, where they came late,
    /// arrival. Times after RFC 3339, values in the channel's unit.
    #[arg(
        long,
        value_name = "FILE.csv",
        required_unless_present = "from_store",
        conflicts_with = "from_store"
    )]
    pub(super) readings: Option<PathBuf>,
    /// Entries that people made, one JSON object a line.
    #[arg(long, value_name = "FILE.ndjson", conflicts_with = "from_store")]
    pub(super) entries: Option<PathBuf>,
    /// Take readings and entries from the plant's store, as they came.
    #[arg(long)]
    pub(super) from_store: bool,
    /// From this day or time of the store on; from its first live reading if
    /// not given.
    #[arg(long, value_name = "TIME", requires = "from_store")]
    pub(super) from: Option<String>,
    /// To before this day or time; to the end if not given.
    #[arg(long, value_name = "TIME", requires = "from_store")]
    pub(super) to: Option<String>,
    /// Where the journal goes; standard output if not given.
    #[arg(long, value_name = "FILE.ndjson", conflicts_with = "changed")]
    pub(super) out: Option<PathBuf>,
    /// Replay under the settings in this folder too, and print side by side
    /// which alarms come, go and move against those of --config.
    #[arg(long, value_name = "DIR")]
    pub(super) changed: Option<PathBuf>,
    /// Print the comparison as one JSON object.
    #[arg(long, requires = "changed")]
    pub(super) json: bool,
}

#[derive(Debug, Args)]
pub(super) struct EntryArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    #[command(flatten)]
    pub(super) what: entry::What,
}

#[derive(Debug, Args)]
pub(super) struct BackupArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// Only read through a copy that is there.
    #[arg(long)]
    pub(super) check: bool,
    /// The copy; it must not be there yet.
    #[arg(value_name = "FILE")]
    pub(super) file: PathBuf,
}

#[derive(Debug, Args)]
pub(super) struct RestoreArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// The copy.
    #[arg(value_name = "FILE")]
    pub(super) file: PathBuf,
}

#[derive(Debug, Args)]
pub(super) struct ImportArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// Print one JSON object.
    #[arg(long)]
    pub(super) json: bool,
    /// Readings as CSV or entries as JSON lines, in the formats of `replay`.
    #[arg(value_name = "FILE", required = true)]
    pub(super) files: Vec<PathBuf>,
}

#[derive(Debug, Args)]
pub(super) struct AlarmsArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// From this day or time on: 2026-03-02, "2026-03-02 06:10", or with an
    /// offset; 30 days before the end if not given.
    #[arg(long, value_name = "TIME")]
    pub(super) from: Option<String>,
    /// To before this day or time; now if not given.
    #[arg(long, value_name = "TIME")]
    pub(super) to: Option<String>,
    /// Scale the mean rates to so many sumps, for which one person is
    /// responsible.
    #[arg(long, value_name = "N", value_parser = alarms::sumps)]
    pub(super) sumps_per_person: Option<f64>,
    /// An alarm that comes three times within so long is repeating.
    #[arg(long, value_name = "TIME", default_value_t = alarms::usual().repeats_within, value_parser = quantity::<Span>)]
    pub(super) repeats_within: Span,
    /// An alarm that goes by itself within so long is fleeting.
    #[arg(long, value_name = "TIME", default_value_t = alarms::usual().fleeting_within, value_parser = quantity::<Span>)]
    pub(super) fleeting_within: Span,
    /// Print one JSON object.
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Debug, Args)]
pub(super) struct ConsumptionArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// Print one JSON object.
    #[arg(long)]
    pub(super) json: bool,
    /// The sumps; all if none is given.
    #[arg(value_name = "SUMP")]
    pub(super) sumps: Vec<String>,
}

#[derive(Debug, Args)]
pub(super) struct MessageArgs {
    /// Folder of the plant's settings.
    #[arg(long, value_name = "DIR", default_value = "config", global = true)]
    pub(super) config: PathBuf,
    #[command(subcommand)]
    pub(super) what: message::Message,
}

#[derive(Debug, Args)]
pub(super) struct RechargeArgs {
    #[command(flatten)]
    pub(super) folder: Folder,
    /// Print one JSON object.
    #[arg(long)]
    pub(super) json: bool,
    /// Print the plan alone.
    #[arg(long)]
    pub(super) plan_only: bool,
    /// The whole volume, with lines and machines; by readings, or else the
    /// settings' working volume, if not given.
    #[arg(long, value_name = "VOLUME", value_parser = quantity::<Volume>)]
    pub(super) volume: Option<Volume>,
    /// Share of the volume that no drain gets out.
    #[arg(long, value_name = "SHARE", default_value = "0 %", value_parser = quantity::<Concentration>)]
    pub(super) rest: Concentration,
    /// The sump.
    #[arg(value_name = "SUMP")]
    pub(super) sump: String,
}

/// Reads a number with its unit.
fn quantity<T: Parse>(text: &str) -> Result<T, QuantityError> {
    T::parse(text)
}

#[derive(Debug, Args)]
#[command(disable_help_flag = true)]
pub(super) struct CalcArgs {
    /// Print this, or what there is to say of one calculation.
    #[arg(short, long)]
    pub(super) help: bool,
    /// List the calculations.
    #[arg(long)]
    pub(super) list: bool,
    /// Print one JSON object.
    #[arg(long)]
    pub(super) json: bool,
    /// The calculation, then key=value with units.
    #[arg(value_name = "NAME key=value")]
    pub(super) words: Vec<String>,
}
