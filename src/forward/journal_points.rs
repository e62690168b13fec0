//! Lines of the journal as points: steps of alarms, doses, entries.

use serde::Deserialize;

use crate::alarm::{AlarmState, Transition};
use crate::store::StoredJournal;
use crate::units::Timestamp;

use super::line::{self, Head};
use super::lines::Lines;

/// What one target gets of the journal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Wanted {
    pub(super) alarms: bool,
    pub(super) doses: bool,
    pub(super) entries: bool,
}

impl Wanted {
    /// Whether anything is wanted.
    pub(super) fn is_any(self) -> bool {
        self.alarms || self.doses || self.entries
    }
}

/// An alarm's line, as far as it becomes a point.
#[derive(Deserialize)]
struct AlarmStep {
    condition: String,
    priority: String,
    transition: Transition,
    state: AlarmState,
}

#[derive(Deserialize)]
struct Advised {
    advice: Advice,
}

#[derive(Deserialize)]
struct Advice {
    dose: Option<Dose>,
}

#[derive(Deserialize)]
struct Dose {
    way: String,
    #[serde(default)]
    concentrate_l: f64,
    #[serde(default)]
    water_l: f64,
    #[serde(default)]
    premix_l: f64,
    #[serde(default)]
    drain_l: f64,
}

#[derive(Deserialize)]
struct Written {
    entry: Entry,
}

/// Of every kind of entry; most fields belong to one kind only.
#[derive(Deserialize)]
struct Entry {
    time: Timestamp,
    kind: String,
    what: Option<String>,
    quantity: Option<String>,
    value: Option<f64>,
    litres: Option<f64>,
    strength_pct: Option<f64>,
    hours: Option<f64>,
}

/// Puts together the lines of a window of the journal.
pub(super) struct JournalPoints<'a> {
    plant: &'a str,
    text: Vec<u8>,
    ends: Vec<usize>,
    not_finite: u64,
    unreadable: u64,
}

impl<'a> JournalPoints<'a> {
    pub(super) fn new(plant: &'a str) -> Self {
        JournalPoints {
            plant,
            text: Vec::new(),
            ends: Vec::new(),
            not_finite: 0,
            unreadable: 0,
        }
    }

    /// Adds what a line of the journal tells; nothing where that is not wanted.
    /// What cannot be read, because another version wrote it, is counted.
    pub(super) fn add(&mut self, row: &StoredJournal, wanted: Wanted) {
        let read = match row.kind.as_str() {
            "alarm" if wanted.alarms => self.alarm(row),
            "advice" if wanted.doses => self.dose(row),
            "entry" if wanted.entries => self.entry(row),
            _ => return,
        };
        self.unreadable += u64::from(read.is_err());
    }

    /// The lines, and how many numbers were not finite and lines unreadable.
    pub(super) fn finish(self) -> (Lines, u64, u64) {
        let lines = Lines::new(self.text, self.ends);
        (lines, self.not_finite, self.unreadable)
    }

    /// `active` while the condition holds and the alarm is not hidden,
    /// `unacknowledged` while somebody has to take note of it.
    fn alarm(&mut self, row: &StoredJournal) -> serde_json::Result<()> {
        let step: AlarmStep = serde_json::from_str(&row.body)?;
        let head = self.head("alarm", row);
        let head = head
            .tag("condition", &step.condition)
            .tag("priority", &step.priority);
        let truth = |holds: bool| f64::from(u8::from(holds));
        let fields = [
            ("active", truth(step.state.holds())),
            ("unacknowledged", truth(step.state.asks())),
            (
                "annunciates",
                truth(step.transition.annunciates(step.state)),
            ),
        ];
        self.push(&head, &fields, row.time);
        Ok(())
    }

    fn dose(&mut self, row: &StoredJournal) -> serde_json::Result<()> {
        let advised: Advised = serde_json::from_str(&row.body)?;
        let Some(dose) = advised.advice.dose else {
            return Ok(());
        };
        let head = self.head("dose", row).tag("way", &dose.way);
        let amounts = [
            ("concentrate_l", dose.concentrate_l),
            ("water_l", dose.water_l),
            ("premix_l", dose.premix_l),
            ("drain_l", dose.drain_l),
        ];
        let is_there = |(_, litres): &&(&str, f64)| *litres != 0.0;
        let mut fields: Vec<_> = amounts.iter().filter(is_there).copied().collect();
        if fields.is_empty() {
            // Waiting and letting be are advice too.
            fields.push(("premix_l", 0.0));
        }
        self.push(&head, &fields, row.time);
        Ok(())
    }

