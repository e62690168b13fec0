//! What a wire has to say besides: a serial port, a line of Modbus slaves.

use std::fmt;

use serde::Serialize;

use crate::line::LineCounts;
use crate::modbus::Counts;
use crate::units::Timestamp;

use super::SourceReport;

/// What only a wire has to say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WireStatus {
    /// Times that it was opened.
    pub opened: u64,
    /// Times that it was lost, or did not open.
    pub failed: u64,
    /// Values taken.
    pub values: u64,
    /// Values dropped, as the store took none for too long.
    pub dropped: u64,
    /// What is said on it.
    #[serde(flatten)]
    pub said: Said,
}

/// What is said on a wire.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
    /// Lines of text.
    Lines(LineCounts),
    /// Requests of ours, and answers of Modbus slaves.
    Modbus(MasterStatus),
}

/// What a master of Modbus slaves has to say.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MasterStatus {
    /// What it counts.
    #[serde(flatten)]
    pub counts: Counts,
    /// How each slave does; at most as many as there are numbers for them.
    pub slaves: Vec<SlaveStatus>,
}

/// How a slave does.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SlaveStatus {
    /// Its number.
    pub slave: u8,
    /// Whether it answers. A single request that fails changes nothing.
    pub answers: bool,
    /// Since when.
    pub since: Timestamp,
    /// Why it does not.
    pub why: Option<String>,
    /// Since when every request has failed, where the last one did.
    #[serde(skip)]
    failing_since: Option<Timestamp>,
}

impl WireStatus {
    /// Of a wire that was never opened.
    pub fn new(said: Said) -> Self {
        WireStatus {
            opened: 0,
            failed: 0,
            values: 0,
            dropped: 0,
            said,
        }
    }

    /// Nobody answers over a wire that is lost.
    pub(super) fn handle_lost(&mut self, now: Timestamp) {
        let slaves = self.slaves_mut();
        for slave in slaves.iter_mut().filter(|slave| slave.answers) {
            slave.lost("the line is lost", now);
        }
    }

    /// The gist in words: what a person has to look after.
    pub(super) fn sentences(&self) -> Vec<String> {
        let mut sentences = match &self.said {
            Said::Lines(counts) => vec![format!(
                "Lines with values: {}, dropped: {}.",
                counts.lines,
                counts.dropped()
            )],
            Said::Modbus(master) => master.sentences(),
        };
        if self.dropped > 0 {
            let dropped = self.dropped;
            sentences.push(format!("Values dropped while the store failed: {dropped}."));
        }
        sentences
    }

    fn slaves_mut(&mut self) -> &mut [SlaveStatus] {
        match &mut self.said {
            Said::Lines(_) => &mut [],
            Said::Modbus(master) => &mut master.slaves,
        }
    }

    fn slave(&mut self, number: u8) -> Option<&mut SlaveStatus> {
        self.slaves_mut()
            .iter_mut()
            .find(|slave| slave.slave == number)
    }
}

/// Silent slaves that are named in words.
const NAMED: usize = 5;

impl MasterStatus {
    /// Of a master that begins at `now` and has asked none of these slaves yet.
    pub fn new(slaves: impl IntoIterator<Item = u8>, now: Timestamp) -> Self {
        let unasked = |slave| SlaveStatus {
            slave,
            answers: false,
            since: now,
            why: Some("it has not answered yet".to_owned()),
            failing_since: None,
        };
        MasterStatus {
            counts: Counts::default(),
            slaves: slaves.into_iter().map(unasked).collect(),
        }
    }

    fn sentences(&self) -> Vec<String> {
        let silent = || self.slaves.iter().filter(|slave| !slave.answers);
        let answering = self.slaves.len() - silent().count();
        let mut sentences = vec![format!("Slaves that answer: {answering}.")];
        sentences.extend(silent().take(NAMED).map(|one| {
            let (slave, since) = (one.slave, one.since);
            let why = one.why.as_deref().unwrap_or_default();
            format!("Slave {slave} does not, since {since}: {why}.")
        }));
        let others = silent().count().saturating_sub(NAMED);
        if others > 0 {
            sentences.push(format!("Further slaves that do not: {others}."));
        }
        sentences
    }
}

