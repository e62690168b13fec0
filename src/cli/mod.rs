//! The command line: one file a subcommand.
//!
//! Exit status: 0 well, 1 the answer is no or something failed on the way, 2
//! wrong usage or wrong settings. What a program may want to read goes to
//! standard output, what people are told to standard error.

mod alarms;
mod backup;
mod beside;
mod between;
pub mod calc;
pub mod check;
mod consumption;
mod demo;
mod entries;
mod entry;
mod export;
mod history;
mod import;
mod kept_store;
mod long_work;
mod message;
mod progress;
pub mod recharge;
mod replay;
mod report;
mod run;
mod stopped;
mod sump_named;
mod survey;

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::{Args, CommandFactory, Parser, Subcommand};
use tracing_subscriber::filter::LevelFilter;

use crate::settings::Settings;
use crate::units::{Concentration, Parse, QuantityError, Span, Volume, to_wire};

const WELL: u8 = 0;
const NO: u8 = 1;
const WRONG: u8 = 2;

/// Watches the water-mixed metalworking fluids of a plant and tells
/// maintenance what to do, in litres. It advises; it never acts on the plant.
#[derive(Debug, Parser)]
#[command(name = "sumpward", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Debug, Subcommand)]
enum Command {
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
struct Folder {
    /// Folder of the plant's settings.
    #[arg(long, value_name = "DIR", default_value = "config")]
    config: PathBuf,
}

#[derive(Debug, Args)]
struct DemoArgs {
    /// End by itself after so many seconds; otherwise Ctrl-C ends it.
    #[arg(long, value_name = "N")]
    seconds: Option<u64>,
    /// End by itself after so many simulated hours.
    #[arg(long, value_name = "N")]
    hours: Option<u32>,
    /// Simulated seconds in a real one, at most.
    #[arg(long, value_name = "X", default_value_t = 3600.0, value_parser = speed)]
    speed: f64,
    /// Another seed is another chance of noise and crew.
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Folder for the store; a new one under the system's folder for temporary
    /// files if not given.
    #[arg(long, value_name = "DIR")]
    folder: Option<PathBuf>,
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
struct ReplayArgs {
    #[command(flatten)]
    folder: Folder,
    /// Readings as CSV: time,sump,channel,value and, where they came late,
    /// arrival. Times after RFC 3339, values in the channel's unit.
    #[arg(
        long,
        value_name = "FILE.csv",
        required_unless_present = "from_store",
        conflicts_with = "from_store"
    )]
    readings: Option<PathBuf>,
    /// Entries that people made, one JSON object a line.
    #[arg(long, value_name = "FILE.ndjson", conflicts_with = "from_store")]
    entries: Option<PathBuf>,
    /// Take readings and entries from the plant's store, as they came.
    #[arg(long)]
    from_store: bool,
    /// From this day or time of the store on; from its first live reading if
    /// not given.
    #[arg(long, value_name = "TIME", requires = "from_store")]
    from: Option<String>,
    /// To before this day or time; to the end if not given.
    #[arg(long, value_name = "TIME", requires = "from_store")]
    to: Option<String>,
    /// Where the journal goes; standard output if not given.
    #[arg(long, value_name = "FILE.ndjson", conflicts_with = "changed")]
    out: Option<PathBuf>,
    /// Replay under the settings in this folder too, and print side by side
    /// which alarms come, go and move against those of --config.
    #[arg(long, value_name = "DIR")]
    changed: Option<PathBuf>,
    /// Print the comparison as one JSON object.
    #[arg(long, requires = "changed")]
    json: bool,
}

#[derive(Debug, Args)]
struct EntryArgs {
    #[command(flatten)]
    folder: Folder,
    #[command(flatten)]
    what: entry::What,
}

