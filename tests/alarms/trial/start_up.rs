//! The plant's alarm about a start after a stand-still, as the product's own watch
//! gives it.

use std::collections::BTreeSet;
use std::sync::Arc;

use sumpward::engine::{
    AdmissionSetup, Effect, JournalBody, ListedAlarm, PlantEvent, PlantSetup, PlantWatch,
    StartUpSetup,
};
use sumpward::units::{Span, Timestamp};

use super::record::Told;

/// An alarm of a sump while the plant's alarm told of it.
#[derive(Debug, Clone)]
pub(crate) struct Listed {
    alarm: ListedAlarm,
    from: Timestamp,
    /// None while it goes on.
    until: Option<Timestamp>,
}

impl Listed {
    /// What is on the list of a sump is this now.
    pub(crate) fn note(all: &mut Vec<Listed>, listed: &[ListedAlarm], now: Timestamp) {
        let is_listed = |of: &Listed| listed.iter().any(|one| one.id == of.alarm.id);
        let open = all.iter_mut().filter(|one| one.until.is_none());
        for one in open.filter(|one| !is_listed(one)) {
            one.until = Some(now);
        }
        for alarm in listed {
            let goes_on = |one: &Listed| one.until.is_none() && one.alarm.id == alarm.id;
            if !all.iter().any(goes_on) {
                all.push(Listed {
                    alarm: alarm.clone(),
                    from: now,
                    until: None,
                });
            }
        }
    }
}

/// A watch over the start alone.
pub(crate) fn plant_watch(start_up: StartUpSetup, start: Timestamp) -> PlantWatch {
    let setup = PlantSetup {
        start_up: Some(start_up),
        ..PlantSetup::default()
    };
    let admission = AdmissionSetup {
        future_skew: Span::from_mins(1),
        oldest: Span::from_hours(24),
        late_after: Span::from_mins(2),
    };
    PlantWatch::new(Arc::new(setup), admission, start)
}

/// The alarms of a plant of these sumps, whatever their names; nobody takes one on.
pub(crate) fn plant_alarms<'a>(
    start_up: StartUpSetup,
    sumps: impl Iterator<Item = &'a [Listed]>,
    end: Timestamp,
) -> Vec<Told> {
    let named = |(place, listed): (usize, &'a [Listed])| {
        listed.iter().map(move |one| {
            let sump: Arc<str> = format!("{place}-{}", one.alarm.sump).into();
            let id: Arc<str> = format!("{place}-{}", one.alarm.id).into();
            let alarm = ListedAlarm {
                id,
                sump,
                ..one.alarm.clone()
            };
            Listed {
                alarm,
                ..one.clone()
            }
        })
    };
    let all: Vec<Listed> = sumps.enumerate().flat_map(named).collect();
    let begins = all.iter().map(|one| one.from);
    let ends = all.iter().filter_map(|one| one.until);
    let times: BTreeSet<Timestamp> = begins.chain(ends).chain([end]).collect();
    let first = times.first().copied().unwrap_or(end);
    let (mut watch, mut effects) = (plant_watch(start_up, first), Vec::new());
    for time in times {
        let is_on = |one: &&Listed| one.from <= time && one.until.is_none_or(|until| time < until);
        let listed = all.iter().filter(is_on).map(|one| one.alarm.clone());
        let listed = listed.collect();
        watch.step(&PlantEvent::StartUp { time, listed }, &mut effects);
    }
    told(&effects)
}

fn told(effects: &[Effect]) -> Vec<Told> {
    let mut told: Vec<Told> = Vec::new();
    for effect in effects {
        let Effect::Journal(line) = effect else {
            continue;
        };
        let JournalBody::Alarm(alarm) = &line.body else {
            continue;
        };
        if alarm.transition.annunciates(alarm.state) {
            let list = alarm.start_up.as_ref();
            let beside = list.map(|list| format!("{} sumps", list.sumps));
            told.push(Told {
                id: alarm.id.clone(),
                condition: alarm.condition.to_string(),
                priority: Some(alarm.priority),
                time: line.time,
                acknowledged: None,
                returned: None,
                listed: None,
                again: false,
                hidden: Vec::new(),
                beside: beside.unwrap_or_default(),
            });
        } else if !alarm.state.holds() {
            for one in &mut told {
                one.returned.get_or_insert(line.time);
            }
        }
    }
    told
}
