//! What people wrote down: compared, counted, kept, corrected.
//!
//! An entry may stand in the place of an earlier one. What was concluded from
//! that one then follows the newest: whether a channel is doubted, whether an
//! advice was followed, whether an alarm is taken on. What only makes the watch
//! wait or look afresh (the time to mix, filters begun anew) stays, and
//! happens even for an entry that was corrected before it came. So an entry and
//! its correction lead to the same, whichever comes first; only advice that was
//! given in between stays given, and what an entry said of the chemistry is only
//! undone if no other entry has spoken of it since.

use crate::alarm::Hiding;

use super::alarms::Told;
use super::entry::{Entry, EntryKind, HappeningKind, Look};
use super::event::Effect;
use super::hand_readings::channels_of;
use super::journal::JournalBody;
use super::remembered::{Comparison, Correction, CorrectionError, Said, Superseded};
use super::watch::SumpWatch;
use crate::advice::MixerCheck;
use crate::units::{Quantity, Span, Timestamp};

/// Alarms that are named to somebody who named another.
const NAMED: usize = 3;

pub(super) fn listed(alarms: &[String]) -> String {
    match alarms {
        [] => "none".to_owned(),
        alarms => alarms[..alarms.len().min(NAMED)].join(", "),
    }
}

impl SumpWatch {
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

    /// What is to be said of an entry that names an alarm or advice which does
    /// not stand: it is kept all the same, and changes nothing of these.
    pub fn names_in_vain(&self, entry: &Entry) -> Option<String> {
        if let Some(alarm) = entry.kind.alarm_called() {
            return self.alarm_called(alarm).is_none().then(|| {
                let names = listed(&self.alarm_names());
                format!(
                    "there is no alarm \"{alarm}\" here, so nothing is changed; there are: {names}"
                )
            });
        }
        if let EntryKind::Acknowledge { alarm } = &entry.kind {
            let standing: Vec<String> = self.alarms_shown().into_iter().map(|one| one.id).collect();
            return (!standing.contains(alarm)).then(|| {
                let others = listed(&standing);
                format!(
                    "no alarm \"{alarm}\" stands here, so none is acknowledged; standing: {others}"
                )
            });
        }
        let (named, awaited) = (entry.kind.advice()?, self.awaited_advice());
        (awaited != Some(named)).then(|| {
            let awaited = awaited.unwrap_or("none");
            format!(
                "advice \"{named}\" does not stand, so none counts as followed; standing: {awaited}"
            )
        })
    }

    /// Takes in an entry that is not passed over and was so at `time`, up to
    /// which time has already been brought.
    pub(super) fn step_entry(&mut self, entry: &Entry, time: Timestamp, out: &mut Vec<Effect>) {
        self.journal(
            JournalBody::Entry {
                entry: Box::new(entry.clone()),
                late: false,
            },
            out,
        );
        let (superseded, stands) = self.remembered.displace(entry);
        self.look_afresh(&entry.kind, time);
        let said = if stands {
            self.conclude(entry, time, superseded.as_ref(), out)
        } else {
            Said::Nothing
        };
        let touched = channels_of(superseded.as_ref().map(|one| &one.said), &said);
        self.remembered.keep(&entry.id, time, said);
        self.pumps_said = self.remembered.pumps();
        self.judge_doubts(&touched, out);
        if let Some(superseded) = &superseded {
            self.take_back_acknowledgement(&superseded.said, entry.by.as_deref(), out);
            self.take_back_hiding(&superseded.said, entry.by.as_deref(), out);
        }
        if entry.kind.stirs() {
            self.wait_for_mixing(time, out);
        }
        self.show(out);
    }

    /// Keeps an entry out of history. It is not remembered here: a whole file
    /// of them would push out the newest ones. Whoever sends them asks the
    /// store which it knows.
    pub(super) fn step_past_entry(&mut self, entry: &Entry, out: &mut Vec<Effect>) {
        self.note_check(entry, entry.time.min(self.now));
        let entry = Box::new(entry.clone());
        self.journal(JournalBody::Entry { entry, late: true }, out);
    }

    /// The probe was touched: what its channel said before says nothing about
    /// what it says now.
    fn look_afresh(&mut self, kind: &EntryKind, time: Timestamp) {
        for ix in self.touched_probes(kind) {
            self.channels[ix].touched(time);
            match self.setup.channels[ix].quantity {
                Quantity::Ph => self.ph_probe_touched(time),
                Quantity::Conductivity => self.conductivity_witness.begin_anew(),
                Quantity::Brix | Quantity::Concentration => {
                    self.conductivity_witness.prism_touched();
                }
                _ => {}
            }
        }
    }

    /// Places of the channels whose probe was cleaned or calibrated.
    pub(super) fn touched_probes(&self, kind: &EntryKind) -> Vec<usize> {
        let EntryKind::Event {
            what: HappeningKind::ProbeCleaned | HappeningKind::ProbeCalibrated,
            channel,
            ..
        } = kind
        else {
            return Vec::new();
        };
        let named = |ix: &usize| {
            let name = &*self.setup.channels[*ix].name;
            channel.as_deref().is_none_or(|channel| channel == name)
        };
        (0..self.channels.len()).filter(named).collect()
    }

