//! What a summary tells of the time in which nobody was there. Pure.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use serde::Serialize;

use crate::alarm::{AlarmState, Priority};
use crate::notify::flood::Item;
use crate::units::Timestamp;

/// A summary.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct AwaySummary {
    /// `away`.
    pub phase: &'static str,
    /// When the first of it happened.
    pub since: Timestamp,
    /// Alarms that it tells of, each occurrence by itself.
    pub count: usize,
    /// Of these, how many still stand.
    pub stand: usize,
    /// How many came and went.
    pub went: usize,
    /// The most hurry of what stands.
    pub worst: Option<Priority>,
    /// What still stands, the worst first.
    pub standing: Vec<Place>,
    /// What was raised and is over, the worst first.
    pub came_and_went: Vec<Place>,
    /// What was told before, and is over.
    pub over: Vec<Place>,
    /// What somebody has set aside: shelved, or out of service.
    pub set_aside: Vec<Place>,
    /// Every step, in the order in which they were held back.
    pub steps: Vec<Item>,
}

/// What is told of one sump.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Place {
    /// Its title.
    pub title: String,
    /// Its conditions, the worst first.
    pub conditions: Vec<Counted>,
}

/// What is told of one condition.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Counted {
    /// The condition.
    pub condition: String,
    /// Title of the rule of the plant's own that says so.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own_title: Option<String>,
    /// Where its last alarm stands.
    pub state: AlarmState,
    /// How many alarms of it there were.
    pub count: usize,
}

/// One occurrence of an alarm: its last step, and whether it was raised meanwhile.
struct Occurrence<'a> {
    last: &'a Item,
    is_new: bool,
}

/// How an occurrence stands in the end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    Stands,
    CameAndWent,
    Over,
    SetAside,
}

impl Occurrence<'_> {
    fn end(&self) -> End {
        match self.last.state {
            AlarmState::Unacknowledged
            | AlarmState::Acknowledged
            | AlarmState::LatchedUnacknowledged
            | AlarmState::LatchedAcknowledged => End::Stands,
            AlarmState::Normal | AlarmState::ReturnedUnacknowledged if self.is_new => {
                End::CameAndWent
            }
            AlarmState::Normal | AlarmState::ReturnedUnacknowledged => End::Over,
            AlarmState::Shelved | AlarmState::Suppressed | AlarmState::OutOfService => {
                End::SetAside
            }
        }
    }
}

impl AwaySummary {
    /// Of these steps, in the order in which they were held back, told at `now`.
    pub(super) fn new(steps: Vec<Item>, now: Timestamp) -> Self {
        let all = occurrences(&steps);
        let of = |end: End| all.iter().filter(move |one| one.end() == end);
        let since = steps.iter().map(|step| step.time).min();
        AwaySummary {
            phase: "away",
            since: since.unwrap_or(now),
            count: all.len(),
            stand: of(End::Stands).count(),
            went: of(End::CameAndWent).count(),
            worst: of(End::Stands).map(|one| one.last.priority).max(),
            standing: places(of(End::Stands)),
            came_and_went: places(of(End::CameAndWent)),
            over: places(of(End::Over)),
            set_aside: places(of(End::SetAside)),
            steps,
        }
    }

    /// The last step of each alarm that stands and asks for somebody, the worst
    /// first.
    pub(super) fn asking(&self) -> impl Iterator<Item = &Item> {
        let all = occurrences(&self.steps).into_iter();
        let asking = all.filter(|one| one.end() == End::Stands && one.last.state.asks());
        let mut asking: Vec<&Item> = asking.map(|one| one.last).collect();
        asking.sort_by_key(|item| Reverse(item.priority));
        asking.into_iter()
    }
}

/// The occurrences in the order of their first steps.
fn occurrences(steps: &[Item]) -> Vec<Occurrence<'_>> {
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    let mut all: Vec<Occurrence<'_>> = Vec::new();
    for step in steps {
        let place = *places.entry(&step.alarm).or_insert(all.len());
        match all.get_mut(place) {
            Some(known) => {
                known.last = step;
                known.is_new |= step.is_new;
            }
            None => all.push(Occurrence {
                last: step,
                is_new: step.is_new,
            }),
        }
    }
    all
}

/// By sump, the one with the worst first; each condition once.
fn places<'a>(occurrences: impl Iterator<Item = &'a Occurrence<'a>>) -> Vec<Place> {
    let mut by_title: BTreeMap<&str, Vec<&Item>> = BTreeMap::new();
    for one in occurrences {
        by_title.entry(&one.last.title).or_default().push(one.last);
    }
    let worst = |items: &[&Item]| items.iter().map(|item| item.priority).max();
    let mut all: Vec<(&str, Vec<&Item>)> = by_title.into_iter().collect();
    all.sort_by_key(|(_, items)| Reverse(worst(items)));
    let all = all.into_iter().map(|(title, mut items)| {
        items.sort_by_key(|item| Reverse(item.priority));
        Place {
            title: title.to_owned(),
            conditions: conditions(&items),
        }
    });
    all.collect()
}

