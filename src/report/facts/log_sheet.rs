//! The log sheet: what was found by hand, a line for each day and person, with
//! the fields of the published sample (guide formerly BGI 5003, section 4.6,
//! figure 4-2).

use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::engine::{Entry, EntryKind, Method};
use crate::report::calendar::day_of;
use crate::units::Quantity;

use super::book::Written;

/// A line of the log sheet. Of several values of a day and person the last
/// stands.
#[derive(Debug, Clone, PartialEq)]
pub struct LogLine {
    /// The day, by the plant's clocks.
    pub day: Date,
    /// Who looked.
    pub by: Option<String>,
    /// What was perceived, by its keys and the writer's words.
    pub perceived: Vec<Perceived>,
    /// pH.
    pub ph: Option<f64>,
    /// Concentration by refractometer, %; what is read in °Bx by the chart.
    pub by_refractometer: Option<f64>,
    /// Concentration by titration or laboratory, %.
    pub by_titration: Option<f64>,
    /// Nitrite, mg/L.
    pub nitrite: Option<f64>,
    /// Other values: quantity, value.
    pub others: Vec<(Quantity, f64)>,
    /// Notes.
    pub notes: Vec<String>,
}

/// Something perceived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Perceived {
    /// By its key, as `smell.stale` or `look.foam`.
    Key(String),
    /// In the writer's words.
    Words(String),
}

/// The lines of the sheet, by day and person. `percent` tells the concentration
/// that a refractometer reading stands for.
pub fn log_sheet(
    written: &[Written],
    zone: &TimeZone,
    percent: impl Fn(f64) -> f64,
) -> Vec<LogLine> {
    let mut lines: Vec<LogLine> = Vec::new();
    for Written { entry, .. } in written {
        let belongs = matches!(
            entry.kind,
            EntryKind::HandReading { mixer: None, .. }
                | EntryKind::Impression { .. }
                | EntryKind::Note { .. }
        );
        if !belongs {
            continue;
        }
        let day = day_of(entry.time, zone);
        let known = lines
            .iter()
            .rposition(|line| line.day == day && line.by == entry.by);
        let place = known.unwrap_or_else(|| {
            lines.push(LogLine::new(day, entry.by.clone()));
            lines.len() - 1
        });
        lines[place].take(entry, &percent);
    }
    lines
}

impl LogLine {
    fn new(day: Date, by: Option<String>) -> Self {
        LogLine {
            day,
            by,
            perceived: Vec::new(),
            ph: None,
            by_refractometer: None,
            by_titration: None,
            nitrite: None,
            others: Vec::new(),
            notes: Vec::new(),
        }
    }

    fn take(&mut self, entry: &Entry, percent: &impl Fn(f64) -> f64) {
        match &entry.kind {
            EntryKind::HandReading {
                quantity,
                value,
                method,
                ..
            } => self.reading(*quantity, *value, *method, percent),
            EntryKind::Impression { smell, look, text } => {
                let smell = smell.iter().filter_map(|smell| key("smell", smell));
                let look = look.iter().filter_map(|look| key("look", look));
                self.perceived.extend(smell.chain(look).map(Perceived::Key));
                self.perceived.extend(text.clone().map(Perceived::Words));
            }
            EntryKind::Note { text } => self.notes.push(text.clone()),
            _ => {}
        }
    }

    fn reading(
        &mut self,
        quantity: Quantity,
        value: f64,
        method: Option<Method>,
        percent: &impl Fn(f64) -> f64,
    ) {
        match (quantity, method) {
            (Quantity::Ph, _) => self.ph = Some(value),
            (Quantity::Nitrite, _) => self.nitrite = Some(value),
            (Quantity::Brix, _) => self.by_refractometer = Some(percent(value)),
            (Quantity::Concentration, None | Some(Method::Refractometer)) => {
                self.by_refractometer = Some(value);
            }
            (Quantity::Concentration, Some(_)) => self.by_titration = Some(value),
            (other, _) => self.others.push((other, value)),
        }
    }
}

/// The key of a word of ours: `smell.stale`.
fn key(table: &str, word: &impl serde::Serialize) -> Option<String> {
    let word = serde_json::to_value(word).ok()?;
    Some(format!("{table}.{}", word.as_str()?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::{Look, Smell};
    use crate::units::Timestamp;

    fn written(time: &str, by: &str, kind: EntryKind) -> Written {
        Written {
            entry: Entry {
                id: time.to_owned(),
                time: Timestamp::parse(time).unwrap(),
                sump: "s0".to_owned(),
                by: Some(by.to_owned()),
                supersedes: None,
                kind,
            },
            late: false,
        }
    }

    fn reading(quantity: Quantity, value: f64, method: Option<Method>) -> EntryKind {
        EntryKind::HandReading {
            quantity,
            value,
            method,
            mixer: None,
            written: None,
        }
    }

    #[test]
    fn a_day_and_a_person_make_a_line() {
        let looked = EntryKind::Impression {
            smell: Some(Smell::Stale),
            look: vec![Look::OilFilm],
            text: Some("since Monday".to_owned()),
        };
        let lines = log_sheet(
            &[
                written(
                    "2026-03-02T06:00:00Z",
                    "anna",
                    reading(Quantity::Brix, 6.0, None),
                ),
                written(
                    "2026-03-02T06:10:00Z",
                    "anna",
                    reading(Quantity::Ph, 9.1, None),
                ),
                written("2026-03-02T06:20:00Z", "ben", looked),
                written(
                    "2026-03-02T23:30:00Z",
                    "anna",
                    reading(Quantity::Concentration, 7.5, Some(Method::Titration)),
                ),
            ],
            &TimeZone::fixed(jiff::tz::offset(1)),
            |brix| 1.1 * brix,
        );
        assert_eq!(lines.len(), 3);
        let first = lines[0].by_refractometer.unwrap();
        assert!((first - 6.6).abs() < 1e-12);
        assert_eq!((lines[0].ph, lines[0].by_titration), (Some(9.1), None));
        let key = |key: &str| Perceived::Key(key.to_owned());
        let words = Perceived::Words("since Monday".to_owned());
        assert_eq!(
            lines[1].perceived,
            [key("smell.stale"), key("look.oil_film"), words]
        );
        // Half past eleven in Greenwich is the next day here.
        assert_eq!(lines[2].day.to_string(), "2026-03-03");
        assert_eq!(lines[2].by_titration, Some(7.5));
    }
}
