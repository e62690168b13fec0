//! Alarms that stood when the settings stopped watching for them.
//!
//! Nothing would ever end them: their condition is judged no more. They are closed
//! in the journal at the start with the new settings, so that whoever was told
//! hears of it, nobody is told next, and the figures count them no longer.
//! Removing an alarm is no step of the state diagram: ISA-18.2 has it as a change
//! that is managed and recorded (memory).

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::alarm::{AlarmLife, AlarmState, Priority, Transition};
use crate::rules::Condition;
use crate::units::Timestamp;

use super::event::Effect;
use super::journal::{AlarmLine, JournalBody, JournalRecord};
use super::plant_setup::PLANT;
use super::plant_snapshot::PlantSnapshot;
use super::plant_watch::PlantWatch;
use super::snapshot::SumpSnapshot;
use super::watch::SumpWatch;

/// An alarm that was not normal when its watch was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptAlarm {
    condition: Condition,
    life: AlarmLife,
}

impl KeptAlarm {
    /// What is wrong.
    pub fn condition(&self) -> &Condition {
        &self.condition
    }

    /// When it was raised; nothing of one that was taken out of service before it
    /// ever was.
    pub fn raised(&self) -> Option<Timestamp> {
        self.life.raised()
    }

    /// The line that closes it at `time`. Of what was suppressed nobody was told,
    /// and nobody hears of its end.
    fn closed(
        &self,
        (sump, seq): (&Arc<str>, u64),
        priority: Priority,
        time: Timestamp,
    ) -> JournalRecord {
        let transition = match self.life.state() {
            AlarmState::Suppressed => Transition::Unsuppressed,
            _ => Transition::Removed,
        };
        let id = self
            .raised()
            .map(|raised| format!("{sump}/{}/{raised}", self.condition));
        JournalRecord {
            time,
            sump: Arc::clone(sump),
            seq,
            body: JournalBody::Alarm(AlarmLine {
                id: id.unwrap_or_default(),
                condition: self.condition.clone(),
                priority,
                transition,
                state: AlarmState::Normal,
                since: self.life.since().unwrap_or(time),
                value: None,
                unit: None,
                limit: None,
                window: None,
                signal: None,
                by: None,
                reason: None,
                because: None,
                own: None,
                until: None,
                silent_with: Vec::new(),
                instrument: None,
                source: None,
                stock: None,
                forward: None,
                disk: None,
                start_up: None,
                advice: None,
                evidence: None,
            }),
        }
    }
}

/// Those that were not normal. A condition that this version does not know is
/// passed over.
fn standing(alarms: &BTreeMap<String, AlarmLife>) -> Vec<KeptAlarm> {
    let standing = alarms
        .iter()
        .filter(|(_, life)| life.state() != AlarmState::Normal);
    let kept = standing.filter_map(|(name, life)| {
        Some(KeptAlarm {
            condition: Condition::named(name)?,
            life: *life,
        })
    });
    kept.collect()
}

impl SumpSnapshot {
    /// The alarms that were not normal.
    pub fn standing(&self) -> Vec<KeptAlarm> {
        standing(&self.alarms)
    }

    /// The sump is in the settings no more: closes at `time` what stood, and what is
    /// kept has no alarms any longer. `priority` says how much hurry each had.
    pub fn close_all(
        &mut self,
        sump: &Arc<str>,
        time: Timestamp,
        mut priority: impl FnMut(&KeptAlarm) -> Priority,
        out: &mut Vec<Effect>,
    ) {
        for kept in self.standing() {
            self.seq += 1;
            let line = kept.closed((sump, self.seq), priority(&kept), time);
            out.push(Effect::Journal(Box::new(line)));
        }
        self.alarms.clear();
        self.listed.clear();
    }
}

impl PlantSnapshot {
    /// The alarms that were not normal.
    pub fn standing(&self) -> Vec<KeptAlarm> {
        standing(&self.alarms)
    }
}

impl SumpWatch {
    /// Closes at `time` those of what stood that the settings know no more, and takes
    /// back the advice that nothing calls for any longer. `priority` says how much
    /// hurry each had.
    pub fn close_removed(
        &mut self,
        stood: &[KeptAlarm],
        time: Timestamp,
        mut priority: impl FnMut(&KeptAlarm) -> Priority,
        out: &mut Vec<Effect>,
    ) {
        let time = time.max(self.now);
        for kept in stood {
            if self.alarms.named(&kept.condition.to_string()).is_some() {
                continue;
            }
            self.seq += 1;
            let line = kept.closed((&self.setup.name, self.seq), priority(kept), time);
            out.push(Effect::Journal(Box::new(line)));
            if kept.condition.calls_for_dose() {
                self.withdraw_if_idle(out);
            }
        }
    }
}

impl PlantWatch {
    /// Closes at `time` those of what stood that the settings know no more.
    /// `priority` says how much hurry each had.
    pub fn close_removed(
        &mut self,
        stood: &[KeptAlarm],
        time: Timestamp,
        mut priority: impl FnMut(&KeptAlarm) -> Priority,
        out: &mut Vec<Effect>,
    ) {
        let time = time.max(self.now);
        for kept in stood {
            if self
                .alarms
                .iter()
                .any(|alarm| alarm.condition == kept.condition)
            {
                continue;
            }
            self.seq += 1;
            let line = kept.closed((&PLANT.into(), self.seq), priority(kept), time);
            out.push(Effect::Journal(Box::new(line)));
        }
    }
}
