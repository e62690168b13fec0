//! What the demo tells: one line a happening, with more where it matters.

use std::fmt;

use serde_json::Value;

use crate::simulate::crew::{CrewEntry, CrewEntryKind};
use crate::simulate::plant::START;
use crate::units::{Span, Timestamp};

/// A point of the demo's time, as the day of the play and the time of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct TimeOfPlay(pub(super) Timestamp);

impl fmt::Display for TimeOfPlay {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let day = Span::from_hours(24);
        let first = START.floor(day);
        let since = (self.0 - first).millis();
        let (days, rest) = (since / day.millis(), since % day.millis() / 60_000);
        write!(f, "day {} {:02}:{:02}", days + 1, rest / 60, rest % 60)
    }
}

/// What sort of happening, for its mark.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sort {
    /// An alarm was raised.
    Raised,
    /// Something went back to normal, or worked.
    Good,
    /// Something else worth a line.
    Other,
}

/// One happening.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Told {
    pub(super) time: Timestamp,
    pub(super) sump: String,
    pub(super) sort: Sort,
    /// One line.
    pub(super) line: String,
    /// The rest of the message, line by line.
    pub(super) more: Vec<String>,
}

impl Told {
    /// What the crew did.
    pub(super) fn crew(entry: &CrewEntry) -> Told {
        let line = match &entry.kind {
            CrewEntryKind::HandReading { value, .. } => {
                format!("crew: read {value:.1} °Bx by hand")
            }
            CrewEntryKind::Addition {
                litres,
                strength_pct: Some(strength),
                ..
            } => {
                format!("crew: added {litres:.0} L of premix of {strength:.1} %")
            }
            CrewEntryKind::Addition { litres, .. } => format!("crew: added {litres:.0} L of water"),
            CrewEntryKind::Event {
                what,
                litres: Some(litres),
                ..
            } => {
                format!("crew: {} {litres:.0} L", what.replace('_', " "))
            }
            CrewEntryKind::Event { what, channel, .. } => {
                format!(
                    "crew: {} ({})",
                    what.replace('_', " "),
                    channel.unwrap_or("sump")
                )
            }
            CrewEntryKind::Note { text } => format!("crew: {text}"),
            CrewEntryKind::Acknowledge { .. } => "crew: alarm acknowledged".to_owned(),
        };
        Told {
            time: entry.time,
            sump: entry.sump.clone(),
            sort: Sort::Other,
            line,
            more: Vec::new(),
        }
    }

    /// What a message of the daemon tells, if it is worth a line.
    pub(super) fn message(topic: &str, message: &Value) -> Option<Told> {
        let kind = topic.rsplit('/').next()?;
        let transition = message["transition"].as_str();
        let sort = match (kind, transition) {
            ("alarm", Some("raised")) => Sort::Raised,
            ("alarm", Some("returned")) => Sort::Good,
            ("outcome", _) if message["as_expected"] == true => Sort::Good,
            ("outcome", _) => Sort::Raised,
            _ => return None,
        };
        let text = message["text"].as_str()?;
        let title = message["title"].as_str()?;
        let mut lines = text.lines().map(str::to_owned);
        let first = lines.next()?;
        let line = first
            .strip_prefix(title)
            .map_or(&*first, |rest| rest.trim_start_matches(": "));
        Some(Told {
            time: Timestamp::parse(message["time"].as_str()?).ok()?,
            sump: message["sump"].as_str()?.to_owned(),
            sort,
            line: line.to_owned(),
            more: if sort == Sort::Raised {
                lines.collect()
            } else {
                Vec::new()
            },
        })
    }
}