#[derive(Debug, Args)]
struct BackupArgs {
    #[command(flatten)]
    folder: Folder,
    /// Only read through a copy that is there.
    #[arg(long)]
    check: bool,
    /// The copy; it must not be there yet.
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

#[derive(Debug, Args)]
struct RestoreArgs {
    #[command(flatten)]
    folder: Folder,
    /// The copy.
    #[arg(value_name = "FILE")]
    file: PathBuf,
}

#[derive(Debug, Args)]
struct ImportArgs {
    #[command(flatten)]
    folder: Folder,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
    /// Readings as CSV or entries as JSON lines, in the formats of `replay`.
    #[arg(value_name = "FILE", required = true)]
    files: Vec<PathBuf>,
}

#[derive(Debug, Args)]
struct AlarmsArgs {
    #[command(flatten)]
    folder: Folder,
    /// From this day or time on: 2026-03-02, "2026-03-02 06:10", or with an
    /// offset; 30 days before the end if not given.
    #[arg(long, value_name = "TIME")]
    from: Option<String>,
    /// To before this day or time; now if not given.
    #[arg(long, value_name = "TIME")]
    to: Option<String>,
    /// Scale the mean rates to so many sumps, for which one person is
    /// responsible.
    #[arg(long, value_name = "N", value_parser = alarms::sumps)]
    sumps_per_person: Option<f64>,
    /// An alarm that comes three times within so long is repeating.
    #[arg(long, value_name = "TIME", default_value_t = alarms::usual().repeats_within, value_parser = quantity::<Span>)]
    repeats_within: Span,
    /// An alarm that goes by itself within so long is fleeting.
    #[arg(long, value_name = "TIME", default_value_t = alarms::usual().fleeting_within, value_parser = quantity::<Span>)]
    fleeting_within: Span,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

#[derive(Debug, Args)]
struct ConsumptionArgs {
    #[command(flatten)]
    folder: Folder,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
    /// The sumps; all if none is given.
    #[arg(value_name = "SUMP")]
    sumps: Vec<String>,
}

#[derive(Debug, Args)]
struct MessageArgs {
    /// Folder of the plant's settings.
    #[arg(long, value_name = "DIR", default_value = "config", global = true)]
    config: PathBuf,
    #[command(subcommand)]
    what: message::Message,
}

#[derive(Debug, Args)]
struct RechargeArgs {
    #[command(flatten)]
    folder: Folder,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
    /// Print the plan alone.
    #[arg(long)]
    plan_only: bool,
    /// The whole volume, with lines and machines; by readings, or else the
    /// settings' working volume, if not given.
    #[arg(long, value_name = "VOLUME", value_parser = quantity::<Volume>)]
    volume: Option<Volume>,
    /// Share of the volume that no drain gets out.
    #[arg(long, value_name = "SHARE", default_value = "0 %", value_parser = quantity::<Concentration>)]
    rest: Concentration,
    /// The sump.
    #[arg(value_name = "SUMP")]
    sump: String,
}

/// Reads a number with its unit.
fn quantity<T: Parse>(text: &str) -> Result<T, QuantityError> {
    T::parse(text)
}

#[derive(Debug, Args)]
#[command(disable_help_flag = true)]
struct CalcArgs {
    /// Print this, or what there is to say of one calculation.
    #[arg(short, long)]
    help: bool,
    /// List the calculations.
    #[arg(long)]
    list: bool,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
    /// The calculation, then key=value with units.
    #[arg(value_name = "NAME key=value")]
    words: Vec<String>,
}

/// Does what the command line asks for.
pub fn main() -> ExitCode {
    let status = match Cli::parse().command {
        Command::Run(folder) => with_settings(&folder.config, |settings| {
            log_to_stderr("info,rumqttc=error");
            Ok(if run::run(settings)? { WELL } else { WRONG })
        }),
        Command::Check(folder) => check_settings(&folder.config),
        Command::Demo(args) => {
            log_to_stderr("error");
            let demo = demo::Demo {
                seconds: args.seconds,
                hours: args.hours,
                speed: args.speed,
                seed: args.seed,
                folder: args.folder,
            };
            told(demo::run(&demo).map(|()| WELL))
        }
        Command::Replay(args) => with_settings(&args.folder.config, |settings| {
            let history = match &args.readings {
                Some(readings) => replay::History::Files {
                    readings: readings.clone(),
                    entries: args.entries.clone(),
                },
                None => {
                    let (from, to) = (args.from.as_deref(), args.to.as_deref());
                    replay::History::stored(&settings.store.folder, from, to)?
                }
            };
            if let Some(changed) = &args.changed {
                return Ok(compare_alarms(&settings, changed, &history, args.json));
            }
            let counts = replay::replay(&settings, &history, args.out.as_deref())?;
            Ok(if counts.refused == 0 { WELL } else { NO })
        }),
        Command::Survey(what) => {
            told(survey::survey(what).map(|anything| if anything { WELL } else { NO }))
        }
        Command::Import(args) => with_settings(&args.folder.config, |settings| {
            let counts = import::import(&settings, &args.files)?;
            say(&import::told(&counts, args.json));
            let whole = counts.iter().all(|counts| counts.refused == 0);
            Ok(if whole { WELL } else { NO })
        }),
        Command::Entry(args) => with_settings(&args.folder.config, |settings| {
            Ok(match entry::enter(&settings, &args.what)? {
                entry::Told::Taken(text) => {
                    say(&format!("{text}\n"));
                    WELL
                }
                entry::Told::Refused(text) if args.what.prints_json() => {
                    say(&format!("{text}\n"));
                    NO
                }
                entry::Told::Refused(text) => {
                    eprintln!("{text}");
                    NO
                }
                entry::Told::Wrong(text) => {
                    eprintln!("{text}");
                    WRONG
                }
            })
        }),
        Command::Alarms(args) => with_settings(&args.folder.config, |settings| {
            let asked = alarms::Asked {
                from: args.from,
                to: args.to,
                sumps_per_person: args.sumps_per_person,
                repeats_within: args.repeats_within,
                fleeting_within: args.fleeting_within,
                json: args.json,
            };
            let told = alarms::told(&settings, &asked);
            Ok(answer(told, alarms::AlarmsFault::status))
        }),
        Command::Consumption(args) => with_settings(&args.folder.config, |settings| {
            let told = consumption::told(&settings, &args.sumps, args.json);
            Ok(answer(told, consumption::ConsumptionFault::status))
        }),
        Command::Recharge(args) => with_settings(&args.folder.config, |settings| {
            let ask = recharge::Ask {
                sump: args.sump,
                volume: args.volume,
                rest: args.rest.fraction(),
                plan_only: args.plan_only,
                json: args.json,
            };
            let told = recharge::told(&settings, &ask);
            Ok(answer(told, recharge::RechargeFault::status))
        }),
        Command::Export(args) => with_settings(&args.config, |settings| {
            let told = export::export(&settings, &args);
            Ok(answer(told, export::ExportFault::status))
        }),
        Command::Report(args) => with_settings(&args.config, |settings| {
            let told = report::report(&settings, &args);
            Ok(answer(told, report::ReportFault::status))
        }),
        Command::Message(args) => with_settings(&args.config, |settings| {
            message::message(&settings, &args.what)
        }),
        Command::Backup(args) if args.check => said(backup::check(&args.file)),
        Command::Backup(args) => with_settings(&args.folder.config, |settings| {
            Ok(said(backup::backup(&settings, &args.file)))
        }),
        Command::Restore(args) => with_settings(&args.folder.config, |settings| {
            Ok(said(backup::restore(&settings, &args.file)))
        }),
        Command::Calc(args) => calculate(&args),
    };
    ExitCode::from(status)
}

/// Loads the settings and goes on with them.
fn with_settings(folder: &Path, then: impl FnOnce(Settings) -> anyhow::Result<u8>) -> u8 {
    match run::load(folder) {
        Ok(settings) => told(then(settings)),
        Err(mistakes) => {
            eprintln!("{mistakes}");
            WRONG
        }
    }
}

/// The status, or the error told.
fn told(outcome: anyhow::Result<u8>) -> u8 {
    outcome.unwrap_or_else(|error| {
        eprintln!("sumpward: {error:#}");
        NO
    })
}

/// The status of what was said, or the error told.
fn said(outcome: Result<String, crate::store::BackupError>) -> u8 {
    told(outcome.map_err(anyhow::Error::from).map(|text| {
        say(&text);
        WELL
    }))
}

fn check_settings(folder: &Path) -> u8 {
    let checked = check::check(folder, std::env::vars());
    if checked.status == WELL {
        say(&checked.text);
    } else {
        eprint!("{}", checked.text);
    }
    checked.status
}

/// Says the text, or why there is none, and gives the exit status.
fn answer<F: std::fmt::Display>(told: Result<String, F>, status: fn(&F) -> u8) -> u8 {
    match told {
        Ok(text) => {
            say(&text);
            WELL
        }
        Err(fault) => {
            eprintln!("{fault}");
            status(&fault)
        }
    }
}

/// The alarms under the settings and under those of another folder.
fn compare_alarms(
    settings: &Settings,
    changed: &Path,
    history: &replay::History,
    json: bool,
) -> u8 {
    with_settings(changed, |changed| {
        let compared = replay::compared::compared(settings, &changed, history)?;
        if json {
            say(&format!("{}\n", to_wire(&compared)?));
        } else {
            say(&compared.to_string());
        }
        Ok(if compared.refused == 0 { WELL } else { NO })
    })
}

fn calculate(args: &CalcArgs) -> u8 {
    if args.help {
        return explain(args.words.first());
    }
    if args.list {
        say(&format!("{}\n", calc::list(args.json)));
        return WELL;
    }
    let outcome = calc::run(&args.words, args.json);
    let status = outcome.verdict.exit_status();
    if status == WELL || args.json {
        say(&format!("{}\n", outcome.text));
    } else {
        eprintln!("{}", outcome.text);
    }
    status
}

/// Help on one calculation, or on all of them.
fn explain(name: Option<&String>) -> u8 {
    let about = name.and_then(|name| calc::about(name));
    let general = || {
        let mut calc = Cli::command();
        let calc = calc
            .find_subcommand_mut("calc")
            .map(clap::Command::render_help);
        calc.map(|help| help.to_string()).unwrap_or_default()
    };
    say(&format!("{}\n", about.unwrap_or_else(general)));
    WELL
}

/// Prints to standard output; a reader that went away is no failure of ours.
fn say(text: &str) {
    let _ = std::io::stdout().write_all(text.as_bytes());
}

/// The log goes to standard error; `SUMPWARD_LOG` sets how much, as in
/// `SUMPWARD_LOG=debug`.
fn log_to_stderr(usual: &str) {
    let wish = std::env::var("SUMPWARD_LOG").unwrap_or_default();
    let known = says_how_much(&wish);
    if !known && !wish.is_empty() {
        eprintln!(
            "SUMPWARD_LOG: \"{wish}\" does not say how much is logged; write error, warn, info or debug; it stays as usual"
        );
    }
    let filter = tracing_subscriber::EnvFilter::new(if known { &wish } else { usual });
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .init();
}

/// Whether a text says how much to log: a level, or parts of the program with
/// levels of their own. A single other word would be taken for the name of such
/// a part, and everything else would go unlogged.
fn says_how_much(wish: &str) -> bool {
    let is_level = |part: &str| part.trim().parse::<LevelFilter>().is_ok();
    wish.split(',').all(|part| match part.split_once('=') {
        Some((_, level)) => is_level(level),
        None => !part.is_empty() && is_level(part),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_that_is_no_level_does_not_silence_the_log() {
        for known in [
            "debug",
            "WARN",
            "info,rumqttc=error",
            "sumpward::store=trace",
        ] {
            assert!(says_how_much(known), "{known}");
        }
        for unknown in ["", "loud", "info,loud", "sumpward=loud"] {
            assert!(!says_how_much(unknown), "{unknown}");
        }
    }
}
