//! Numbers, amounts and times in the form of a language and a plant.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use jiff::tz::TimeZone;

use crate::advice::{Measure, VolumeUnit};
use crate::phrases::{PhraseMap, TextMistake};
use crate::units::{Measured, Quantity, Span, Timestamp};

/// The table whose keys are no sentences.
const FORM: &str = "form.";

/// Words and signs of a language that no sentence holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FormWords {
    pub(super) decimal: String,
    /// Patterns of `strftime`.
    pub(super) time: String,
    pub(super) date_time: String,
    pub(super) day: String,
    pub(super) hour: String,
    pub(super) minute: String,
    pub(super) second: String,
    /// With `{low}` and `{high}`.
    pub(super) range: String,
    pub(super) litre: String,
    pub(super) us_gallon: String,
    /// With `{size}`.
    pub(super) one_can: String,
    /// With `{count}` and `{size}`.
    pub(super) cans: String,
    /// With `{cans}` and `{rest}`.
    pub(super) cans_and_rest: String,
}

/// Takes the words of the form out of the sentences, those of `fallback` where
/// there are none.
///
/// # Errors
/// Keys that a form does not have.
pub(super) fn take_form(
    phrases: &mut PhraseMap,
    fallback: Option<&FormWords>,
) -> Result<FormWords, TextMistake> {
    let mut word = |key: &str, of: fn(&FormWords) -> &String| {
        let written = phrases.remove(&format!("{FORM}{key}"));
        let usual = || fallback.map(of).cloned().unwrap_or_default();
        written.map_or_else(usual, |phrase| phrase.text)
    };
    let form = FormWords {
        decimal: word("decimal", |form| &form.decimal),
        time: word("time", |form| &form.time),
        date_time: word("date_time", |form| &form.date_time),
        day: word("day", |form| &form.day),
        hour: word("hour", |form| &form.hour),
        minute: word("minute", |form| &form.minute),
        second: word("second", |form| &form.second),
        range: word("range", |form| &form.range),
        litre: word("litre", |form| &form.litre),
        us_gallon: word("us_gallon", |form| &form.us_gallon),
        one_can: word("one_can", |form| &form.one_can),
        cans: word("cans", |form| &form.cans),
        cans_and_rest: word("cans_and_rest", |form| &form.cans_and_rest),
    };
    match phrases.iter().find(|(key, _)| key.starts_with(FORM)) {
        None => Ok(form),
        Some((key, phrase)) => Err(TextMistake {
            file: phrase.file.clone(),
            line: Some(phrase.line),
            what: format!(
                "{key}: there is no such key; allowed in [form]: decimal, time, date_time, day, hour, minute, second, range, litre, us_gallon, one_can, cans, cans_and_rest"
            ),
        }),
    }
}

/// How one message writes numbers, amounts and times.
#[derive(Debug)]
pub(super) struct Form {
    pub(super) words: Arc<FormWords>,
    pub(super) zone: TimeZone,
    /// The zone's name at the time of the message.
    pub(super) zone_name: String,
    pub(super) measure: Measure,
    /// Times of the same day have no date.
    pub(super) now: Timestamp,
    /// The zone is named with the first time of a message only.
    pub(super) zone_told: AtomicBool,
}

impl Form {
    /// With so many decimals.
    pub(super) fn number(&self, value: f64, decimals: usize) -> String {
        self.signs(&format!("{value:.decimals$}"))
    }

    /// With its sign, also where it is positive.
    pub(super) fn signed(&self, value: f64, decimals: usize) -> String {
        self.signs(&format!("{value:+.decimals$}"))
    }

    /// In the language's decimals; nothing is never negative.
    fn signs(&self, plain: &str) -> String {
        let is_nothing = !plain.bytes().any(|b| (b'1'..=b'9').contains(&b));
        let is_number = plain.bytes().all(|b| !b.is_ascii_alphabetic());
        let plain = match plain.strip_prefix('-') {
            Some(rest) if is_nothing && is_number => rest,
            _ => plain,
        };
        plain.replace('.', &self.words.decimal)
    }

    /// A value with two standard deviations, as people read a ± (about 95 %).
    pub(super) fn plus_minus(&self, value: Measured, decimals: usize) -> String {
        format!(
            "{} ± {}",
            self.number(value.value, decimals),
            self.number(2.0 * value.uncertainty, decimals)
        )
    }

    fn unit_of_volumes(&self) -> &str {
        match self.measure.unit {
            VolumeUnit::Litre => &self.words.litre,
            VolumeUnit::UsGallon => &self.words.us_gallon,
        }
    }

    fn in_units(&self, litres: f64) -> f64 {
        litres / self.measure.unit.litres()
    }

    /// To two decimals, without zeros at the end: `97 L`.
    pub(super) fn plain(&self, litres: f64) -> String {
        let rounded = (self.in_units(litres) * 100.0).round() / 100.0;
        let number = self.signs(&format!("{rounded}"));
        format!("{number} {}", self.unit_of_volumes())
    }

    /// In whole units: `819 L`.
    pub(super) fn whole(&self, litres: f64) -> String {
        let number = self.number(self.in_units(litres), 0);
        format!("{number} {}", self.unit_of_volumes())
    }

    /// A volume that must not be exceeded, in whole units and none too many.
    pub(super) fn at_most(&self, litres: f64) -> String {
        let number = self.number((self.in_units(litres) + 1e-9).floor(), 0);
        format!("{number} {}", self.unit_of_volumes())
    }

