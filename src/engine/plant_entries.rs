//! What people wrote down of the plant's alarms: taken on, shelved, taken out of
//! service, and corrected.

use crate::alarm::{Hiding, Transition};
use crate::units::{Span, Timestamp};

use super::alarms::Told;
use super::entries::{listed, told_by};
use super::entry::{Entry, EntryKind};
use super::event::Effect;
use super::journal::JournalBody;
use super::plant_watch::{PlantAlarm, PlantWatch};
use super::remembered::{Correction, CorrectionError, Said};

impl PlantWatch {
    /// Whether the entry was taken in before.
    pub fn knows_entry(&self, id: &str) -> bool {
        self.remembered.knows(id)
    }

    /// Ids of the newest entries, newest first.
    pub fn entry_ids(&self) -> impl Iterator<Item = &str> {
        self.remembered.ids()
    }

    /// How the entry stands to the one that it supersedes.
    ///
    /// # Errors
    /// When that one is not there, although it would be remembered, or was
    /// superseded by another: then the watch passes the entry over.
    pub fn check_entry(&self, entry: &Entry) -> Result<Correction, CorrectionError> {
        self.remembered.check(entry)
    }

    /// Whether the entry's time is yet to come.
    pub fn is_ahead(&self, entry: &Entry, arrival: Timestamp) -> bool {
        entry.time > arrival + self.admission.future_skew
    }

    /// What is to be said of an entry that names an alarm which is not there: it
    /// is kept all the same, and changes nothing.
    pub fn names_in_vain(&self, entry: &Entry) -> Option<String> {
        if let Some(alarm) = entry.kind.alarm_called() {
            let names: Vec<String> = self
                .alarms
                .iter()
                .map(|one| one.condition.to_string())
                .collect();
            return self.called(alarm).is_none().then(|| {
                format!(
                    "the plant has no alarm \"{alarm}\", so nothing is changed; it has: {}",
                    listed(&names)
                )
            });
        }
        let EntryKind::Acknowledge { alarm } = &entry.kind else {
            return None;
        };
        let standing = self.standing();
        (!standing.contains(alarm)).then(|| {
            format!(
                "no alarm \"{alarm}\" of the plant stands, so none is acknowledged; standing: {}",
                listed(&standing)
            )
        })
    }

    /// Keeps an entry out of history.
    pub(super) fn keep_past_entry(&mut self, entry: &Entry, out: &mut Vec<Effect>) {
        let entry = Box::new(entry.clone());
        self.journal(JournalBody::Entry { entry, late: true }, out);
    }

    /// Takes in an entry that is not passed over and was so at `time`, up to
    /// which time has already been brought.
    pub(super) fn step_entry(&mut self, entry: &Entry, time: Timestamp, out: &mut Vec<Effect>) {
        let kept = Box::new(entry.clone());
        self.journal(
            JournalBody::Entry {
                entry: kept,
                late: false,
            },
            out,
        );
        let (superseded, stands) = self.remembered.displace(entry);
        let said = if stands {
            self.conclude(entry, time, out)
        } else {
            Said::Nothing
        };
        self.remembered.keep(&entry.id, time, said);
        if let Some(superseded) = superseded {
            self.take_back(&superseded.said, entry.by.as_deref(), out);
        }
    }

    fn conclude(&mut self, entry: &Entry, time: Timestamp, out: &mut Vec<Effect>) -> Said {
        let by = entry.by.as_deref();
        match &entry.kind {
            EntryKind::Acknowledge { alarm } => {
                let now = self.now;
                self.change(self.with_id(alarm), &told_by(by, None), out, |one| {
                    one.life.acknowledge(now)
                });
                Said::Acknowledged(alarm.clone())
            }
            EntryKind::Shelve {
                alarm,
                hours,
                reason,
            } => {
                let until = time + Span::from_millis((hours * 3_600_000.0) as i64);
                if until > self.now {
                    let told = told_by(by, Some(reason));
                    self.hide(alarm, Hiding::Shelve(until), &told, out);
                }
                Said::Shelved(alarm.clone())
            }
            EntryKind::OutOfService { alarm, reason } => {
                self.hide(alarm, Hiding::TakeOut, &told_by(by, Some(reason)), out);
                Said::OutOfService(alarm.clone())
            }
            EntryKind::Unshelve { alarm } => {
                self.hide(alarm, Hiding::Unshelve, &told_by(by, None), out);
                Said::Nothing
            }
            EntryKind::InService { alarm } => {
                self.hide(alarm, Hiding::PutBack, &told_by(by, None), out);
                Said::Nothing
            }
            EntryKind::Reset { alarm } => {
                let told = told_by(by, None);
                self.change(self.called(alarm), &told, out, |one| one.life.reset());
                Said::Nothing
            }
            // What is said of the fluid of a sump is no entry of the plant's.
            _ => Said::Nothing,
        }
    }

    /// What a superseded entry had said has no effect, unless another one says
    /// the same.
    fn take_back(&mut self, said: &Said, by: Option<&str>, out: &mut Vec<Effect>) {
        let told = told_by(by, None);
        match said {
            Said::Acknowledged(alarm) if !self.remembered.acknowledges(alarm) => {
                self.change(self.with_id(alarm), &told, out, |one| {
                    one.life.unacknowledge()
                });
            }
            Said::Shelved(alarm) => self.hide(alarm, Hiding::Unshelve, &told, out),
            Said::OutOfService(alarm) => self.hide(alarm, Hiding::PutBack, &told, out),
            _ => {}
        }
    }

    fn hide(&mut self, alarm: &str, hiding: Hiding, told: &Told<'_>, out: &mut Vec<Effect>) {
        self.change(self.called(alarm), told, out, |one| one.life.hide(hiding));
    }

    /// A person changes where an alarm stands.
    fn change(
        &mut self,
        alarm: Option<usize>,
        told: &Told<'_>,
        out: &mut Vec<Effect>,
        change: impl FnOnce(&mut PlantAlarm) -> Option<Transition>,
    ) {
        if let Some(ix) = alarm
            && let Some(transition) = change(&mut self.alarms[ix])
        {
            self.tell(ix, transition, told, out);
        }
    }

    /// The alarm of which this is the id or the name.
    fn called(&self, name: &str) -> Option<usize> {
        let named = |one: &PlantAlarm| one.condition.to_string() == name;
        self.with_id(name)
            .or_else(|| self.alarms.iter().position(named))
    }

    fn with_id(&self, id: &str) -> Option<usize> {
        (0..self.alarms.len()).find(|ix| self.alarm_id(*ix).as_deref() == Some(id))
    }
}
