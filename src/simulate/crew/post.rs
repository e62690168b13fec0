//! What the crew has in mind about one sump.

use std::collections::{BTreeMap, VecDeque};

use crate::simulate::plant::{Channel, SumpSpec};
use crate::simulate::random::Random;
use crate::units::{Span, Timestamp};

use super::message::{Advice, AlarmMessage, AlarmState};
use super::{CrewAction, Task};

/// Minutes from a message to the crew's being at the sump.
const REACTION_MIN: (f64, f64) = (20.0, 40.0);
/// Minutes from an alarm to its acknowledgement.
const ACKNOWLEDGE_MIN: (f64, f64) = (8.0, 12.0);
/// Minutes from the hand reading to each step that may follow it.
const CLEAN_AFTER: Span = Span::from_mins(4);
const REPAIR_AFTER: Span = Span::from_mins(4);
const DRAIN_AFTER: Span = Span::from_mins(8);
const ADD_AFTER: Span = Span::from_mins(14);

/// Inline and hand refractometer may differ by so much, °Bx (memory).
const HAND_TOLERANCE_BRIX: f64 = 0.3;

/// So many pieces of advice that were followed or turned down are remembered.
const DONE_REMEMBERED: usize = 64;

/// One sump, as the crew sees it.
#[derive(Debug, Clone)]
pub(super) struct Post {
    spec: &'static SumpSpec,
    /// Ids of the alarms that stand, by condition.
    standing: BTreeMap<String, String>,
    /// The concentration that the newest word of such an alarm gave, %.
    alarmed_pct: Option<f64>,
    newest: Option<Advice>,
    done: VecDeque<String>,
    plans: Vec<CrewAction>,
}

impl Post {
    pub(super) fn new(spec: &'static SumpSpec) -> Self {
        Post {
            spec,
            standing: BTreeMap::new(),
            alarmed_pct: None,
            newest: None,
            done: VecDeque::new(),
            plans: Vec::new(),
        }
    }

    pub(super) fn hear_alarm(&mut self, alarm: AlarmMessage, now: Timestamp, chance: &mut Random) {
        match alarm.state {
            AlarmState::Unacknowledged => self.take_up(&alarm, now, chance),
            AlarmState::Normal | AlarmState::ReturnedUnacknowledged => self.put_down(&alarm),
            AlarmState::Acknowledged | AlarmState::Other => {}
        }
        self.note_concentration(&alarm);
        if let Some(advice) = alarm.advice {
            self.hear_advice(advice, now, chance);
        }
    }

    fn take_up(&mut self, alarm: &AlarmMessage, now: Timestamp, chance: &mut Random) {
        let known = self
            .standing
            .insert(alarm.condition.clone(), alarm.id.clone());
        if known.as_ref() == Some(&alarm.id) {
            return;
        }
        let task = Task::Acknowledge {
            alarm: alarm.id.clone(),
        };
        self.plan(now + minutes(chance, ACKNOWLEDGE_MIN), task);
        let there = now + minutes(chance, REACTION_MIN);
        let (what, which) = halves(&alarm.condition);
        match (what, Channel::named(which)) {
            ("silent", Some(channel)) => self.plan(there, Task::ReconnectProbe { channel }),
            ("disagrees", Some(channel)) => self.plan(there, Task::CleanProbe { channel }),
            _ if asks_for_dose(&alarm.condition) => self.plan(there, Task::HandReading),
            _ => {}
        }
    }

    fn note_concentration(&mut self, alarm: &AlarmMessage) {
        let of_concentration = |condition: &str| halves(condition).0 == "concentration";
        if !self.standing.keys().any(|c| of_concentration(c)) {
            self.alarmed_pct = None;
        } else if self.standing.contains_key(&alarm.condition) && of_concentration(&alarm.condition)
        {
            self.alarmed_pct = alarm.value.or(self.alarmed_pct);
        }
    }

    fn put_down(&mut self, alarm: &AlarmMessage) {
        self.standing.remove(&alarm.condition);
        let back_to_normal = alarm.state == AlarmState::Normal;
        let no_dose = !self.standing.keys().any(|c| asks_for_dose(c));
        let (what, which) = halves(&alarm.condition);
        let ended = Channel::named(which);
        self.plans.retain(|plan| match &plan.task {
            Task::Acknowledge { alarm: id } => !(back_to_normal && *id == alarm.id),
            Task::HandReading => !no_dose,
            Task::ReconnectProbe { channel } => !(what == "silent" && ended == Some(*channel)),
            Task::CleanProbe { channel } => !(what == "disagrees" && ended == Some(*channel)),
            _ => true,
        });
    }

