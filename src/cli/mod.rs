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
mod command;
mod consumption;
mod demo;
mod entries;
mod entry;
mod export;
mod history;
mod import;
mod kept_store;
mod log;
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

use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use clap::{CommandFactory, Parser};

use crate::settings::Settings;
use crate::units::to_wire;
use command::{CalcArgs, Cli, Command};
use log::log_to_stderr;

const WELL: u8 = 0;
const NO: u8 = 1;
const WRONG: u8 = 2;

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
    match outcome {
        Ok(text) => {
            say(&text);
            WELL
        }
        // It says itself what is behind it.
        Err(error) => {
            eprintln!("sumpward: {error}");
            NO
        }
    }
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