impl SlaveStatus {
    /// Gives whether that is news.
    fn answered(&mut self, now: Timestamp) -> bool {
        self.failing_since = None;
        let is_news = !self.answers;
        if is_news {
            (self.answers, self.since, self.why) = (true, now, None);
        }
        is_news
    }

    /// Lost since its first failure, where it answered before.
    fn lost(&mut self, why: &str, now: Timestamp) {
        if self.answers {
            self.since = self.failing_since.unwrap_or(now);
        }
        self.answers = false;
        self.why = Some(why.to_owned());
    }
}

impl SourceReport {
    /// As a wire, about which this is known besides.
    #[must_use]
    pub fn with_wire(self, status: WireStatus) -> Self {
        self.lock().wire = Some(status);
        self
    }

    /// The wire was opened.
    pub fn handle_opened(&self) {
        self.of_wire(|wire| wire.opened += 1);
    }

    /// The wire was lost, or did not open.
    pub fn handle_failed(&self) {
        self.of_wire(|wire| wire.failed += 1);
    }

    /// A value was taken.
    pub fn handle_value(&self) {
        self.of_wire(|wire| wire.values += 1);
    }

    /// A value was dropped: there was no room for it, or no time at the stop.
    pub fn handle_dropped(&self) {
        self.of_wire(|wire| wire.dropped += 1);
    }

    /// So much was counted of lines.
    pub fn handle_lines(&self, counts: LineCounts) {
        self.of_wire(|wire| wire.said = Said::Lines(counts));
    }

    /// So much was counted of requests and answers.
    pub fn handle_requests(&self, counts: Counts) {
        self.of_wire(|wire| {
            if let Said::Modbus(master) = &mut wire.said {
                master.counts = counts;
            }
        });
    }

    /// A slave gave an answer.
    pub fn handle_answer(&self, slave: u8, now: Timestamp) {
        let answered = |wire: &mut WireStatus| Some(wire.slave(slave)?.answered(now));
        if self.of_wire(answered).flatten() == Some(true) {
            self.mark_changed();
        }
    }

    /// A slave gave no answer to a request.
    pub fn handle_no_answer(&self, slave: u8, now: Timestamp) {
        self.of_wire(|wire| {
            if let Some(slave) = wire.slave(slave) {
                slave.failing_since.get_or_insert(now);
            }
        });
    }

    /// A slave answers no more.
    pub fn handle_slave_lost(&self, slave: u8, why: &dyn fmt::Display, now: Timestamp) {
        self.of_wire(|wire| {
            if let Some(slave) = wire.slave(slave) {
                slave.lost(&why.to_string(), now);
            }
        });
        self.mark_changed();
    }

    fn of_wire<T>(&self, change: impl FnOnce(&mut WireStatus) -> T) -> Option<T> {
        self.lock().wire.as_mut().map(change)
    }
}

