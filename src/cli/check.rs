//! `check`: are the settings right? Nothing is started, nothing is written.

use std::fmt::{Display, Write as _};
use std::path::Path;

use crate::engine::SumpSetup;
use crate::notify::Texts;
use crate::phrases::TextsError;
use crate::report::words::Words;
use crate::settings::Settings;

use super::report::words;

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

/// The texts of messages and the words of reports can only be tried once the
/// settings are right.
fn check_texts(settings: &Settings) -> Checked {
    let own = words::own(&settings.texts);
    match (Texts::new(&settings.texts), Words::of_plant(&own)) {
        (Ok(texts), Ok(words)) => Checked {
            text: summary(settings, &texts, &words),
            status: WELL,
        },
        (texts, words) => {
            let errors = texts.err().into_iter().chain(words.err());
            let error = TextsError::new(errors.flat_map(|error| error.mistakes).collect());
            wrong(&error, error.mistakes.len())
        }
    }
}

fn wrong(mistakes: &dyn Display, count: usize) -> Checked {
    Checked {
        text: format!("{mistakes}\n{}\n", counted(count, "mistake")),
        status: WRONG,
    }
}

fn summary(settings: &Settings, texts: &Texts, words: &[Words]) -> String {
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
    for sump in settings.sumps.iter() {
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
    for words in words.iter().filter(|words| words.borrowed() > 0) {
        // Writing to a String never fails.
        let _ = writeln!(
            text,
            "advice: reports in \"{}\": English stands in for {} that report.toml has not",
            words.language(),
            counted(words.borrowed(), "text")
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

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    /// The example plant with these words of its own.
    fn checked(files: &[(&str, &str)]) -> (Checked, tempfile::TempDir) {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in files {
            let file = folder.path().join(name);
            fs::create_dir_all(file.parent().unwrap()).unwrap();
            fs::write(file, text).unwrap();
        }
        let messages = folder.path().to_str().unwrap().to_owned();
        let env = [("SUMPWARD__MESSAGES__FOLDER".to_owned(), messages)];
        let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("config");
        (check(&example, env.into_iter()), folder)
    }

    #[test]
    fn the_words_of_reports_are_tried_with_the_texts_of_messages() {
        let (wrong, folder) = checked(&[
            ("en/report.toml", "[page]\nplant = \"Works\"\nplnt = \"x\""),
            ("de/phrases.toml", "[departure]\nusual = 4"),
        ]);
        let at = folder.path().display();
        let told = format!(
            "{at}/de/phrases.toml:2: departure.usual: expected a sentence in quotes, found integer\n\
             {at}/en/report.toml:3: a report has no words page.plnt; did you mean page.plant?\n\
             2 mistakes\n"
        );
        assert_eq!((wrong.text, wrong.status), (told, WRONG));

        let (right, _folder) = checked(&[("fr/report.toml", "[page]\nplant = \"Usine\"")]);
        assert_eq!(right.status, WELL, "{}", right.text);
        let counted = "advice: reports in \"fr\": English stands in for ";
        assert!(right.text.contains(counted), "{}", right.text);
    }
}
