//! The start of work after a stand-still: what is wrong with the mix of many sumps
//! then has one cause, and is one alarm, the plant's, with a list. Meanwhile the
//! sump's own alarms are suppressed by design.
//!
//! On the list is what nobody was told of before, from some hours before work begins
//! (pumps are started before people come) to a while after it. It stays there until
//! it is over, or somebody sets it aside, or the sump is changed; what still stands
//! hours later is told singly, at each sump after a time of its own.

use crate::alarm::{AlarmState, Transition};
use crate::rules::{Charted, Condition};
use crate::units::{Quantity, Span, Timestamp};

use super::alarm_list::AlarmIx;
use super::alarms::Told;
use super::event::Effect;
use super::plant_start_up::ListedAlarm;
use super::suppression::Suppressor;
use super::watch::SumpWatch;

/// Pumps are started up to so long before work begins. (choice: in the evening
/// before an early shift)
const EARLY: Span = Span::from_hours(12);
/// Probes are believed once pumps have run for a while, and limits have a delay
/// besides: what is wrong is raised so long after work began at the latest. (choice)
const LISTED: Span = Span::from_mins(30);
/// What still stands so long after work began is told by itself. (choice: a shift)
const HELD: Span = Span::from_hours(8);
/// And up to so much later, at each sump after a time of its own, or it would be a
/// flood again. (choice)
const SPREAD: Span = Span::from_hours(3);
/// The calendar is looked at this often.
const LOOKED_EVERY: Span = Span::from_hours(1);

/// What of a sump the plant's alarm tells.
#[derive(Debug, Clone, Default)]
pub(super) struct StartUp {
    /// The alarms that are on the plant's list, and since when.
    listed: Vec<(AlarmIx, Timestamp)>,
    /// What the calendar says, from when on until when.
    looked: Option<(Timestamp, Timestamp, Option<Timestamp>)>,
}

impl StartUp {
    /// The alarms that were put on the list, with when.
    pub(super) fn listed(&self) -> impl Iterator<Item = (AlarmIx, Timestamp)> {
        self.listed.iter().copied()
    }

    fn has(&self, alarm: AlarmIx) -> bool {
        self.listed.iter().any(|(listed, _)| *listed == alarm)
    }

    /// Puts an alarm on the list; one that is on it stays as it is.
    pub(super) fn put(&mut self, alarm: AlarmIx, since: Timestamp) {
        if !self.has(alarm) {
            self.listed.push((alarm, since));
        }
    }

    /// The clock had run ahead, and stands at `start` again.
    pub(super) fn pull_back(&mut self, start: Timestamp) {
        for (_, since) in &mut self.listed {
            *since = (*since).min(start);
        }
    }

    /// Takes an alarm off the list.
    pub(super) fn strike(&mut self, alarm: AlarmIx) {
        self.listed.retain(|(listed, _)| *listed != alarm);
    }
}

impl SumpWatch {
    /// What the plant's alarm tells of this sump, in the order of its alarms; what a
    /// worse one of them tells too is left out, and so is all of a sump that is being
    /// filled anew.
    pub fn listed(&self) -> Vec<ListedAlarm> {
        let mut listed: Vec<_> = self.start_up.listed().collect();
        listed.retain(|(alarm, _)| self.is_on_list(*alarm) && !self.is_told_otherwise(*alarm));
        listed.sort_by_key(|(alarm, _)| alarm.0);
        let each = listed.into_iter().map(|(alarm, since)| {
            let (spec, evidence) = (self.alarms.spec(alarm), self.evidence(alarm));
            let began = evidence.since.or(self.alarms.life(alarm).since());
            ListedAlarm {
                id: self.alarm_id(alarm).unwrap_or_default().into(),
                sump: self.setup.name.clone(),
                title: self.setup.title.as_str().into(),
                condition: spec.condition.to_string().into(),
                priority: spec.priority,
                value: evidence.value,
                unit: evidence.unit.map(Into::into),
                limit: evidence.limit,
                since: began.unwrap_or(since),
                listed: since,
            }
        });
        each.collect()
    }

    /// Whether anything of this sump may be on the plant's list.
    pub fn lists_anything(&self) -> bool {
        !self.start_up.listed.is_empty()
    }

    fn is_told_otherwise(&self, alarm: AlarmIx) -> bool {
        let because = self.suppressor(alarm);
        matches!(because, Some(Suppressor::Recharge | Suppressor::Alarm(_)))
    }

    /// Whether the plant's alarm tells of this one.
    pub(super) fn is_on_list(&self, alarm: AlarmIx) -> bool {
        let life = self.alarms.life(alarm);
        self.start_up.has(alarm)
            && life.is_active()
            && life.state() == AlarmState::Suppressed
            && self.is_held()
    }

