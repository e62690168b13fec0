//! What came of the steps: when people were told, how long each alarm stood,
//! and how long it was hidden.

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::event::{AlarmEvent, AlarmName, Standing, Step};
use crate::alarm::Priority;
use crate::units::{Span, Timestamp};

/// So much is kept of a course at most; what comes after it is counted only
/// (choice: some hundred megabytes).
const MOST: usize = 1_000_000;

/// People were told of an alarm.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Annunciation {
    /// When.
    pub time: Timestamp,
    /// Of which alarm.
    pub alarm: AlarmName,
    /// How much hurry.
    pub priority: Priority,
}

/// From when on people were told of an alarm, to its return or until it was
/// hidden.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Occurrence {
    /// Which alarm.
    #[serde(flatten)]
    pub alarm: AlarmName,
    /// How much hurry.
    pub priority: Priority,
    /// When it began.
    pub raised: Timestamp,
    /// When somebody took it on.
    pub acknowledged: Option<Timestamp>,
    /// When it ended.
    pub ended: Option<Timestamp>,
    /// Whether it ended because it was hidden.
    pub hidden: bool,
}

impl Occurrence {
    /// How long it stood until `now` at the latest; never negative.
    pub fn stood(&self, now: Timestamp) -> Span {
        let until = self.ended.unwrap_or(now).min(now);
        (until - self.raised).max(Span::ZERO)
    }
}

/// For how long an alarm was hidden.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Hidden {
    /// Which alarm.
    #[serde(flatten)]
    pub alarm: AlarmName,
    /// Shelved, suppressed or out of service.
    pub standing: Standing,
    /// Since when.
    pub from: Timestamp,
    /// Until when; not yet over where there is none.
    pub until: Option<Timestamp>,
    /// Who hid it.
    pub by: Option<Arc<str>>,
}

/// Where an alarm stands at the end of the course.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Present {
    /// Which alarm.
    #[serde(flatten)]
    pub alarm: AlarmName,
    /// How much hurry.
    pub priority: Priority,
    /// Where it stands.
    pub standing: Standing,
    /// Since when it stands there.
    pub since: Timestamp,
    /// Who brought it there, where a person did.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<Arc<str>>,
    /// Why, where a reason was given.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reason: Option<Arc<str>>,
    /// Until when it is shelved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Timestamp>,
}

/// What came of the steps so far. The steps of one alarm must come in their
/// order; those of several alarms may come in any.
#[derive(Debug, Clone, Default)]
pub struct Course {
    annunciations: Vec<Annunciation>,
    occurrences: Vec<Occurrence>,
    hidden: Vec<Hidden>,
    alarms: BTreeMap<AlarmName, Follow>,
    dropped: u64,
}

/// What is followed of one alarm.
#[derive(Debug, Clone)]
struct Follow {
    present: Present,
    /// Place of its newest occurrence.
    occurrence: Option<usize>,
    /// Place of the time for which it is hidden now.
    hidden: Option<usize>,
}

impl Course {
    /// The course of these steps.
    pub fn of(events: impl IntoIterator<Item = AlarmEvent>) -> Self {
        let mut course = Course::default();
        for event in events {
            course.note(&event);
        }
        course
    }

    /// Takes in one step.
    pub fn note(&mut self, event: &AlarmEvent) {
        if self.annunciations.len() + self.occurrences.len() + self.hidden.len() >= MOST {
            self.dropped += 1;
            return;
        }
        let mut follow = self.alarms.remove(&event.alarm).unwrap_or_else(|| Follow {
            present: present(event),
            occurrence: None,
            hidden: None,
        });
        self.tell(event, &mut follow);
        self.stand(event, &mut follow);
        self.hide(event, &mut follow);
        if follow.present.standing != event.standing || event.step == Step::Raised {
            follow.present = present(event);
        }
        self.alarms.insert(event.alarm.clone(), follow);
    }

    /// Whenever people were told, in the order of the steps.
    pub fn annunciations(&self) -> &[Annunciation] {
        &self.annunciations
    }

    /// Each time that an alarm stood, in the order in which they began.
    pub fn occurrences(&self) -> &[Occurrence] {
        &self.occurrences
    }

    /// Each time that an alarm was hidden.
    pub fn hidden(&self) -> &[Hidden] {
        &self.hidden
    }

    /// What is not normal at the end, by name.
    pub fn standing(&self) -> impl Iterator<Item = &Present> {
        let present = self.alarms.values().map(|follow| &follow.present);
        present.filter(|present| present.standing != Standing::Normal)
    }

    /// Steps that were not taken in, because there were too many.
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    fn tell(&mut self, event: &AlarmEvent, follow: &mut Follow) {
        let anew = match event.step {
            Step::Raised => true,
            Step::Shown => event.standing == Standing::Unacknowledged,
            Step::RaisedAgain | Step::Acknowledged | Step::Unacknowledged | Step::Other => false,
        };
        if anew || event.step == Step::RaisedAgain {
            self.annunciations.push(Annunciation {
                time: event.time,
                alarm: event.alarm.clone(),
                priority: event.priority,
            });
        }
        if anew || (event.standing.holds() && follow.occurrence.is_none()) {
            self.begin(event, follow);
        }
    }

    fn begin(&mut self, event: &AlarmEvent, follow: &mut Follow) {
        follow.occurrence = Some(self.occurrences.len());
        self.occurrences.push(Occurrence {
            alarm: event.alarm.clone(),
            priority: event.priority,
            raised: event.time,
            acknowledged: None,
            ended: None,
            hidden: false,
        });
    }

    fn stand(&mut self, event: &AlarmEvent, follow: &mut Follow) {
        let Some(one) = follow
            .occurrence
            .and_then(|ix| self.occurrences.get_mut(ix))
        else {
            return;
        };
        match event.step {
            Step::Acknowledged => one.acknowledged = one.acknowledged.or(Some(event.time)),
            Step::Unacknowledged => one.acknowledged = None,
            Step::Raised | Step::RaisedAgain | Step::Shown | Step::Other => {}
        }
        if event.standing.holds() {
            (one.ended, one.hidden) = (None, false);
        } else if one.ended.is_none() {
            (one.ended, one.hidden) = (Some(event.time), event.standing.is_hidden());
        }
    }

    fn hide(&mut self, event: &AlarmEvent, follow: &mut Follow) {
        if let Some(open) = follow.hidden.and_then(|ix| self.hidden.get_mut(ix)) {
            if open.standing == event.standing {
                return;
            }
            open.until = Some(event.time);
            follow.hidden = None;
        }
        if event.standing.is_hidden() {
            follow.hidden = Some(self.hidden.len());
            self.hidden.push(Hidden {
                alarm: event.alarm.clone(),
                standing: event.standing,
                from: event.time,
                until: None,
                by: event.by.clone(),
            });
        }
    }
}

fn present(event: &AlarmEvent) -> Present {
    Present {
        alarm: event.alarm.clone(),
        priority: event.priority,
        standing: event.standing,
        since: event.time,
        by: event.by.clone(),
        reason: event.reason.clone(),
        until: event.until,
    }
}
