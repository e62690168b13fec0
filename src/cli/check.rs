//! `check`: are the settings right? Nothing is started, nothing is written.

use std::fmt::{Display, Write as _};
use std::path::Path;

use crate::engine::SumpSetup;
use crate::notify::Texts;
use crate::settings::Settings;

/// The settings are right.
const WELL: u8 = 0;
/// The settings are wrong.
const WRONG: u8 = 2;

/// What `check` has to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    /// For people, whole lines: what is settled on standard output, or what is
    /// wrong on standard error.
    pub text: String,
    /// Exit status: 0 right, 2 wrong.
    pub status: u8,
}

/// Checks the settings in the folder `dir` under the environment `env`.
pub fn check(dir: &Path, env: impl Iterator<Item = (String, String)>) -> Checked {
    match Settings::load(dir, env) {
        Ok(settings) => check_texts(&settings),
        Err(error) => wrong(&error, error.mistakes.len()),
    }
}

/// The texts of messages can only be tried once the settings are right.
fn check_texts(settings: &Settings) -> Checked {
    match Texts::new(&settings.texts) {
        Ok(texts) => Checked {
            text: summary(settings, &texts),
            status: WELL,
        },
        Err(error) => wrong(&error, error.mistakes.len()),
    }
}

fn wrong(mistakes: &dyn Display, count: usize) -> Checked {
    Checked {
        text: format!("{mistakes}\n{}\n", counted(count, "mistake")),
        status: WRONG,
    }
}

fn summary(settings: &Settings, texts: &Texts) -> String {
    let mut text = format!("plant {}: ", settings.plant.name);
    let wires = [
        (settings.modbus.len(), "Modbus line"),
        (settings.serial.len(), "serial port"),
    ];
    for (count, word) in wires.into_iter().filter(|(count, _)| *count > 0) {
        // Writing to a String never fails.
        let _ = write!(text, "{}, ", counted(count, word));
    }
    let _ = writeln!(
        text,
        "{}, {}, {}, {}",
        counted(settings.brokers.len(), "broker"),
        counted(settings.sumps.len(), "sump"),
        counted(settings.routes.len(), "channel"),
        counted(settings.contacts.len(), "contact"),
    );
    for sump in &settings.sumps {
        text.push_str(&sump_line(sump));
    }
    for remark in &settings.remarks {
        // Writing to a String never fails.
        let _ = writeln!(text, "advice: {remark}");
    }
    for (language, count) in texts.borrowed().filter(|(_, count)| *count > 0) {
        // Writing to a String never fails.
        let _ = writeln!(
            text,
            "advice: messages in \"{language}\": English stands in for {} that phrases.toml has not",
            counted(count, "sentence")
        );
    }
    text.push_str("the settings are right\n");
    text
}

fn sump_line(sump: &SumpSetup) -> String {
    let (low, high) = sump.window;
    let mut line = format!(
        "  {}: {:.0} of {} at {:.1} ({low:.1} to {high:.1})",
        sump.name, sump.working_volume, sump.fluid.name, sump.target
    );
    let channels: Vec<&str> = sump.channels.iter().map(|channel| &*channel.name).collect();
    let limits = counted(sump.limits.len(), "limit");
    // Writing to a String never fails.
    let _ = writeln!(line, "; {limits}; channels {}", listed(&channels));
    line
}

fn listed(names: &[&str]) -> String {
    if names.is_empty() {
        "none".to_owned()
    } else {
        names.join(", ")
    }
}

fn counted(count: usize, word: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {word}{plural}")
}
