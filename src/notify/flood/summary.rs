//! What a summary tells of a flood. Pure.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use crate::alarm::Priority;
use crate::units::Timestamp;

use super::course::Due;
use super::item::Item;

/// Before the name of a source in conditions.
const SOURCE: &str = "source.";
/// So many alarms with the same condition, and no others, have one cause.
/// Choice: two may be chance.
const ALIKE: usize = 3;

/// A summary.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Summary {
    /// `begin`, `goes_on` or `end`.
    pub phase: &'static str,
    /// When the flood began.
    pub since: Timestamp,
    /// Annunciations in it.
    pub count: usize,
    /// Sumps with annunciations in it.
    pub sumps: usize,
    /// The most hurry among what is new.
    pub worst: Priority,
    /// What may be behind all of it.
    pub cause: Option<CommonCause>,
    /// What is new, the worst first, a sump each.
    pub raised: Vec<Group>,
    /// What is over.
    pub returned: Vec<Group>,
    /// Other steps: acknowledged, shelved and the like.
    pub others: Vec<Group>,
    /// Every step, in the order of their times.
    pub steps: Vec<Item>,
}

/// What may be behind a flood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CommonCause {
    /// `source`: something that brings readings is gone; `alike`: the same
    /// everywhere.
    pub kind: &'static str,
    /// The condition that says so.
    pub condition: String,
    /// Title of the rule of the plant's own, where it is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub own_title: Option<String>,
}

/// Conditions of one sump.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Group {
    /// Its title.
    pub title: String,
    /// The conditions, the worst first.
    pub conditions: Vec<String>,
    /// Titles of the plant's own rules among them, by condition.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub own_titles: BTreeMap<String, String>,
}

impl Summary {
    /// Of these steps.
    pub(super) fn new(due: Due, since: Timestamp, mut steps: Vec<Item>) -> Self {
        steps.sort_by_key(|step| step.time);
        let new = || steps.iter().filter(|step| step.is_new);
        let sumps: BTreeSet<&str> = new().map(|step| step.title.as_str()).collect();
        let of = |returned: bool| {
            let steps = steps.iter().filter(|step| !step.is_new);
            steps.filter(move |step| (step.transition == "returned") == returned)
        };
        Summary {
            phase: match due {
                Due::Begin => "begin",
                Due::GoesOn => "goes_on",
                Due::End => "end",
            },
            since,
            count: new().count(),
            sumps: sumps.len(),
            worst: new()
                .map(|step| step.priority)
                .max()
                .unwrap_or(Priority::Low),
            cause: cause(new()),
            raised: groups(new()),
            returned: groups(of(true)),
            others: groups(of(false)),
            steps,
        }
    }
}

fn cause<'a>(new: impl Iterator<Item = &'a Item> + Clone) -> Option<CommonCause> {
    let of = |kind, step: &Item| {
        Some(CommonCause {
            kind,
            condition: step.condition.clone(),
            own_title: step.own_title.clone(),
        })
    };
    let mut sources = new
        .clone()
        .filter(|step| step.condition.starts_with(SOURCE));
    if let Some(source) = sources.next() {
        return of("source", source);
    }
    let conditions: BTreeSet<&str> = new.clone().map(|step| step.condition.as_str()).collect();
    let mut steps = new.clone();
    match steps.next() {
        Some(first) if conditions.len() == 1 && new.count() >= ALIKE => of("alike", first),
        _ => None,
    }
}

/// By sump, the one with the worst first; each condition once.
fn groups<'a>(steps: impl Iterator<Item = &'a Item>) -> Vec<Group> {
    let mut by_title: BTreeMap<&str, Vec<&Item>> = BTreeMap::new();
    for step in steps {
        by_title.entry(&step.title).or_default().push(step);
    }
    let worst = |steps: &[&Item]| steps.iter().map(|step| step.priority).max();
    let mut all: Vec<(&str, Vec<&Item>)> = by_title.into_iter().collect();
    all.sort_by_key(|(_, steps)| std::cmp::Reverse(worst(steps)));
    let all = all.into_iter().map(|(title, mut steps)| {
        steps.sort_by_key(|step| std::cmp::Reverse(step.priority));
        let mut conditions: Vec<String> = Vec::new();
        let mut own_titles = BTreeMap::new();
        for step in steps {
            if let Some(own) = &step.own_title {
                own_titles.insert(step.condition.clone(), own.clone());
            }
            if !conditions.contains(&step.condition) {
                conditions.push(step.condition.clone());
            }
        }
        Group {
            title: title.to_owned(),
            conditions,
            own_titles,
        }
    });
    all.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::alarm::AlarmState;

    fn step(title: &str, condition: &str, priority: Priority, transition: &str) -> Item {
        Item {
            alarm: format!("{title}/{condition}/1"),
            title: title.to_owned(),
            condition: condition.to_owned(),
            own_title: None,
            priority,
            transition: transition.to_owned(),
            state: AlarmState::Unacknowledged,
            is_new: transition == "raised",
            time: Timestamp::from_millis(0),
            told: false,
        }
    }

    #[test]
    fn the_worst_come_first_and_one_cause_is_named() {
        let steps = vec![
            step("A", "silent.brix", Priority::Low, "raised"),
            step("B", "ph.low", Priority::Medium, "raised"),
            step("B", "concentration.low_low", Priority::High, "raised"),
            step("north", "source.main", Priority::Medium, "raised"),
            step("A", "silent.brix", Priority::Low, "returned"),
            step("B", "ph.low", Priority::Medium, "acknowledged"),
        ];
        let summary = Summary::new(Due::Begin, Timestamp::from_millis(0), steps.clone());
        assert_eq!((summary.count, summary.sumps), (4, 3));
        assert_eq!(summary.worst, Priority::High);
        assert_eq!(summary.raised[0].title, "B");
        assert_eq!(
            summary.raised[0].conditions,
            ["concentration.low_low", "ph.low"]
        );
        assert_eq!(summary.cause.unwrap().condition, "source.main");
        assert_eq!(summary.returned.len(), 1);
        assert_eq!(summary.others[0].conditions, ["ph.low"]);
        // Every step is in it.
        assert_eq!(summary.steps.len(), steps.len());
    }

    #[test]
    fn rules_of_the_plants_own_have_their_titles() {
        let own = Item {
            own_title: Some("Smell after a stand-still".to_owned()),
            ..step("A", "own.smell", Priority::Low, "raised")
        };
        let steps = vec![own; 3];
        let summary = Summary::new(Due::Begin, Timestamp::from_millis(0), steps);
        let titles = &summary.raised[0].own_titles;
        assert_eq!(titles["own.smell"], "Smell after a stand-still");
        let cause = summary.cause.unwrap().own_title;
        assert_eq!(cause.as_deref(), Some("Smell after a stand-still"));
    }

    #[test]
    fn the_same_everywhere_is_a_cause_and_little_is_none() {
        let alike = |count: usize| {
            let steps = (0..count).map(|n| {
                let title = format!("S{n}");
                step(&title, "concentration.low", Priority::Medium, "raised")
            });
            Summary::new(Due::GoesOn, Timestamp::from_millis(0), steps.collect()).cause
        };
        assert_eq!(alike(2), None);
        assert_eq!(alike(3).unwrap().kind, "alike");
        let nothing = Summary::new(Due::End, Timestamp::from_millis(0), Vec::new());
        assert_eq!((nothing.count, nothing.cause), (0, None));
    }
}
