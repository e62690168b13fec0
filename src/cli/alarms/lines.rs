//! Alarm lines of the journal as the steps that the figures are made of.

use std::collections::HashMap;
use std::sync::Arc;

use serde::Deserialize;

use crate::alarm::Priority;
use crate::alarm::performance::{AlarmEvent, AlarmName, meaning};
use crate::units::Timestamp;

/// The kind of the journal's lines about alarms.
pub(in crate::cli) const KIND: &str = "alarm";

/// What kind of line it is.
#[derive(Deserialize)]
struct Kind<'a> {
    kind: &'a str,
}

/// What is read of an alarm line.
#[derive(Deserialize)]
struct Line<'a> {
    time: Timestamp,
    sump: &'a str,
    condition: String,
    priority: Priority,
    transition: &'a str,
    state: &'a str,
    by: Option<Arc<str>>,
    reason: Option<Arc<str>>,
    until: Option<Timestamp>,
}

/// Reads alarm lines, and keeps each name once.
#[derive(Debug, Default)]
pub(in crate::cli) struct AlarmLines {
    names: HashMap<String, AlarmName>,
    /// Lines that cannot be read: of a version that knows more, perhaps.
    pub(in crate::cli) unknown: u64,
}

impl AlarmLines {
    /// The step that a line tells; nothing where it cannot be read.
    pub(in crate::cli) fn read(&mut self, line: &str) -> Option<AlarmEvent> {
        let event = self.step(line);
        self.unknown += u64::from(event.is_none());
        event
    }

    /// The step that a line of any kind tells; nothing where it is of another
    /// kind or cannot be read.
    pub(in crate::cli) fn read_if_alarm(&mut self, line: &str) -> Option<AlarmEvent> {
        let kind = serde_json::from_str::<Kind<'_>>(line).map(|line| line.kind);
        kind.is_ok_and(|kind| kind == KIND)
            .then(|| self.read(line))
            .flatten()
    }

    fn step(&mut self, line: &str) -> Option<AlarmEvent> {
        let line: Line<'_> = serde_json::from_str(line).ok()?;
        let (step, standing) = meaning(line.transition, line.state)?;
        Some(AlarmEvent {
            time: line.time,
            alarm: self.name(line.sump, &line.condition),
            priority: line.priority,
            step,
            standing,
            by: line.by,
            reason: line.reason,
            until: line.until,
        })
    }

    fn name(&mut self, sump: &str, condition: &str) -> AlarmName {
        let key = format!("{sump} {condition}");
        let name = self.names.entry(key).or_insert_with(|| AlarmName {
            sump: sump.into(),
            condition: condition.into(),
        });
        name.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_of_another_version_are_counted() {
        let line = |transition: &str| {
            format!(
                "{{\"time\":\"2026-03-02T06:10:00Z\",\"sump\":\"s0\",\"seq\":4,\"kind\":\"alarm\",\
                 \"id\":\"a\",\"condition\":\"silent.b\\\"1\",\"priority\":\"low\",\"transition\":\"{transition}\",\
                 \"state\":\"acknowledged\",\"by\":\"anna\",\"more\":1}}"
            )
        };
        let mut lines = AlarmLines::default();
        let event = lines.read(&line("acknowledged")).unwrap();
        assert_eq!(&*event.alarm.condition, "silent.b\"1");
        assert_eq!(event.by.as_deref(), Some("anna"));
        assert_eq!(lines.read(&line("vanished")), None);
        assert_eq!(lines.read("nothing"), None);
        assert_eq!(lines.unknown, 2);
    }
}