    /// What is on the list, or now may be put on it, is the plant's to tell.
    pub(super) fn of_start_up(&self, alarm: AlarmIx) -> Option<Suppressor> {
        let theirs = match self.start_up.has(alarm) {
            true => self.is_held(),
            false => self.may_be_listed(alarm) && self.is_starting(),
        };
        theirs.then_some(Suppressor::StartUp)
    }

    /// Whether it tells of the mix, and nobody was told of it or set it aside.
    fn may_be_listed(&self, alarm: AlarmIx) -> bool {
        let life = self.alarms.life(alarm);
        let is_new = match life.state() {
            AlarmState::Suppressed => life.awaits_acknowledgement(),
            AlarmState::Unacknowledged => self.is_raised_now(alarm),
            _ => false,
        };
        is_new && self.setup.start_up && tells_of_mix(&self.alarms.spec(alarm).condition)
    }

    /// Whether work begins after a stand-still about now.
    fn is_starting(&self) -> bool {
        let start = self.start_of_work();
        start.is_some_and(|start| (start - EARLY..=start + LISTED).contains(&self.now))
    }

    /// Whether it began so shortly ago that what is on the list stays there.
    fn is_held(&self) -> bool {
        let own_share = self.own_share("start_up", SPREAD);
        let start = self.start_of_work();
        start.is_some_and(|start| (start - EARLY..start + HELD + own_share).contains(&self.now))
    }

    /// When work began, or soon begins, after a stand-still.
    fn start_of_work(&self) -> Option<Timestamp> {
        match self.start_up.looked {
            Some((from, until, start)) if (from..until).contains(&self.now) => start,
            _ => self.look_for_start(),
        }
    }

    fn look_for_start(&self) -> Option<Timestamp> {
        let shifts = self.setup.shifts.as_ref().filter(|_| self.setup.start_up)?;
        shifts.start_after_long_pause(self.now - HELD - SPREAD, self.now + EARLY + LOOKED_EVERY)
    }

    /// Looks at the calendar, if it is time.
    pub(super) fn follow_start_up(&mut self) {
        let known =
            |(from, until, _): &(Timestamp, Timestamp, _)| (*from..*until).contains(&self.now);
        if !self.start_up.looked.as_ref().is_some_and(known) {
            let until = self.now + LOOKED_EVERY;
            self.start_up.looked = Some((self.now, until, self.look_for_start()));
        }
    }

    /// Whoever comes to the sump finds what is to be put in.
    pub(super) fn put_on_list(&mut self, alarm: AlarmIx, out: &mut Vec<Effect>) {
        self.start_up.put(alarm, self.now);
        let condition = self.condition(alarm);
        if condition.calls_for_dose() {
            self.advise(&condition, out);
        }
    }

    /// What was suppressed for something else is the plant's to tell from now on.
    pub(super) fn go_on_list(&mut self, alarm: AlarmIx, out: &mut Vec<Effect>) {
        if self.start_up.has(alarm) {
            return;
        }
        self.put_on_list(alarm, out);
        let told = Told {
            because: Some(Suppressor::StartUp),
            ..Told::default()
        };
        self.tell(alarm, Transition::Suppressed, &told, out);
    }

    /// What is over, or told by itself by now, is on the list no longer.
    pub(super) fn strike_from_list(&mut self) {
        if !self.lists_anything() {
            return;
        }
        let held = self.is_held();
        let lives = &self.alarms;
        self.start_up.listed.retain(|(alarm, _)| {
            let life = lives.life(*alarm);
            held && life.is_active() && life.is_suppressed()
        });
    }
}

/// Whether it tells of the state of the mix, which a stand-still changes.
fn tells_of_mix(condition: &Condition) -> bool {
    let is_of_mix = |signal: &Quantity| {
        matches!(
            signal,
            Quantity::Concentration | Quantity::Brix | Quantity::Ph | Quantity::Conductivity
        )
    };
    match condition {
        Condition::Limit(signal, _) | Condition::Rate(signal, _) => is_of_mix(signal),
        // Hardness and chloride are foreseen as well as what instruments read.
        Condition::Ahead(signal, _) => {
            is_of_mix(signal) || matches!(signal, Quantity::Hardness | Quantity::Chloride)
        }
        Condition::Shifted(of) => matches!(of, Charted::Concentration | Charted::Ph),
        Condition::Mineral(..)
        | Condition::Excess(_)
        | Condition::Souring(_)
        | Condition::PhDrop(_) => true,
        _ => false,
    }
}
