//! The words of a report in one language: sentences by key, out of
//! `config/texts/<language>/report.toml`.

use std::collections::BTreeMap;
use std::fmt;

use jiff::tz::TimeZone;

use crate::units::{Span, Timestamp, nearest};

use super::table::Cell;

/// The languages that come with the program, English first.
const BUILT_IN: [(&str, &str); 2] = [
    ("en", include_str!("../../config/texts/en/report.toml")),
    ("de", include_str!("../../config/texts/de/report.toml")),
];

/// Why there are no words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WordsError {
    /// There is no such language.
    #[error("there are no words of a report in \"{found}\"; there are: {known}")]
    Language {
        /// What was asked for, shortened.
        found: String,
        /// The languages that there are.
        known: String,
    },
    /// A file cannot be read.
    #[error("{file}: {what}")]
    File {
        /// Which.
        file: String,
        /// What is wrong, and what is allowed.
        what: String,
    },
}

/// A plant's own words for a language, laid over those that come with the
/// program.
#[derive(Debug, Clone, Copy)]
pub struct OwnWords<'a> {
    /// The language.
    pub language: &'a str,
    /// Where the file stands, as people are told.
    pub shown: &'a str,
    /// What it says.
    pub text: &'a str,
}

/// The words of one language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    language: String,
    by_key: BTreeMap<String, String>,
}

impl Words {
    /// Those of a language: the plant's own over those that come with the
    /// program, and English for what neither has.
    ///
    /// # Errors
    /// When there are none, or the plant's own cannot be read.
    pub fn of(language: &str, own: &[OwnWords<'_>]) -> Result<Self, WordsError> {
        let own_files = || own.iter().filter(|file| file.language == language);
        let built_in = BUILT_IN.iter().find(|(name, _)| *name == language);
        if built_in.is_none() && own_files().next().is_none() {
            let mut known = BUILT_IN.map(|(name, _)| name).to_vec();
            known.extend(own.iter().map(|file| file.language));
            known.dedup();
            return Err(WordsError::Language {
                found: language.chars().take(40).collect(),
                known: known.join(", "),
            });
        }
        let (english, text) = BUILT_IN[0];
        let mut by_key = read(english, text)?;
        if let Some((name, text)) = built_in {
            by_key.extend(read(name, text)?);
        }
        for file in own_files() {
            for (key, words) in read(file.shown, file.text)? {
                let Some(known) = by_key.get_mut(&key) else {
                    let near = nearest(&key, by_key.keys().map(String::as_str));
                    let meant =
                        near.map_or(String::new(), |near| format!("; did you mean {near}?"));
                    return Err(WordsError::File {
                        file: file.shown.to_owned(),
                        what: format!("a report has no words {key}{meant}"),
                    });
                };
                *known = words;
            }
        }
        Ok(Words {
            language: language.to_owned(),
            by_key,
        })
    }

    /// The language, by its code (ISO 639-1).
    pub fn language(&self) -> &str {
        &self.language
    }

    /// The words of this key; without any the key itself, readable.
    pub fn say(&self, key: &str) -> String {
        let own = key.split_once('.').map_or(key, |(_, own)| own);
        let words = self.find(key).map(str::to_owned);
        words.unwrap_or_else(|| own.replace(['_', '.'], " "))
    }

    /// The words of this key, if there are any; a key without a table stands in
    /// the table `word`.
    pub fn find(&self, key: &str) -> Option<&str> {
        let words = match key.contains('.') {
            true => self.by_key.get(key),
            false => self.by_key.get(&format!("word.{key}")),
        };
        words.map(String::as_str)
    }

    /// The same with values in the place of their names in braces.
    pub fn fill(&self, key: &str, values: &[(&str, &str)]) -> String {
        let mut text = String::new();
        let words = self.say(key);
        let mut rest = words.as_str();
        while let Some((before, behind)) = rest.split_once('{') {
            text.push_str(before);
            let Some((name, after)) = behind.split_once('}') else {
                text.push('{');
                rest = behind;
                continue;
            };
            let value = values.iter().find(|(one, _)| *one == name);
            text.push_str(value.map_or(name, |(_, value)| value));
            rest = after;
        }
        text + rest
    }

    /// Every key.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.by_key.keys().map(String::as_str)
    }
}