    /// An entry stands at the time that it speaks of. Of two of the same sump and
    /// time the second would take the first one's place, so `what` tells apart what
    /// was put in or measured.
    fn entry(&mut self, row: &StoredJournal) -> serde_json::Result<()> {
        let Written { entry } = serde_json::from_str(&row.body)?;
        let what = entry.what.as_deref().or(entry.quantity.as_deref());
        let head = self
            .head("entry", row)
            .tag("kind", &entry.kind)
            .tag("what", what.unwrap_or_default());
        let mut fields = vec![("count", 1.0)];
        let numbers = [
            ("value", entry.value),
            ("volume_l", entry.litres),
            ("strength_pct", entry.strength_pct),
            ("hours", entry.hours),
        ];
        let there = numbers.into_iter();
        fields.extend(there.filter_map(|(name, number)| Some((name, number?))));
        self.push(&head, &fields, entry.time);
        Ok(())
    }

    fn head(&self, measurement: &str, row: &StoredJournal) -> Head {
        Head::new(measurement)
            .tag("plant", self.plant)
            .tag("sump", &row.sump)
    }

    fn push(&mut self, head: &Head, fields: &[(&str, f64)], time: Timestamp) {
        if line::write(&mut self.text, head, fields, time, &mut self.not_finite) {
            self.ends.push(self.text.len());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: Wanted = Wanted {
        alarms: true,
        doses: true,
        entries: true,
    };

    fn row(kind: &str, body: &str) -> StoredJournal {
        StoredJournal {
            time: Timestamp::from_millis(1000),
            sump: "mill-4".to_owned(),
            seq: 1,
            kind: kind.to_owned(),
            body: body.to_owned(),
        }
    }

    fn written(rows: &[StoredJournal], wanted: Wanted) -> (String, u64) {
        let mut points = JournalPoints::new("north");
        for row in rows {
            points.add(row, wanted);
        }
        let (lines, _, unreadable) = points.finish();
        let text = lines.text(0..lines.len()).to_vec();
        (String::from_utf8(text).unwrap(), unreadable)
    }

    #[test]
    fn steps_of_alarms_doses_and_entries_are_points() {
        let rows = [
            row(
                "alarm",
                r#"{"condition":"concentration.low","priority":"medium","transition":"raised","state":"unacknowledged","more":1}"#,
            ),
            row(
                "advice",
                r#"{"advice":{"id":"a","dose":{"way":"premix","concentrate_l":3.0,"water_l":27.0,"premix_l":30.0,"drain_l":0.0}}}"#,
            ),
            row("advice", r#"{"advice":{"id":"b","dose":null}}"#),
            row(
                "entry",
                r#"{"entry":{"id":"x","time":"1970-01-01T00:00:02Z","sump":"mill-4","kind":"addition","what":"water","litres":20.0}}"#,
            ),
            row(
                "entry",
                r#"{"entry":{"id":"y","time":"1970-01-01T00:00:02Z","sump":"mill-4","kind":"hand_reading","quantity":"ph","value":9.1}}"#,
            ),
            row("movement", "{}"),
        ];
        let (text, unreadable) = written(&rows, ALL);
        let wanted = "\
alarm,plant=north,sump=mill-4,condition=concentration.low,priority=medium active=1.0,unacknowledged=1.0,annunciates=1.0 1000
dose,plant=north,sump=mill-4,way=premix concentrate_l=3.0,water_l=27.0,premix_l=30.0 1000
entry,plant=north,sump=mill-4,kind=addition,what=water count=1.0,volume_l=20.0 2000
entry,plant=north,sump=mill-4,kind=hand_reading,what=ph count=1.0,value=9.1 2000
";
        assert_eq!((text.as_str(), unreadable), (wanted, 0));
    }

    #[test]
    fn what_is_not_wanted_is_left_out_and_what_is_unreadable_counted() {
        let alarm =
            r#"{"condition":"x","priority":"low","transition":"vanished","state":"normal"}"#;
        let rows = [row("alarm", alarm), row("entry", "{}")];
        let none = Wanted {
            alarms: false,
            doses: true,
            entries: false,
        };
        assert_eq!(written(&rows, none), (String::new(), 0));
        assert_eq!(written(&rows, ALL), (String::new(), 2));
    }
}
