//! `survey`: listens for a while and tells what stands there, with settings to
//! copy. Nothing is written to any instrument, and nothing is kept.

mod broker;
mod lines;
mod modbus;
mod numbers;

use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::Context;
use clap::{Args, Subcommand};

use crate::daemon::Clock;
use crate::settings::Parity;
use crate::settings::{TopicError, check_filter};
use crate::survey::{Report, settings_name};
use crate::units::{Parse, Span};

/// Where the system lists serial ports by names that last.
const BY_ID: &str = "/dev/serial/by-id";

/// What to look at.
#[derive(Debug, Subcommand)]
pub(super) enum Survey {
    /// What is published on an MQTT broker.
    Broker(BrokerArgs),
    /// Lines of text that an instrument sends over a serial port; only listens.
    Lines(lines::LinesArgs),
    /// Slaves on a Modbus line and what their registers hold; only reads.
    Modbus(modbus::ModbusArgs),
}

/// A broker, by its settings or by its address.
#[derive(Debug, Args)]
pub(super) struct BrokerArgs {
    /// The broker's machine, HOST or HOST:PORT; not with --config.
    #[arg(value_name = "HOST[:PORT]", required_unless_present = "config")]
    address: Option<String>,
    /// Connect as these settings say.
    #[arg(long, value_name = "DIR", conflicts_with = "address")]
    config: Option<PathBuf>,
    /// Name of the broker in the settings; by default that of the messages.
    #[arg(long, value_name = "NAME", requires = "config")]
    broker: Option<String>,
    /// User name, where the broker wants one.
    #[arg(long, value_name = "NAME", conflicts_with = "config")]
    user: Option<String>,
    /// File that holds the password alone.
    #[arg(long, value_name = "FILE", requires = "user")]
    password_file: Option<PathBuf>,
    /// Encrypt, and trust the broker whom these certificates (PEM) vouch for.
    #[arg(long, value_name = "FILE.pem", conflicts_with = "config")]
    ca_file: Option<PathBuf>,
    /// Version of MQTT, 5 or 3.1.1.
    #[arg(long, value_name = "VERSION", default_value = "5", value_parser = ["5", "3.1.1"])]
    mqtt: String,
    /// Topics to listen to, + and # allowed.
    #[arg(long = "topic", value_name = "FILTER", default_value = "#", value_parser = filter)]
    topics: Vec<String>,
    /// Listen so long; Ctrl-C ends it earlier.
    #[arg(long = "for", value_name = "TIME", default_value = "60s", value_parser = listening)]
    listen: Duration,
    /// Print one JSON object.
    #[arg(long)]
    json: bool,
}

fn filter(text: &str) -> Result<String, TopicError> {
    check_filter(text).map(|()| text.to_owned())
}

fn listening(text: &str) -> Result<Duration, String> {
    let span = Span::parse(text).map_err(|error| error.to_string())?;
    match span.millis() {
        millis @ 1_000..=86_400_000 => Ok(Duration::from_millis(millis as u64)),
        _ => Err("1 s to 24 h is allowed".to_owned()),
    }
}

/// The parity of a word that the command line has checked.
fn parity(word: &str) -> Parity {
    match word {
        "even" => Parity::Even,
        "odd" => Parity::Odd,
        _ => Parity::None,
    }
}

/// Looks, and prints what there is; says whether there was anything.
pub(super) fn survey(what: Survey) -> anyhow::Result<bool> {
    match what {
        Survey::Broker(args) => broker::survey(&args),
        Survey::Lines(args) => lines::survey(&args),
        Survey::Modbus(args) => modbus::survey(&args),
    }
}

/// The runtime that a survey needs.
fn runtime() -> anyhow::Result<tokio::runtime::Runtime> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .context("cannot start the runtime")
}

/// The device under a whole path that it keeps when it is plugged in again,
/// where there is one.
fn lasting_path(device: &Path) -> PathBuf {
    let whole = std::path::absolute(device).unwrap_or_else(|_| device.to_owned());
    let Ok(target) = whole.canonicalize() else {
        return whole;
    };
    let is_it = |link: &PathBuf| link.canonicalize().is_ok_and(|other| other == target);
    let links = std::fs::read_dir(BY_ID).into_iter().flatten().flatten();
    links.map(|entry| entry.path()).find(is_it).unwrap_or(whole)
}

/// A name for settings out of a device's or a machine's.
fn source_name(of: &str) -> String {
    settings_name(of.rsplit('/').next().unwrap_or(of))
}

/// Prints a report under its heading.
fn print(heading: &str, report: &Report, json: bool) {
    if json {
        let object = serde_json::json!({
            "heading": heading, "rows": report.rows, "notes": report.notes,
            "settings": report.settings,
        });
        super::say(&format!("{object}\n"));
        return;
    }
    super::say(&format!(
        "{heading}\n\n{}",
        report.seen(Clock::System.now())
    ));
    let settings = report.all_settings();
    if !settings.is_empty() {
        super::say(&format!(
            "\nSettings to copy. Put the name of your sump in place of SUMP, look at what stands\n\
             behind #, and try them with `sumpward check`.\n{settings}"
        ));
    }
}
