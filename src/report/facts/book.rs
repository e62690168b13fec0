//! What the journal tells of one sump: entries as they stand after corrections,
//! advice with what came of it, movements, mixers, acknowledgements.

use std::collections::BTreeSet;

use serde::Deserialize;
use serde_json::Value;

use crate::alarm::performance::Period;
use crate::engine::{Entry, EntryKind};
use crate::model::{Movement, Origin};
use crate::units::Timestamp;

/// Of each sort so many are kept; what comes after is counted.
const MOST: usize = 20_000;

/// An entry as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Written {
    /// The entry.
    pub entry: Entry,
    /// It came out of history.
    pub late: bool,
}

/// An entry that was corrected or taken back.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrected {
    /// When the correction was written down.
    pub time: Timestamp,
    /// Who corrected.
    pub by: Option<String>,
    /// What stood before, where it lies in the period.
    pub before: Option<Entry>,
    /// What stands in its place.
    pub after: Entry,
}

/// Advice with a dose, and what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Advised {
    /// Its name.
    pub id: String,
    /// When it was given.
    pub time: Timestamp,
    /// What about.
    pub condition: String,
    /// What was to be let out and put in, L; nothing where none could be told.
    pub dose: Option<Dose>,
    /// When somebody said that it was followed.
    pub followed: Option<Timestamp>,
    /// When it no longer held.
    pub withdrawn: Option<Timestamp>,
    /// What came of it.
    pub outcome: Option<CameOf>,
}

/// Amounts of one step of a dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// To let out, L.
    pub drain_l: f64,
    /// Concentrate to put in, L.
    pub concentrate_l: f64,
    /// Water to put in, L.
    pub water_l: f64,
}

/// What came of a dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameOf {
    /// When it was judged.
    pub time: Timestamp,
    /// What was expected, %.
    pub expected_pct: Option<f64>,
    /// What was measured, %.
    pub got_pct: Option<f64>,
    /// Whether that is as expected.
    pub as_expected: Option<bool>,
}

/// What the outlet of a mixer gave.
#[derive(Debug, Clone, PartialEq)]
pub struct MixerRead {
    /// When.
    pub time: Timestamp,
    /// Which mixer.
    pub mixer: String,
    /// What it is set to, %.
    pub setting_pct: f64,
    /// What it gave, %.
    pub got_pct: f64,
    /// What to set it to, where it was off.
    pub new_setting_pct: Option<f64>,
}

/// Who took an alarm on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TookOn {
    /// When.
    pub time: Timestamp,
    /// Which condition.
    pub condition: String,
    /// Who.
    pub by: Option<String>,
}

/// What is told of one sump. Lines come in the journal's order; those after the
/// period are read for corrections.
#[derive(Debug, Clone, PartialEq)]
pub struct Book {
    period: Period,
    written: Vec<Written>,
    superseded: BTreeSet<String>,
    corrected: Vec<Corrected>,
    advised: Vec<Advised>,
    movements: Vec<Movement>,
    written_down_later: BTreeSet<Timestamp>,
    mixers: Vec<MixerRead>,
    took_on: Vec<TookOn>,
    left_out: u64,
    unreadable: u64,
}

#[derive(Deserialize)]
struct EntryLine {
    entry: Entry,
    #[serde(default)]
    late: bool,
}

#[derive(Deserialize)]
struct MovementLine {
    movement: Movement,
}

impl Book {
    /// A book in which nothing stands yet.
    pub fn new(period: Period) -> Self {
        Book {
            period,
            written: Vec::new(),
            superseded: BTreeSet::new(),
            corrected: Vec::new(),
            advised: Vec::new(),
            movements: Vec::new(),
            written_down_later: BTreeSet::new(),
            mixers: Vec::new(),
            took_on: Vec::new(),
            left_out: 0,
            unreadable: 0,
        }
    }

    /// Takes in a line of the journal of this sump.
    pub fn line(&mut self, time: Timestamp, kind: &str, body: &str) {
        let read = match kind {
            "entry" => serde_json::from_str(body).map(|line| self.entry(time, line)),
            "movement" => serde_json::from_str(body).map(|line| self.movement(line)),
            _ => serde_json::from_str(body).map(|line| self.other(time, kind, &line)),
        };
        self.unreadable += u64::from(read.is_err());
    }

    fn entry(&mut self, told: Timestamp, line: EntryLine) {
        let EntryLine { entry, late } = line;
        if let Some(superseded) = &entry.supersedes {
            self.correct(told, superseded.clone(), &entry);
        }
        let is_correction_only = matches!(entry.kind, EntryKind::Withdrawn { .. });
        if !is_correction_only && self.period.has(entry.time) && self.has_room(self.written.len()) {
            self.written.push(Written { entry, late });
        }
    }

