//! The words of a report in one language: sentences by key, out of
//! `config/texts/<language>/report.toml`.

use std::collections::BTreeSet;
use std::fmt;

use jiff::tz::TimeZone;

use crate::phrases::{self, Phrase, PhraseMap, TextMistake, TextsError};
use crate::units::{Span, Timestamp, nearest};

use super::table::Cell;

/// The languages that come with the program, English first.
const BUILT_IN: [(&str, &str); 2] = [
    ("en", include_str!("../../config/texts/en/report.toml")),
    ("de", include_str!("../../config/texts/de/report.toml")),
];

/// Where those are said to stand.
const SHOWN: &str = "report.toml (built in)";

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
    /// What is wrong with a plant's own.
    #[error(transparent)]
    Wrong(#[from] TextsError),
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
    by_key: PhraseMap,
    borrowed: usize,
}

impl Words {
    /// Those of a language: the plant's own over those that come with the
    /// program, and English for what neither has.
    ///
    /// # Errors
    /// When there are none, or something is wrong with the plant's own.
    pub fn of(language: &str, own: &[OwnWords<'_>]) -> Result<Self, WordsError> {
        let is_built_in = BUILT_IN.iter().any(|(name, _)| *name == language);
        if !is_built_in && own.iter().all(|file| file.language != language) {
            let mut known = BUILT_IN.map(|(name, _)| name).to_vec();
            known.extend(own.iter().map(|file| file.language));
            known.dedup();
            return Err(WordsError::Language {
                found: language.chars().take(40).collect(),
                known: known.join(", "),
            });
        }
        Ok(Words::laid(language, own)?)
    }

    /// Tries every language that the plant has words of.
    ///
    /// # Errors
    /// Everything that is wrong with any of them.
    pub fn of_plant(own: &[OwnWords<'_>]) -> Result<Vec<Self>, TextsError> {
        let languages: BTreeSet<&str> = own.iter().map(|file| file.language).collect();
        let mut words = Vec::new();
        let mut mistakes = Vec::new();
        for language in languages {
            match Words::laid(language, own) {
                Ok(of_language) => words.push(of_language),
                Err(error) => mistakes.extend(error.mistakes),
            }
        }
        match mistakes.is_empty() {
            true => Ok(words),
            false => Err(TextsError::new(mistakes)),
        }
    }

    /// The plant's own words of a language over those that come with the program,
    /// over English.
    fn laid(language: &str, own: &[OwnWords<'_>]) -> Result<Self, TextsError> {
        let (_, text) = BUILT_IN[0];
        let english = read(SHOWN, text)?;
        let mut by_key = PhraseMap::new();
        if let Some((_, text)) = BUILT_IN.iter().find(|(name, _)| *name == language) {
            by_key = read(SHOWN, text)?;
        }
        let mut mistakes = Vec::new();
        for file in own.iter().filter(|file| file.language == language) {
            match phrases::read(file.shown, file.text) {
                Ok(written) => {
                    let wrong = written.iter().filter_map(|(key, phrase)| {
                        wrong(key, phrase, &english).map(|what| TextMistake {
                            file: phrase.file.clone(),
                            line: Some(phrase.line),
                            what,
                        })
                    });
                    mistakes.extend(wrong);
                    by_key.extend(written);
                }
                Err(mistake) => mistakes.push(mistake),
            }
        }
        if !mistakes.is_empty() {
            return Err(TextsError::new(mistakes));
        }
        let mut borrowed = 0;
        for (key, phrase) in english {
            by_key.entry(key).or_insert_with(|| {
                borrowed += 1;
                phrase
            });
        }
        Ok(Words {
            language: language.to_owned(),
            by_key,
            borrowed,
        })
    }

    /// For how many keys English stands in.
    pub fn borrowed(&self) -> usize {
        self.borrowed
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
        words.map(|phrase| phrase.text.as_str())
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

fn read(shown: &str, text: &str) -> Result<PhraseMap, TextsError> {
    phrases::read(shown, text).map_err(|mistake| TextsError::new(vec![mistake]))
}

/// What is wrong with words that a plant wrote, if anything is: a report says only
/// what the English words have keys for, and fills in only the values that they
/// name.
fn wrong(key: &str, phrase: &Phrase, english: &PhraseMap) -> Option<String> {
    let Some(usual) = english.get(key) else {
        let near = nearest(key, english.keys().map(String::as_str));
        let offer = near.map_or_else(
            || "the built-in report.toml has those that there are".to_owned(),
            |near| format!("did you mean {near}?"),
        );
        return Some(format!("a report has no words {key}; {offer}"));
    };
    let known: BTreeSet<&str> = values(&usual.text).collect();
    let unknown = values(&phrase.text).find(|name| !known.contains(name))?;
    let offer = match (nearest(unknown, known.iter().copied()), known.is_empty()) {
        (Some(near), _) => format!("did you mean {{{near}}}?"),
        (None, true) => "these words have none".to_owned(),
        (None, false) => {
            let known: Vec<String> = known.iter().map(|name| format!("{{{name}}}")).collect();
            format!("allowed are {}", known.join(", "))
        }
    };
    Some(format!(
        "{key}: there is no value {{{unknown}}} here; {offer}"
    ))
}

/// The names in braces.
fn values(text: &str) -> impl Iterator<Item = &str> {
    let parts = text.split('{').skip(1);
    parts.filter_map(|part| part.split_once('}').map(|(name, _)| name))
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
            Cell::Several(cells) | Cell::List(cells) => {
                let texts: Vec<String> = cells.iter().map(|one| self.cell(one)).collect();
                texts.join(if matches!(cell, Cell::List(_)) {
                    "; "
                } else {
                    " "
                })
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
            let mut names: Vec<String> = values(text).map(str::to_owned).collect();
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
        assert_eq!(
            (english.borrowed(), french.borrowed()),
            (0, french.keys().count() - 1)
        );
    }

    #[test]
    fn what_is_wrong_with_them_is_told_by_its_line_all_at_once() {
        let file = |language, shown, text| OwnWords {
            language,
            shown,
            text,
        };
        for (wrong, told) in [
            (
                "[page]\nplnt = \"x\"",
                "a.toml:2: a report has no words page.plnt; did you mean page.plant?",
            ),
            (
                "plant = \"x\"",
                "a.toml:1: a report has no words plant; the built-in report.toml",
            ),
            (
                "[page]\n\nplant = 4",
                "a.toml:3: page.plant: expected a sentence in quotes, found integer",
            ),
            ("[page]\nplant = \"x\"\n[page", "a.toml:3: not TOML: "),
            (
                "[page]\ntitle = \"Book of {waht}\"",
                "a.toml:2: page.title: there is no value {waht} here; did you mean {what}?",
            ),
            (
                "[page]\nperiod = \"{since} to {to}\"",
                "a.toml:2: page.period: there is no value {since} here; allowed are {from}, {to}",
            ),
            (
                "[page]\nplant = \"{name}\"",
                "there is no value {name} here; these words have none",
            ),
        ] {
            let own = [file("en", "a.toml", wrong)];
            let error = Words::of("en", &own).unwrap_err().to_string();
            assert!(error.contains(told), "{error}");
            assert_eq!(Words::of_plant(&own).unwrap_err().to_string(), error);
        }
        let house = [
            file("fr", "fr.toml", "[page]\nplnt = \"x\"\nmade = \"{tiem}\""),
            file("de", "de.toml", "[page"),
            file("en", "en.toml", "[page]\nplant = \"Works\""),
        ];
        let error = Words::of_plant(&house).unwrap_err();
        let places: Vec<_> = error
            .mistakes
            .iter()
            .map(|one| (&*one.file, one.line))
            .collect();
        assert_eq!(
            places,
            [
                ("de.toml", Some(1)),
                ("fr.toml", Some(2)),
                ("fr.toml", Some(3))
            ]
        );
        let right = Words::of_plant(&house[2..]).unwrap();
        assert_eq!(right.len(), 1);
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