/// Words by table and key.
fn read(shown: &str, text: &str) -> Result<BTreeMap<String, String>, WordsError> {
    let wrong = |what: String| WordsError::File {
        file: shown.to_owned(),
        what,
    };
    let file = text.parse::<toml_edit::DocumentMut>();
    let file = file.map_err(|error| wrong(error.to_string()))?;
    let mut words = BTreeMap::new();
    for (table, item) in file.iter() {
        let keys = item.as_table().ok_or_else(|| {
            wrong(format!(
                "{table} stands in no table; write [page] or another of the built-in file"
            ))
        })?;
        for (key, value) in keys {
            let text = value
                .as_str()
                .ok_or_else(|| wrong(format!("{table}.{key} is no text; put it in quotes")))?;
            words.insert(format!("{table}.{key}"), text.to_owned());
        }
    }
    Ok(words)
}

/// How cells are said to a reader.
#[derive(Clone, Copy)]
pub struct Voice<'a> {
    /// The words.
    pub words: &'a Words,
    /// What a condition is called.
    pub condition: &'a dyn Fn(&str) -> String,
    /// The clocks that times go by.
    pub zone: &'a TimeZone,
}

impl fmt::Debug for Voice<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Voice")
            .field("words", &self.words.language)
            .finish()
    }
}