    fn correct(&mut self, told: Timestamp, superseded: String, entry: &Entry) {
        let place = self
            .written
            .iter()
            .position(|one| one.entry.id == superseded);
        let before = place.map(|place| self.written.remove(place).entry);
        self.superseded.insert(superseded);
        let concerns = before.is_some() || self.period.has(entry.time);
        if concerns && self.has_room(self.corrected.len()) {
            self.corrected.push(Corrected {
                time: told,
                by: entry.by.clone(),
                before,
                after: entry.clone(),
            });
        }
    }

    fn movement(&mut self, line: MovementLine) {
        if self.period.has(line.movement.time) && self.has_room(self.movements.len()) {
            self.movements.push(line.movement);
        }
    }

    fn other(&mut self, time: Timestamp, kind: &str, line: &Value) {
        let text = |name: &str| line[name].as_str().map(str::to_owned);
        match kind {
            "advice" => self.advice(time, &line["advice"]),
            "advice_followed" => self.of_advice(line, |one| one.followed = Some(time)),
            "advice_withdrawn" => self.of_advice(line, |one| one.withdrawn = Some(time)),
            "advice_restored" => self.of_advice(line, |one| one.withdrawn = None),
            "advice_outcome" => {
                let outcome = CameOf {
                    time,
                    expected_pct: line["expected_concentration_pct"]["value"].as_f64(),
                    got_pct: line["concentration_pct"]["value"].as_f64(),
                    as_expected: line["as_expected"].as_bool(),
                };
                self.of_advice(line, |one| one.outcome = Some(outcome));
            }
            "movement_logged" => {
                let began = text("time").and_then(|time| Timestamp::parse(&time).ok());
                self.written_down_later.extend(began);
            }
            "mixer_checked" => {
                let read = MixerRead {
                    time,
                    mixer: text("mixer").unwrap_or_default(),
                    setting_pct: line["setting_pct"].as_f64().unwrap_or_default(),
                    got_pct: line["got_pct"]["value"].as_f64().unwrap_or_default(),
                    new_setting_pct: line["new_setting_pct"].as_f64(),
                };
                if self.period.has(time) && self.has_room(self.mixers.len()) {
                    self.mixers.push(read);
                }
            }
            "alarm" => {
                let took_on = line["transition"] == "acknowledged" && self.period.has(time);
                if took_on && self.has_room(self.took_on.len()) {
                    self.took_on.push(TookOn {
                        time,
                        condition: text("condition").unwrap_or_default(),
                        by: text("by"),
                    });
                }
            }
            _ => {}
        }
    }

    fn advice(&mut self, time: Timestamp, advice: &Value) {
        let dose = &advice["dose"];
        let litres = |name: &str| dose[name].as_f64();
        let amounts = || {
            Some(Dose {
                drain_l: litres("drain_l")?,
                concentrate_l: litres("concentrate_l")?,
                water_l: litres("water_l")?,
            })
        };
        let text = |name: &str| advice[name].as_str().unwrap_or_default().to_owned();
        if !self.period.has(time) || !self.has_room(self.advised.len()) {
            return;
        }
        self.advised.push(Advised {
            id: text("id"),
            time,
            condition: text("condition"),
            dose: amounts(),
            followed: None,
            withdrawn: None,
            outcome: None,
        });
    }

    fn of_advice(&mut self, line: &Value, then: impl FnOnce(&mut Advised)) {
        let id = line["advice"].as_str().unwrap_or_default();
        let mut newest_first = self.advised.iter_mut().rev();
        if let Some(one) = newest_first.find(|one| one.id == id) {
            then(one);
        }
    }

    fn has_room(&mut self, kept: usize) -> bool {
        let has_room = kept < MOST;
        self.left_out += u64::from(!has_room);
        has_room
    }

    /// All lines have come: puts the entries into the order of their times.
    pub fn end(&mut self) {
        self.written.sort_by(|a, b| {
            let key = |one: &Written| (one.entry.time, one.entry.id.clone());
            key(a).cmp(&key(b))
        });
    }

    /// The period.
    pub fn period(&self) -> Period {
        self.period
    }

    /// Entries that stand, by their times.
    pub fn written(&self) -> &[Written] {
        &self.written
    }

    /// Entries that were corrected or taken back.
    pub fn corrected(&self) -> &[Corrected] {
        &self.corrected
    }

    /// Advice, as it was given.
    pub fn advised(&self) -> &[Advised] {
        &self.advised
    }

    /// What the balance says went in and out, less what no longer stands.
    pub fn movements(&self) -> impl Iterator<Item = &Movement> {
        self.movements
            .iter()
            .filter(|movement| match &movement.origin {
                Origin::Inferred => !self.written_down_later.contains(&movement.time),
                Origin::Logged { entries, .. } | Origin::Contradicted { entries, .. } => {
                    entries.iter().any(|entry| !self.superseded.contains(entry))
                }
            })
    }