    /// Concludes what there is to conclude; `superseded` is undone on the way.
    fn conclude(
        &mut self,
        entry: &Entry,
        time: Timestamp,
        superseded: Option<&Superseded>,
        out: &mut Vec<Effect>,
    ) -> Said {
        if let Some(id) = &entry.supersedes {
            self.undo_dosing(id, out);
            self.upkeep.superseded(id);
        }
        if let Some(advice) = entry.kind.advice() {
            self.followed(advice, (entry, time), out);
        }
        self.note_chemistry(entry, time);
        if entry.kind.stirs() {
            self.set_aside(&entry.id, time, out);
        }
        self.enter_into_balance(entry, time, out);
        self.note_check(entry, time);
        let by = entry.by.as_deref();
        if let Some(kind) = entry.kind.as_asked_for() {
            self.upkeep.entered(kind, time);
        }
        match &entry.kind {
            EntryKind::HandReading {
                quantity,
                value,
                mixer: Some(mixer),
                ..
            } => self.check_mixer(mixer, *quantity, *value, out),
            EntryKind::HandReading {
                quantity, value, ..
            } => {
                self.upkeep.read_by_hand(*quantity);
                Said::Channels(self.compare(*quantity, *value, time, superseded))
            }
            EntryKind::Event {
                what: what @ (HappeningKind::PumpsOn | HappeningKind::PumpsOff),
                ..
            } => Said::Pumps(*what == HappeningKind::PumpsOn),
            EntryKind::Impression { look, .. } if !look.is_empty() => {
                Said::Foam(look.contains(&Look::Foam))
            }
            EntryKind::Event { .. } => {
                let probes = self.touched_probes(&entry.kind).into_iter();
                let trusted = probes.map(|ix| Comparison {
                    channel: self.setup.channels[ix].name.to_string(),
                    inline: None,
                    by_hand: None,
                    doubted: false,
                });
                Said::Channels(trusted.collect())
            }
            EntryKind::Acknowledge { alarm } => {
                self.acknowledge(alarm, by, out);
                Said::Acknowledged(alarm.clone())
            }
            EntryKind::Shelve {
                alarm,
                hours,
                reason,
            } => self.shelve(alarm, time, *hours, (by, reason), out),
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
                self.reset(alarm, by, out);
                Said::Nothing
            }
            EntryKind::Addition { .. }
            | EntryKind::Impression { .. }
            | EntryKind::Note { .. }
            | EntryKind::Withdrawn { .. } => Said::Nothing,
        }
    }

    /// A shelf is counted from the entry's own time; one whose time is over
    /// already hides nothing.
    fn shelve(
        &mut self,
        alarm: &str,
        time: Timestamp,
        hours: f64,
        (by, reason): (Option<&str>, &str),
        out: &mut Vec<Effect>,
    ) -> Said {
        let until = time + Span::from_millis((hours * 3_600_000.0) as i64);
        if until > self.now {
            let told = told_by(by, Some(reason));
            self.hide(alarm, Hiding::Shelve(until), &told, out);
        }
        Said::Shelved(alarm.to_owned())
    }

    /// Judges a reading at the outlet of a mixer.
    fn check_mixer(
        &mut self,
        name: &str,
        quantity: Quantity,
        value: f64,
        out: &mut Vec<Effect>,
    ) -> Said {
        let Some(mixer) = self.setup.mixers.iter().find(|one| *one.name == *name) else {
            return Said::Nothing;
        };
        let got = self.by_hand(quantity, value);
        let earlier = self.remembered.mixer_ratios(name);
        let check = MixerCheck::new(name, mixer.setting, got, &earlier);
        let (mixer, ratio) = (name.to_owned(), check.ratio());
        self.upkeep.mixer_read(self.now, &check);
        self.journal(JournalBody::MixerChecked(Box::new(check)), out);
        Said::Mixer { mixer, ratio }
    }

    /// An acknowledgement that was superseded has no effect, unless another
    /// one stands.
    fn take_back_acknowledgement(&mut self, said: &Said, by: Option<&str>, out: &mut Vec<Effect>) {
        if let Said::Acknowledged(alarm) = said
            && !self.remembered.acknowledges(alarm)
        {
            self.unacknowledge(alarm, by, out);
        }
    }

    /// A shelf or a way out of service that was superseded has no effect.
    fn take_back_hiding(&mut self, said: &Said, by: Option<&str>, out: &mut Vec<Effect>) {
        match said {
            Said::Shelved(alarm) => self.hide(alarm, Hiding::Unshelve, &told_by(by, None), out),
            Said::OutOfService(alarm) => self.hide(alarm, Hiding::PutBack, &told_by(by, None), out),
            _ => {}
        }
    }
}

/// What is told of a step that a person made.
pub(super) fn told_by<'a>(by: Option<&'a str>, reason: Option<&'a str>) -> Told<'a> {
    Told {
        by,
        reason,
        because: None,
    }
}
