//! Settings to copy.

use std::collections::HashSet;
use std::fmt::Write as _;

use super::guess;
use crate::settings::TimeFormat;
use crate::units::Quantity;

/// Words for on and off that need no setting.
const USUAL_WORDS: [&str; 6] = ["on", "true", "1", "off", "false", "0"];
/// Names of channels have at most 64 characters; the rest is for a number.
const LONGEST_BARE: usize = 56;
/// Stands where a person must put the name of a sump.
const SUMP: &str = "SUMP";

/// Writes the settings of channels, each under a name of its own.
#[derive(Debug, Default)]
pub struct Snippets {
    text: String,
    taken: HashSet<String>,
}

impl Snippets {
    /// Begins the table of a channel after what was seen of it; `name` is what
    /// its source calls it, `context` where it stands, and `is_word` whether it
    /// is a word and not a number.
    pub fn channel(&mut self, name: &str, context: &str, is_word: bool, seen: &str) -> &mut Self {
        let quantity = match guess::quantity(name).or_else(|| guess::quantity(context)) {
            _ if is_word => Some(Quantity::State),
            Some(Quantity::State) => None,
            guessed => guessed,
        };
        self.channel_of(quantity, name, seen)
    }

    /// Begins the table of a channel whose quantity is guessed already, or
    /// cannot be.
    pub fn channel_of(&mut self, quantity: Option<Quantity>, name: &str, seen: &str) -> &mut Self {
        let name = self.free_name(&guess::settings_name(name));
        // Writing to a String never fails.
        let _ = writeln!(self.text, "\n# {}", one_line(seen));
        let _ = writeln!(self.text, "[sump.{SUMP}.channel.{name}]");
        let (word, remark) = match quantity {
            Some(quantity) => (
                quantity.name(),
                "guessed from the name: check it, and the unit",
            ),
            None => ("?", "what is it? see config/sumps.toml for what there is"),
        };
        self.line("quantity", word, Some(remark))
    }

    /// Begins a table of a source.
    pub fn source(&mut self, table: &str, name: &str) -> &mut Self {
        let _ = writeln!(self.text, "\n[{table}.{name}]");
        self
    }

    /// Adds a text setting.
    pub fn line(&mut self, key: &str, value: &str, remark: Option<&str>) -> &mut Self {
        let value = toml_edit::Value::from(value);
        let setting = format!("{key} = {}", value.to_string().trim());
        let _ = match remark {
            Some(remark) => writeln!(self.text, "{setting:<32}# {remark}"),
            None => writeln!(self.text, "{setting}"),
        };
        self
    }

    /// Adds a setting whose value is a plain number.
    pub fn number(&mut self, key: &str, value: impl std::fmt::Display) -> &mut Self {
        let _ = writeln!(self.text, "{key} = {value}");
        self
    }

    /// Adds words for on and off where the one that was seen is not usual.
    pub fn switch_words(&mut self, word: &str) -> &mut Self {
        let word = word.to_lowercase();
        if USUAL_WORDS.contains(&&*word) {
            return self;
        }
        let on = toml_edit::Value::from(word);
        let _ = writeln!(
            self.text,
            "{:<32}# put the word that was seen where it belongs",
            format!("on = [{}]", on.to_string().trim())
        );
        let _ = writeln!(self.text, "off = []");
        self
    }

    /// Adds where the time of a JSON message stands.
    pub fn time(&mut self, time: Option<&(String, TimeFormat)>) -> &mut Self {
        let Some((pointer, format)) = time else {
            return self;
        };
        self.line("time", pointer, None);
        match format {
            TimeFormat::Rfc3339 => self,
            TimeFormat::UnixSeconds => self.line("time_format", "unix_seconds", None),
            TimeFormat::UnixMillis => self.line("time_format", "unix_millis", None),
        }
    }

    /// Adds a setting that is switched off: whether it holds, a person must say.
    pub fn perhaps(&mut self, key: &str, value: &str, remark: &str) -> &mut Self {
        let value = toml_edit::Value::from(value);
        let setting = format!("#{key} = {}", value.to_string().trim());
        let _ = writeln!(self.text, "{setting:<32}# {remark}");
        self
    }

    /// Adds a setting as it is written in TOML.
    pub fn written(&mut self, setting: &str) -> &mut Self {
        let _ = writeln!(self.text, "{setting}");
        self
    }

    /// Takes out the settings written since the last time; the names stay
    /// taken.
    pub fn take(&mut self) -> String {
        std::mem::take(&mut self.text)
    }

    fn free_name(&mut self, name: &str) -> String {
        let name: String = name.chars().take(LONGEST_BARE).collect();
        let mut free = name.clone();
        let mut count = 1;
        while !self.taken.insert(free.clone()) {
            count += 1;
            free = format!("{name}-{count}");
        }
        free
    }
}

/// What came from outside, without characters that would end a comment or
/// move a cursor.
pub(super) fn one_line(text: &str) -> String {
    let plain = |c: char| if c.is_control() { '\u{fffd}' } else { c };
    text.chars().map(plain).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_free_and_texts_are_quoted() {
        let mut snippets = Snippets::default();
        for _ in 0..2 {
            snippets
                .channel("brix", "a/brix", false, "a number")
                .line("topic", "a\"b", None);
        }
        let text = &snippets.take();
        assert!(text.contains("[sump.SUMP.channel.brix]"), "{text}");
        assert!(text.contains("[sump.SUMP.channel.brix-2]"), "{text}");
        assert!(text.contains("quantity = \"brix\""), "{text}");
        toml_edit::Document::parse(text).unwrap();
    }
}
