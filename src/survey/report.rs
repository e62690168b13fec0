//! What was found, in rows: for people as text, for programs as they are.

use std::fmt::{self, Write as _};

use serde::Serialize;

use super::recognise::Seen;
use super::snippet::one_line;
use crate::units::{Span, Timestamp};

/// What the survey has to say.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Report {
    /// One a topic, device of an edge node, port or table of registers.
    pub rows: Vec<Row>,
    /// What there is to know besides.
    pub notes: Vec<String>,
    /// Settings of the source that the channels of several rows share; empty
    /// where they need none.
    pub settings: String,
}

/// One thing that was found.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Row {
    /// What it is called.
    pub name: String,
    /// What its messages are called; empty where they are messages.
    #[serde(skip)]
    pub noun: &'static str,
    /// How it speaks.
    pub format: String,
    /// Messages, lines or answers, without those that a broker had retained.
    pub messages: u64,
    /// Messages that a broker had retained.
    pub retained: u64,
    /// Mean time between messages, once there were two.
    #[serde(rename = "every_s", serialize_with = "seconds")]
    pub every: Option<Span>,
    /// When the newest came; registers, which are asked for, have no such time.
    #[serde(serialize_with = "in_words")]
    pub last: Option<Timestamp>,
    /// The newest values.
    pub values: Vec<Valued>,
    /// What there is to know besides.
    pub notes: Vec<String>,
    /// Settings of channels that would take it in; empty if there is nothing.
    pub settings: String,
}

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Valued {
    /// A place in a message, a name, a register; empty for the whole message.
    pub place: String,
    /// What stands there.
    pub value: Seen,
    /// The unit that is named with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
}

fn seconds<S: serde::Serializer>(span: &Option<Span>, to: S) -> Result<S::Ok, S::Error> {
    span.map(Span::secs_f64).serialize(to)
}

fn in_words<S: serde::Serializer>(time: &Option<Timestamp>, to: S) -> Result<S::Ok, S::Error> {
    time.map(|time| time.to_string()).serialize(to)
}

impl Report {
    /// What was seen until `now`, in words.
    pub fn seen(&self, now: Timestamp) -> String {
        let mut text = String::new();
        for row in &self.rows {
            row.write(&mut text, now);
        }
        for note in &self.notes {
            // Writing to a String never fails.
            let _ = writeln!(text, "{}", one_line(note));
        }
        text
    }

    /// All settings that are offered.
    pub fn all_settings(&self) -> String {
        let of_rows = self.rows.iter().map(|row| row.settings.as_str());
        std::iter::once(self.settings.as_str())
            .chain(of_rows)
            .collect()
    }
}

impl Row {
    fn write(&self, text: &mut String, now: Timestamp) {
        let _ = writeln!(text, "{}\n    {}", one_line(&self.name), self.summary(now));
        let width = self.values.iter().map(|v| v.place.chars().count());
        let width = width.max().unwrap_or(0);
        for Valued { place, value, unit } in &self.values {
            let gap = if width > 0 { "  " } else { "" };
            let unit = unit.as_deref().map_or(String::new(), |u| format!(" {u}"));
            let line = format!("{place:width$}{gap}{value}{unit}");
            let _ = writeln!(text, "    {}", one_line(&line));
        }
        for note in &self.notes {
            let _ = writeln!(text, "    {}", one_line(note));
        }
    }

    fn summary(&self, now: Timestamp) -> String {
        let mut parts = vec![self.format.clone()];
        match (self.messages, self.retained, self.every) {
            (0, 0, _) => {}
            (0, ..) => parts.push("only retained by the broker, of unknown age".to_owned()),
            (count, retained, every) => {
                let noun = if self.noun.is_empty() {
                    "message"
                } else {
                    self.noun
                };
                let mut told = counted(count, noun);
                if let Some(every) = every {
                    let _ = write!(told, ", every {}", about(every));
                }
                if let Some(last) = self.last {
                    let _ = write!(told, ", the last {} ago", about(now - last));
                }
                parts.push(told);
                if retained > 0 {
                    parts.push("retained too".to_owned());
                }
            }
        }
        parts.join("; ")
    }
}

impl fmt::Display for Seen {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Seen::Number(number) => write!(f, "{number}"),
            Seen::Word(word) => f.write_str(word),
        }
    }
}

/// A length of time as people say it.
pub(super) fn about(span: Span) -> String {
    match span.secs_f64() {
        s if s < 0.95 => format!("{:.0} ms", s * 1000.0),
        s if s < 99.5 => format!("{s:.1} s"),
        s => format!("{:.0} min", s / 60.0),
    }
}

/// A count with its noun, which takes an s where there is more or less than
/// one.
pub fn counted(count: u64, noun: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{s}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> Row {
        Row {
            name: "cells/a".to_owned(),
            format: "JSON".to_owned(),
            messages: 2,
            every: Some(Span::from_millis(1500)),
            last: Some(Timestamp::from_millis(1_772_431_800_000)),
            values: vec![Valued {
                place: "/brix".to_owned(),
                value: Seen::Number(7.4),
                unit: Some("°Bx".to_owned()),
            }],
            ..Row::default()
        }
    }

    #[test]
    fn a_row_as_people_read_it() {
        let report = Report {
            rows: vec![row()],
            ..Report::default()
        };
        let seen = report.seen(Timestamp::from_millis(1_772_431_803_000));
        assert_eq!(
            seen,
            "cells/a\n    JSON; 2 messages, every 1.5 s, the last 3.0 s ago\n    /brix  7.4 °Bx\n"
        );
    }

    #[test]
    fn a_row_as_programs_read_it() {
        let json = serde_json::to_value(row()).unwrap();
        assert_eq!(json["every_s"], 1.5);
        assert_eq!(json["last"], "2026-03-02T06:10:00Z");
        assert_eq!(json["values"][0]["value"], 7.4);
        assert_eq!(json["values"][0]["unit"], "°Bx");
    }

    #[test]
    fn one_is_not_many() {
        let told = [0, 1, 2].map(|count| counted(count, "topic"));
        assert_eq!(told, ["0 topics", "1 topic", "2 topics"]);
    }
}