impl Voice<'_> {
    /// A key in words.
    pub fn say(&self, key: &str) -> String {
        self.words.say(key)
    }

    /// A number to so many decimals, groups of three digits apart.
    pub fn number(&self, value: f64, decimals: usize) -> String {
        let text = format!("{value:.decimals$}");
        let text = match text
            .trim_start_matches('-')
            .trim_matches(['0', '.'])
            .is_empty()
        {
            true => text.trim_start_matches('-').to_owned(),
            false => text,
        };
        let (sign, digits) = match text.strip_prefix('-') {
            Some(digits) => ("\u{2212}", digits),
            None => ("", text.as_str()),
        };
        let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
        let mut grouped = String::new();
        for (place, digit) in whole.chars().enumerate() {
            if place > 0 && (whole.len() - place).is_multiple_of(3) && whole.len() > 4 {
                grouped.push('\u{202f}');
            }
            grouped.push(digit);
        }
        match part {
            "" => format!("{sign}{grouped}"),
            part => format!("{sign}{grouped}{}{part}", self.say("form.decimal")),
        }
    }

    /// A time by the reader's clocks, to the minute.
    pub fn time(&self, time: Timestamp) -> String {
        match jiff::Timestamp::from_millisecond(time.millis()) {
            Ok(at) => self
                .zone
                .to_datetime(at)
                .strftime("%Y-%m-%d %H:%M")
                .to_string(),
            Err(_) => time.to_string(),
        }
    }

    /// How long, as people say it.
    pub fn long(&self, span: Span) -> String {
        let minutes = span.millis().abs() / 60_000;
        if minutes == 0 {
            return span.to_string();
        }
        let (days, hours, minutes) = (minutes / 1440, minutes / 60 % 24, minutes % 60);
        let unit = |count: i64, key: &str| format!("{count}\u{a0}{}", self.say(key));
        match (days, hours, minutes) {
            (0, 0, minutes) => unit(minutes, "form.minute"),
            (0, hours, 0) => unit(hours, "form.hour"),
            (0, hours, minutes) => unit(hours, "form.hour") + " " + &unit(minutes, "form.minute"),
            (days, 0, _) => unit(days, "form.day"),
            (days, hours, _) => unit(days, "form.day") + " " + &unit(hours, "form.hour"),
        }
    }

    /// A cell as a reader sees it.
    pub fn cell(&self, cell: &Cell) -> String {
        match cell {
            Cell::None => String::new(),
            Cell::Text(text) => text.clone(),
            Cell::Word(key) => self.say(key),
            Cell::Alert(key) => format!("\u{25b2} {}", self.say(key)),
            Cell::Condition(condition) => (self.condition)(condition),
            Cell::Several(cells) => {
                let texts: Vec<String> = cells.iter().map(|one| self.cell(one)).collect();
                texts.join(" ")
            }
            Cell::Number(value, decimals) => self.number(*value, *decimals),
            Cell::Between(value, low, high, decimals) => {
                let [value, low, high] = [value, low, high].map(|one| self.number(*one, *decimals));
                let ends = [("value", &*value), ("low", &*low), ("high", &*high)];
                self.words.fill("form.between", &ends)
            }
            Cell::Count(count) => self.number(*count as f64, 0),
            Cell::Share(share) => self.share(*share),
            Cell::Time(time) => self.time(*time),
            Cell::Day(day) => day.to_string(),
            Cell::Long(span) => self.long(*span),
        }
    }

    /// A part of a whole in per cent; what is not all is never told as all, and
    /// what is not nothing never as nothing.
    pub fn share(&self, share: f64) -> String {
        let percent = 100.0 * share;
        let told = match percent {
            _ if percent > 99.9 && percent < 100.0 => format!(">\u{a0}{}", self.number(99.9, 1)),
            _ if percent > 0.0 && percent < 0.1 => format!("<\u{a0}{}", self.number(0.1, 1)),
            _ => self.number(percent, 1),
        };
        format!("{told}\u{a0}%")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_language_has_every_key_with_the_same_values() {
        let english = Words::of("en", &[]).unwrap();
        let names = |text: &str| {
            let mut names: Vec<String> = text
                .split('{')
                .skip(1)
                .filter_map(|part| part.split_once('}'))
                .map(|(name, _)| name.to_owned())
                .collect();
            names.sort();
            names
        };
        for (name, _) in BUILT_IN {
            let words = Words::of(name, &[]).unwrap();
            assert!(words.keys().eq(english.keys()), "{name}");
            for key in english.keys() {
                assert_eq!(
                    names(&words.say(key)),
                    names(&english.say(key)),
                    "{name}: {key}"
                );
                assert!(!words.say(key).trim().is_empty(), "{name}: {key}");
            }
        }
        let told = Words::of("xx", &[]).unwrap_err().to_string();
        assert!(told.contains("en, de"), "{told}");
    }

    #[test]
    fn a_plant_lays_its_own_words_over_ours() {
        let own = |language: &'static str, text: &'static str| OwnWords {
            language,
            shown: "messages/report.toml",
            text,
        };
        let house = [
            own("en", "[page]\nplant = \"Works\""),
            own("fr", "[page]\nplant = \"Usine\""),
        ];
        let english = Words::of("en", &house).unwrap();
        assert_eq!(
            (&*english.say("page.plant"), &*english.say("page.of_making")),
            ("Works", "Made")
        );
        let french = Words::of("fr", &house).unwrap();
        assert_eq!(
            (&*french.say("page.plant"), french.language()),
            ("Usine", "fr")
        );
        assert_eq!(french.say("page.of_making"), "Made");
        for (wrong, told) in [
            ("[page]\nplnt = \"x\"", "did you mean page.plant?"),
            ("[page]\nplant = 4", "page.plant is no text"),
            ("plant = 4", "stands in no table"),
            ("[page", "messages/report.toml"),
        ] {
            let error = Words::of("en", &[own("en", wrong)])
                .unwrap_err()
                .to_string();
            assert!(error.contains(told), "{error}");
        }
    }

    #[test]
    fn numbers_are_said_as_the_language_has_them() {
        let words = Words::of("de", &[]).unwrap();
        let voice = Voice {
            words: &words,
            condition: &|condition| condition.to_owned(),
            zone: &TimeZone::UTC,
        };
        assert_eq!(voice.number(1234.5, 1), "1234,5");
        assert_eq!(voice.number(-12_345.0, 0), "\u{2212}12\u{202f}345");
        assert_eq!(voice.number(-0.01, 1), "0,0");
        assert_eq!(voice.share(0.9999), ">\u{a0}99,9\u{a0}%");
        assert_eq!(voice.share(1.0), "100,0\u{a0}%");
        assert_eq!(voice.long(Span::from_mins(200)), "3\u{a0}h 20\u{a0}min");
        let between = voice.cell(&Cell::Between(4.0, 3.0, 5.5, 1));
        assert_eq!(between, "4,0 (3,0 bis 5,5)");
        assert_eq!(
            words.fill("form.between", &[("value", "{low}")]),
            "{low} (low bis high)"
        );
    }
}