    /// Advice that is new replaces any older one, unless a dose is just being
    /// given: advice from the middle of it knows only half of the work.
    pub(super) fn hear_advice(&mut self, advice: Advice, now: Timestamp, chance: &mut Random) {
        if self.done.contains(&advice.id) || self.is_dosing() {
            return;
        }
        let next_step = advice.dose.is_some_and(|dose| dose.step > 1);
        let asked_for = next_step || self.standing.keys().any(|c| asks_for_dose(c));
        let wanted = advice.dose.is_some() && asked_for;
        let news = self.newest.as_ref().is_none_or(|old| old.id != advice.id);
        self.newest = Some(advice);
        if wanted && news {
            self.plan(now + minutes(chance, REACTION_MIN), Task::HandReading);
        }
    }

    /// With the hand reading taken, the crew decides: a probe that reads
    /// something else is cleaned and nothing dosed; otherwise the newest advice
    /// is followed to the letter.
    pub(super) fn measured(&mut self, hand_brix: f64, now: Timestamp) {
        let Some(advice) = self.newest.take() else {
            if self.disagrees(hand_brix) {
                self.plan(now + CLEAN_AFTER, clean_refractometer());
            }
            return;
        };
        if self.disagrees(hand_brix) {
            self.plan(now + CLEAN_AFTER, clean_refractometer());
        } else if advice.dose.is_some() {
            self.follow(&advice, now);
        } else {
            self.newest = Some(advice);
            return;
        }
        self.remember_done(advice.id);
    }

    /// Whether the concentration that was alarmed last lies too far from the
    /// hand reading.
    fn disagrees(&self, hand_brix: f64) -> bool {
        let by_hand = (hand_brix - self.spec.water_zero_brix) * self.spec.fluid.factor;
        let tolerance = HAND_TOLERANCE_BRIX * self.spec.fluid.factor;
        self.alarmed_pct
            .is_some_and(|alarmed| (alarmed - by_hand).abs() > tolerance)
    }

    fn follow(&mut self, advice: &Advice, now: Timestamp) {
        let Some(dose) = advice.dose else { return };
        if self
            .standing
            .keys()
            .any(|c| c.starts_with("concentration.low"))
        {
            self.plan(now + REPAIR_AFTER, Task::RepairMixer);
        }
        if dose.drain_l > 0.0 {
            let task = Task::Drain {
                litres: dose.drain_l,
                advice: advice.id.clone(),
            };
            self.plan(now + DRAIN_AFTER, task);
        }
        if let Some((litres, strength_pct)) = dose.addition() {
            let task = Task::Add {
                litres,
                strength_pct,
                advice: advice.id.clone(),
            };
            self.plan(now + ADD_AFTER, task);
        }
    }

    fn is_dosing(&self) -> bool {
        self.plans
            .iter()
            .any(|plan| matches!(plan.task, Task::Drain { .. } | Task::Add { .. }))
    }

    /// Plans a task, unless it is planned already or a dose makes the way
    /// there needless.
    fn plan(&mut self, due: Timestamp, task: Task) {
        let planned = self.plans.iter().any(|plan| plan.task == task);
        let needless = task == Task::HandReading && self.is_dosing();
        if !planned && !needless {
            self.plans.push(CrewAction {
                due,
                sump: self.spec.name,
                task,
            });
        }
    }

    fn remember_done(&mut self, advice: String) {
        if self.done.len() == DONE_REMEMBERED {
            self.done.pop_front();
        }
        self.done.push_back(advice);
    }

    /// Moves what is due by `now` to `to`.
    pub(super) fn due(&mut self, now: Timestamp, to: &mut Vec<CrewAction>) {
        to.extend(self.plans.extract_if(.., |plan| plan.due <= now));
    }

    pub(super) fn next_due(&self) -> Option<Timestamp> {
        self.plans.iter().map(|plan| plan.due).min()
    }
}

fn clean_refractometer() -> Task {
    Task::CleanProbe {
        channel: Channel::Brix,
    }
}

/// The two halves of a condition such as `silent.brix`.
fn halves(condition: &str) -> (&str, &str) {
    condition.split_once('.').unwrap_or((condition, ""))
}

/// Conditions that a dose can mend.
fn asks_for_dose(condition: &str) -> bool {
    matches!(halves(condition), ("concentration" | "volume", _))
}

/// A time between two numbers of minutes.
fn minutes(chance: &mut Random, (low, high): (f64, f64)) -> Span {
    Span::from_millis((chance.between(low, high) * 60_000.0) as i64)
}