    /// To one decimal below ten units, in whole units above.
    pub(super) fn rough(&self, litres: f64) -> String {
        let amount = self.in_units(litres);
        let number = self.number(amount, usize::from(amount < 9.95));
        format!("{number} {}", self.unit_of_volumes())
    }

    /// In whole units with its sign: `+85 L`.
    pub(super) fn change(&self, litres: f64) -> String {
        let number = self.signed(self.in_units(litres), 0);
        format!("{number} {}", self.unit_of_volumes())
    }

    /// A volume without its sign, in whole units, with its two standard
    /// deviations, one unit at least: `42 ± 2 L`.
    pub(super) fn about(&self, litres: Measured) -> String {
        let value = self.number(self.in_units(litres.value).abs(), 0);
        let unsure = self.number((2.0 * self.in_units(litres.uncertainty)).max(1.0), 0);
        format!("{value} ± {unsure} {}", self.unit_of_volumes())
    }

    /// A volume, to one decimal, with its two standard deviations.
    pub(super) fn loss(&self, litres: Measured) -> String {
        let units = Measured::new(
            self.in_units(litres.value),
            self.in_units(litres.uncertainty),
        );
        format!("{} {}", self.plus_minus(units, 1), self.unit_of_volumes())
    }

    /// Counted out in cans where there are some but not too many:
    /// `34 L (3 cans of 10 L and 4 L)`.
    pub(super) fn amount(&self, litres: f64) -> String {
        let plain = self.plain(litres);
        let Some(cans) = self.measure.cans(litres) else {
            return plain;
        };
        let full = match cans.count {
            1 => self.words.one_can.clone(),
            count => self.words.cans.replace("{count}", &count.to_string()),
        };
        let full = full.replace("{size}", &self.plain(cans.size_l));
        match cans.rest_l {
            None => format!("{plain} ({full})"),
            Some(rest) => {
                let both = self.words.cans_and_rest.replace("{cans}", &full);
                format!("{plain} ({})", both.replace("{rest}", &self.plain(rest)))
            }
        }
    }

    /// A value with its unit, as finely as it is read; volumes and what runs an
    /// hour in the plant's unit, pH without one.
    pub(super) fn reading(&self, value: f64, unit: &str) -> String {
        self.with_unit(value, unit, decimals_of(unit))
    }

    /// A limit with its unit, as people set it.
    pub(super) fn bound(&self, value: f64, unit: &str) -> String {
        let decimals = match unit {
            "%" => 1,
            other => decimals_of(other),
        };
        self.with_unit(value, unit, decimals)
    }

    fn with_unit(&self, value: f64, unit: &str, decimals: usize) -> String {
        if unit == Quantity::Volume.unit() {
            return self.whole(value);
        }
        if unit.strip_suffix("/h") == Some(Quantity::Volume.unit()) {
            return format!("{}/h", self.rough(value));
        }
        let number = self.number(value, decimals);
        match unit {
            "pH" | "" => number,
            unit => format!("{number} {unit}"),
        }
    }

    /// By the clocks of the zone, with the date unless it is the message's, and
    /// with the zone's name the first time.
    pub(super) fn time(&self, time: Timestamp) -> Result<String, jiff::Error> {
        let local = |time: Timestamp| {
            jiff::Timestamp::from_millisecond(time.millis())
                .map(|at| at.to_zoned_datetime(self.zone.clone()))
        };
        let (at, now) = (local(time)?, local(self.now)?);
        let pattern = if at.date() == now.date() {
            &self.words.time
        } else {
            &self.words.date_time
        };
        let text = jiff::fmt::strtime::format(pattern, &at)?;
        let told = self.zone_told.swap(true, Ordering::Relaxed);
        Ok(if told {
            text
        } else {
            format!("{text} {}", self.zone_name)
        })
    }

    /// As a person says it: `45 s`, `20 min`, `3 h 20 min`, `2 d 4 h`.
    pub(super) fn span(&self, span: Span) -> String {
        let words = &self.words;
        let secs = span.millis().unsigned_abs() / 1000;
        let sign = if span.millis() <= -1000 { "-" } else { "" };
        let (d, h, m, s) = (secs / 86_400, secs / 3600 % 24, secs / 60 % 60, secs % 60);
        let (large, small) = match (d, h, m) {
            (0, 0, 0) => ((s, &words.second), (0, &words.second)),
            (0, 0, m) => ((m, &words.minute), (s, &words.second)),
            (0, h, m) => ((h, &words.hour), (m, &words.minute)),
            (d, h, _) => ((d, &words.day), (h, &words.hour)),
        };
        match small {
            (0, _) => format!("{sign}{} {}", large.0, large.1),
            (count, word) => format!("{sign}{} {} {count} {word}", large.0, large.1),
        }
    }

    /// Days of waiting, as their interval of nine cases in ten.
    pub(super) fn days(&self, days: Measured) -> String {
        let (low, high) = days.interval_90();
        let one = |days: f64| self.number(days.max(0.0), usize::from(days < 10.0));
        let range = self.words.range.replace("{low}", &one(low));
        range.replace("{high}", &one(high))
    }
}

/// Of a value of a quantity, or of its change an hour.
fn decimals_of(unit: &str) -> usize {
    let of = |unit: &str| Quantity::ALL.into_iter().find(|q| q.unit() == unit);
    let of_unit = of(unit).or_else(|| unit.strip_suffix("/h").and_then(of));
    of_unit.map_or(1, Quantity::decimals)
}