impl fmt::Display for WireStatus {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "values {}, dropped {}, opened {}, lost or not opened {}, ",
            self.values, self.dropped, self.opened, self.failed
        )?;
        match &self.said {
            Said::Modbus(MasterStatus { counts, .. }) => write!(
                f,
                "requests {}, answers {}, exceptions {}, timeouts {}, bad answers {}, late answers dropped {}, bytes of noise {}",
                counts.requests,
                counts.answers,
                counts.exceptions,
                counts.timeouts,
                counts.faults,
                counts.late_answers,
                counts.noise_bytes,
            ),
            Said::Lines(counts) => write!(
                f,
                "lines {}, not as settled {}, bad checks {}, too long {}, interrupted {}, begun before opening {}, heads {}, bytes too old {}",
                counts.lines,
                counts.refused,
                counts.bad_checks,
                counts.overlong,
                counts.interrupted,
                counts.partial,
                counts.headers,
                counts.old_bytes,
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{START, report};
    use super::*;
    use crate::units::Span;

    fn at(seconds: i64) -> Timestamp {
        START + Span::from_secs(seconds)
    }

    fn line_of_slaves() -> SourceReport {
        let master = MasterStatus::new([3, 9], START);
        let report = report().with_wire(WireStatus::new(Said::Modbus(master)));
        report.handle_connected(at(1));
        report.handle_answer(3, at(2));
        report.take_change();
        report
    }

    fn slaves(report: &SourceReport) -> Vec<(u8, bool, Timestamp, Option<String>)> {
        let Some(Said::Modbus(master)) = report.status(START).wire.map(|wire| wire.said) else {
            panic!("{report:?}");
        };
        let told = |one: SlaveStatus| (one.slave, one.answers, one.since, one.why);
        master.slaves.into_iter().map(told).collect()
    }

    #[test]
    fn a_slave_is_lost_since_its_first_failure_and_not_by_one() {
        let report = line_of_slaves();
        report.handle_no_answer(3, at(5));
        report.handle_answer(3, at(6));
        assert_eq!(slaves(&report)[0], (3, true, at(2), None));
        assert!(!report.take_change(), "nothing new");
        report.handle_no_answer(3, at(10));
        report.handle_no_answer(3, at(12));
        report.handle_slave_lost(3, &"silent", at(15));
        let why = Some("silent".to_owned());
        assert_eq!(slaves(&report)[0], (3, false, at(10), why));
        assert!(report.take_change());
        report.handle_answer(3, at(20));
        assert_eq!(slaves(&report)[0], (3, true, at(20), None));
        assert!(report.take_change());
    }

    #[test]
    fn nobody_answers_over_a_line_that_is_lost() {
        let report = line_of_slaves();
        report.handle_lost(at(30), "unplugged");
        let told = slaves(&report);
        let why = Some("the line is lost".to_owned());
        assert_eq!(told[0], (3, false, at(30), why));
        // It never did, and says so still.
        assert_eq!((told[1].1, told[1].2), (false, START));
        let text = report.status(at(40)).text;
        for words in [
            "unplugged",
            "that answer: 0.",
            "Slave 3 does not, since",
            "Slave 9",
        ] {
            assert!(text.contains(words), "want: {words}\n{text}");
        }
    }

    #[test]
    fn the_counts_of_a_wire_stand_in_a_part_of_their_own() {
        let report = line_of_slaves();
        report.handle_opened();
        report.handle_value();
        report.handle_requests(Counts {
            requests: 7,
            late_answers: 2,
            ..Counts::default()
        });
        let told = serde_json::to_value(report.status(at(3))).unwrap();
        let wire = &told["wire"];
        assert_eq!((&wire["opened"], &wire["values"]), (&1.into(), &1.into()));
        let modbus = &wire["modbus"];
        assert_eq!(modbus["requests"], 7);
        assert_eq!(modbus["late_answers"], 2);
        assert_eq!(modbus["slaves"][0]["answers"], true);
        assert!(report.summary().contains("late answers dropped 2"));

        let lines = LineCounts {
            lines: 4,
            bad_checks: 3,
            ..LineCounts::default()
        };
        let port = super::super::tests::report();
        let port = port.with_wire(WireStatus::new(Said::Lines(LineCounts::default())));
        port.handle_lines(lines);
        let told = serde_json::to_value(port.status(START)).unwrap();
        assert_eq!(told["wire"]["lines"]["good"], 4);
        assert_eq!(told["wire"]["lines"]["bad_checks"], 3);
        assert!(told["text"].as_str().unwrap().contains("dropped: 3"));

        let broker = super::super::tests::report().status(START);
        let told = serde_json::to_value(broker).unwrap();
        assert!(told.get("wire").is_none(), "{told}");
    }

    #[test]
    fn a_line_full_of_silent_slaves_stays_short() {
        let master = MasterStatus::new(1..=247, START);
        let report = report().with_wire(WireStatus::new(Said::Modbus(master)));
        let status = report.status(START);
        assert!(status.text.len() < 1_000, "{}", status.text);
        assert!(status.text.contains("do not: 242"), "{}", status.text);
    }
}