    /// What the outlets of mixers gave.
    pub fn mixers(&self) -> &[MixerRead] {
        &self.mixers
    }

    /// Who took which alarm on.
    pub fn took_on(&self) -> &[TookOn] {
        &self.took_on
    }

    /// Lines that were left out because there were too many, and lines that
    /// cannot be read.
    pub fn lost(&self) -> (u64, u64) {
        (self.left_out, self.unreadable)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Timestamp {
        Timestamp::parse(text).unwrap()
    }

    fn book() -> Book {
        Book::new(Period::new(
            at("2026-03-01T00:00:00Z"),
            at("2026-04-01T00:00:00Z"),
        ))
    }

    fn entry(id: &str, time: &str, more: &str) -> String {
        format!(
            "{{\"entry\":{{\"id\":\"{id}\",\"time\":\"{time}\",\"sump\":\"s0\",\"by\":\"anna\",{more}}}}}"
        )
    }

    const WATER: &str = "\"kind\":\"addition\",\"what\":\"water\",\"litres\":40.0";

    #[test]
    fn corrections_stand_in_the_place_of_what_they_correct() {
        let mut book = book();
        let told = at("2026-03-02T08:00:00Z");
        book.line(told, "entry", &entry("a", "2026-03-02T07:00:00Z", WATER));
        book.line(told, "entry", &entry("b", "2026-03-02T06:00:00Z", WATER));
        // After the period, and of one within it.
        let later = at("2026-04-02T08:00:00Z");
        let better = format!("\"supersedes\":\"a\",{}", WATER.replace("40.0", "44.0"));
        book.line(later, "entry", &entry("c", "2026-03-02T07:00:00Z", &better));
        let gone = "\"supersedes\":\"b\",\"kind\":\"withdrawn\"";
        book.line(later, "entry", &entry("d", "2026-04-02T07:00:00Z", gone));
        book.line(later, "entry", &entry("e", "2026-04-02T07:00:00Z", WATER));
        book.end();
        let ids: Vec<&str> = book.written().iter().map(|one| &*one.entry.id).collect();
        assert_eq!(ids, ["c"]);
        assert_eq!(book.corrected().len(), 2);
        assert_eq!(book.corrected()[1].before.as_ref().unwrap().id, "b");
        assert_eq!(book.lost(), (0, 0));
    }

    #[test]
    fn what_came_of_advice_belongs_to_it() {
        let mut book = book();
        let (one, two) = (at("2026-03-02T08:00:00Z"), at("2026-03-02T09:00:00Z"));
        let advice = r#"{"advice":{"id":"s0/advice/1","condition":"concentration.low",
            "dose":{"drain_l":0.0,"concentrate_l":17.0,"water_l":71.0}}}"#;
        book.line(one, "advice", advice);
        book.line(
            two,
            "advice_followed",
            r#"{"advice":"s0/advice/1","entry":"a"}"#,
        );
        let outcome = r#"{"advice":"s0/advice/1","expected_concentration_pct":{"value":8.0,"uncertainty":0.3},
            "concentration_pct":null,"as_expected":null}"#;
        book.line(two, "advice_outcome", outcome);
        book.line(two, "advice_outcome", "half a line");
        let advised = &book.advised()[0];
        assert_eq!(advised.dose.unwrap().concentrate_l, 17.0);
        assert_eq!(advised.followed, Some(two));
        assert_eq!(advised.outcome.unwrap().expected_pct, Some(8.0));
        assert_eq!(advised.outcome.unwrap().got_pct, None);
        assert_eq!(book.lost(), (0, 1));
    }

    #[test]
    fn an_inferred_movement_that_was_written_down_later_does_not_count_twice() {
        let mut book = book();
        let movement = |time: &str, origin: &str| {
            format!(
                "{{\"movement\":{{\"time\":\"{time}\",\"until\":\"{time}\",\"kind\":\"water\",
                 \"litres\":{{\"value\":40.0,\"uncertainty\":1.0}},\"strength_pct\":null,
                 \"origin\":{origin},\"confidence\":0.9}}}}"
            )
        };
        let told = at("2026-03-02T12:00:00Z");
        let inferred = "{\"by\":\"inferred\"}";
        book.line(
            told,
            "movement",
            &movement("2026-03-02T06:00:00Z", inferred),
        );
        book.line(
            told,
            "movement",
            &movement("2026-03-02T07:00:00Z", inferred),
        );
        // The line has a time of its own before that of the movement.
        let logged = r#"{"time":"2026-03-02T12:00:00Z","time":"2026-03-02T06:00:00Z","entry":"a"}"#;
        book.line(told, "movement_logged", logged);
        let times: Vec<_> = book.movements().map(|one| one.time).collect();
        assert_eq!(times, [at("2026-03-02T07:00:00Z")]);
        assert_eq!(book.lost(), (0, 0));
    }
}