fn conditions(items: &[&Item]) -> Vec<Counted> {
    let mut told: Vec<Counted> = Vec::new();
    for item in items {
        match told.iter_mut().find(|one| one.condition == item.condition) {
            Some(known) => {
                known.count += 1;
                known.state = item.state;
                let own = known.own_title.take();
                known.own_title = own.or_else(|| item.own_title.clone());
            }
            None => told.push(Counted {
                condition: item.condition.clone(),
                own_title: item.own_title.clone(),
                state: item.state,
                count: 1,
            }),
        }
    }
    told
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn step(alarm: &str, priority: Priority, transition: &str, state: AlarmState) -> Item {
        let (title, rest) = alarm.split_once('/').unwrap();
        Item {
            alarm: alarm.to_owned(),
            title: title.to_owned(),
            condition: rest.rsplit_once('/').unwrap().0.to_owned(),
            own_title: None,
            priority,
            transition: transition.to_owned(),
            state,
            is_new: transition == "raised",
            time: Timestamp::from_millis(7),
            told: false,
        }
    }

    fn raised(alarm: &str, priority: Priority) -> Item {
        step(alarm, priority, "raised", AlarmState::Unacknowledged)
    }

    fn returned(alarm: &str) -> Item {
        let state = AlarmState::ReturnedUnacknowledged;
        step(alarm, Priority::Medium, "returned", state)
    }

    #[test]
    fn what_stands_comes_first_the_worst_before_and_the_rest_by_how_it_ended() {
        let acknowledged = AlarmState::Acknowledged;
        let summary = AwaySummary::new(
            vec![
                raised("A/ph.low/1", Priority::Low),
                raised("B/ph.low/1", Priority::Medium),
                returned("B/ph.low/1"),
                raised("B/ph.low/2", Priority::Medium),
                returned("B/ph.low/2"),
                returned("C/loss/1"),
                raised("D/concentration.low/1", Priority::Medium),
                step(
                    "D/concentration.low/1",
                    Priority::Medium,
                    "acknowledged",
                    acknowledged,
                ),
                raised("E/silent.brix/1", Priority::Low),
                step(
                    "E/silent.brix/1",
                    Priority::Low,
                    "shelved",
                    AlarmState::Shelved,
                ),
            ],
            Timestamp::from_millis(9),
        );
        assert_eq!((summary.count, summary.stand, summary.went), (6, 2, 2));
        assert_eq!(summary.worst, Some(Priority::Medium));
        let titles = |places: &[Place]| -> Vec<String> {
            places.iter().map(|place| place.title.clone()).collect()
        };
        assert_eq!(titles(&summary.standing), ["D", "A"]);
        assert_eq!(summary.standing[0].conditions[0].state, acknowledged);
        assert_eq!(titles(&summary.came_and_went), ["B"]);
        assert_eq!(summary.came_and_went[0].conditions[0].count, 2);
        assert_eq!(titles(&summary.over), ["C"]);
        assert_eq!(titles(&summary.set_aside), ["E"]);
        assert_eq!(summary.steps.len(), 10);
        // D is taken on already.
        let asking: Vec<&str> = summary.asking().map(|item| item.alarm.as_str()).collect();
        assert_eq!(asking, ["A/ph.low/1"]);
    }

    proptest! {
        /// Whatever was held back: each alarm stands in one of the four lists, and
        /// once for each occurrence.
        #[test]
        fn every_alarm_is_named_once(
            steps in prop::collection::vec((0usize..6, 0usize..3, 0usize..9), 1..60),
        ) {
            let states = [
                AlarmState::Normal,
                AlarmState::Unacknowledged,
                AlarmState::Acknowledged,
                AlarmState::ReturnedUnacknowledged,
                AlarmState::LatchedUnacknowledged,
                AlarmState::LatchedAcknowledged,
                AlarmState::Shelved,
                AlarmState::Suppressed,
                AlarmState::OutOfService,
            ];
            let steps = steps.into_iter().map(|(sump, occurrence, state)| {
                let alarm = format!("s{sump}/ph.low/{occurrence}");
                let transition = if state == 1 { "raised" } else { "other" };
                step(&alarm, Priority::Medium, transition, states[state])
            });
            let summary = AwaySummary::new(steps.collect(), Timestamp::from_millis(9));
            let lists = [
                &summary.standing,
                &summary.came_and_went,
                &summary.over,
                &summary.set_aside,
            ];
            let named = |title: &str| -> usize {
                let places = lists.iter().flat_map(|list| list.iter());
                let of_title = places.filter(|place| place.title == title);
                of_title.flat_map(|place| &place.conditions).map(|one| one.count).sum()
            };
            for sump in 0..6 {
                let title = format!("s{sump}");
                let of_sump = summary.steps.iter().filter(|step| step.title == title);
                let alarms: std::collections::BTreeSet<&str> =
                    of_sump.map(|step| step.alarm.as_str()).collect();
                prop_assert_eq!(named(&title), alarms.len());
            }
        }
    }
}
