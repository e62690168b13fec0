//! The plant's alarm about a start after a stand-still.

use std::collections::{BTreeMap, BTreeSet};

use proptest::prelude::*;

use super::*;

const HALF_AN_HOUR: i64 = 30;

fn setup() -> Arc<PlantSetup> {
    Arc::new(PlantSetup {
        start_up: Some(StartUpSetup {
            priority: Priority::High,
            manner: AlarmManner {
                on: Span::from_mins(HALF_AN_HOUR),
                ..AlarmManner::default()
            },
        }),
        ..PlantSetup::default()
    })
}

struct Plant {
    watch: PlantWatch,
    effects: Vec<Effect>,
}

/// One of a sump, listed at a minute; the value is of pH.
fn listed(sump: &str, at: i64, value: f64) -> ListedAlarm {
    ListedAlarm {
        id: format!("{sump}/ph.low_low/{at}").into(),
        sump: sump.into(),
        title: format!("The {sump}").into(),
        condition: "ph.low_low".into(),
        priority: Priority::High,
        value: Some(value),
        unit: Some("pH".into()),
        limit: Some(8.0),
        since: minute(at - 10),
        listed: minute(at),
    }
}

impl Plant {
    fn new() -> Self {
        Plant {
            watch: PlantWatch::new(setup(), ADMISSION, minute(0)),
            effects: Vec::new(),
        }
    }

    /// As the daemon tells it: every half minute.
    fn lists(&mut self, minutes: std::ops::Range<i64>, listed: &[ListedAlarm]) {
        for half in 2 * minutes.start..2 * minutes.end {
            let event = PlantEvent::StartUp {
                time: minute(0) + Span::from_secs(30 * half),
                listed: listed.to_vec(),
            };
            self.watch.step(&event, &mut self.effects);
        }
    }

    fn restart(&mut self) {
        let kept = serde_json::to_string(&self.watch.snapshot()).unwrap();
        let kept = serde_json::from_str(&kept).unwrap();
        let now = self.watch.now();
        self.watch = PlantWatch::restore(setup(), ADMISSION, kept);
        self.watch.listen_from(now);
    }

    fn enter(&mut self, id: &str, at: i64, kind: EntryKind) {
        let entry = Entry {
            id: id.to_owned(),
            time: minute(at),
            sump: PLANT.to_owned(),
            by: None,
            supersedes: None,
            kind,
        };
        let event = PlantEvent::Entry(Box::new(entry), minute(at));
        self.watch.step(&event, &mut self.effects);
    }

    fn lines(&self) -> Vec<(Timestamp, &AlarmLine)> {
        let lines = self.effects.iter().filter_map(|effect| match effect {
            Effect::Journal(record) => match &record.body {
                JournalBody::Alarm(line) => Some((record.time, line)),
                _ => None,
            },
            _ => None,
        });
        lines.collect()
    }

    fn steps(&self) -> Vec<(Timestamp, Transition)> {
        let lines = self.lines().into_iter();
        lines.map(|(time, line)| (time, line.transition)).collect()
    }
}

#[test]
fn many_sour_sumps_are_one_alarm_with_a_list_until_nothing_is_on_it() {
    let mut plant = Plant::new();
    let [a, b, c] = [("a", 10, 7.8), ("b", 12, 7.2), ("c", 25, 7.5)]
        .map(|(sump, at, value)| listed(sump, at, value));
    plant.lists(10..12, std::slice::from_ref(&a));
    plant.lists(12..25, &[a.clone(), b.clone()]);
    plant.restart();
    plant.lists(25..120, &[a, b.clone(), c]);
    plant.lists(120..180, &[b]);
    plant.lists(180..181, &[]);
    assert_eq!(
        plant.steps(),
        [
            (minute(40), Transition::Raised),
            (minute(180), Transition::Returned)
        ]
    );
    let raised = plant.lines()[0].1;
    assert_eq!(raised.condition.to_string(), "start_up");
    assert_eq!(raised.priority, Priority::High);
    let list = raised.start_up.as_ref().unwrap();
    let order: Vec<&str> = list.alarms.iter().map(|one| &*one.sump).collect();
    assert_eq!((order, list.sumps, list.more), (vec!["b", "c", "a"], 3, 0));
    let advice = raised.advice.as_ref().unwrap();
    assert!(advice.dose.is_none());
    assert!(advice.cautions.contains(&crate::advice::Caution::Biocide));
    assert_eq!(plant.lines()[1].1.start_up, None);
}

#[test]
fn what_a_later_shift_adds_is_told_once_more_and_all_of_it_together() {
    let mut plant = Plant::new();
    let first = listed("a", 10, 7.8);
    plant.lists(10..60, std::slice::from_ref(&first));
    let id = plant.watch.alarms_shown()[0].id.clone();
    plant.enter("seen", 61, EntryKind::Acknowledge { alarm: id });
    let second = listed("b", 70, 7.8);
    plant.lists(70..80, &[first.clone(), second.clone()]);
    let all = [first, second, listed("c", 80, 7.8)];
    plant.lists(80..95, &all);
    plant.restart();
    plant.lists(95..400, &all);
    assert_eq!(
        plant.steps(),
        [
            (minute(40), Transition::Raised),
            (minute(61), Transition::Acknowledged),
            (minute(100), Transition::RaisedAgain)
        ]
    );
    let again = plant.lines()[2].1;
    assert_eq!(again.state, AlarmState::Unacknowledged);
    assert_eq!(again.start_up.as_ref().unwrap().sumps, 3);
}

#[test]
fn while_it_is_shelved_what_is_added_is_not_told() {
    let mut plant = Plant::new();
    plant.lists(10..60, &[listed("a", 10, 7.8)]);
    let shelve = EntryKind::Shelve {
        alarm: "start_up".into(),
        hours: 140.0 / 60.0,
        reason: "all hands on it".into(),
    };
    plant.enter("aside", 60, shelve);
    let both = [listed("a", 10, 7.8), listed("b", 70, 7.8)];
    plant.lists(70..300, &both);
    let steps: Vec<Transition> = plant.steps().into_iter().map(|step| step.1).collect();
    let expected = [
        Transition::Raised,
        Transition::Shelved,
        Transition::Unshelved,
    ];
    assert_eq!(steps, expected);
    let back = plant.lines()[2].1;
    assert_eq!(back.start_up.as_ref().unwrap().sumps, 2);
}

#[test]
fn what_is_over_before_its_time_is_not_told_and_the_next_start_begins_anew() {
    let mut plant = Plant::new();
    plant.lists(10..30, &[listed("a", 10, 7.8)]);
    plant.lists(30..60, &[]);
    assert_eq!(plant.steps(), []);
    plant.lists(10_000..10_060, &[listed("a", 10_000, 7.8)]);
    assert_eq!(plant.steps(), [(minute(10_030), Transition::Raised)]);
}

#[test]
fn a_list_of_thousands_is_told_as_far_as_can_be_and_the_rest_is_counted() {
    let mut plant = Plant::new();
    let all: Vec<_> = (0..1200)
        .map(|n| listed(&format!("m-{n}"), 10, 7.0))
        .collect();
    plant.lists(10..11, &all);
    plant.lists(40..41, &all);
    let list = plant.lines()[0].1.start_up.clone().unwrap();
    assert_eq!((list.sumps, list.alarms.len(), list.more), (1200, 500, 700));
}

#[test]
fn without_its_alarm_a_list_is_passed_over() {
    let mut watch = PlantWatch::new(Arc::default(), ADMISSION, minute(0));
    let mut effects = Vec::new();
    for at in [10, 60] {
        let event = PlantEvent::StartUp {
            time: minute(at),
            listed: vec![listed("a", 10, 7.8)],
        };
        watch.step(&event, &mut effects);
    }
    assert!(effects.is_empty());
}

#[test]
fn of_a_sump_that_people_know_of_only_what_is_worse_is_told_again() {
    let mut plant = Plant::new();
    let medium = ListedAlarm {
        priority: Priority::Medium,
        condition: "ph.low".into(),
        ..listed("a", 10, 8.2)
    };
    let lesser = ListedAlarm {
        id: "a/conductivity.high/50".into(),
        priority: Priority::Low,
        listed: minute(50),
        ..medium.clone()
    };
    plant.lists(10..60, std::slice::from_ref(&medium));
    plant.lists(60..200, &[medium.clone(), lesser.clone()]);
    assert_eq!(plant.steps(), [(minute(40), Transition::Raised)]);
    let worse = listed("a", 200, 7.5);
    plant.lists(200..400, &[medium.clone(), lesser, worse]);
    // What went and comes back is known.
    plant.lists(400..500, &[listed("b", 12, 7.0)]);
    plant.lists(500..600, &[medium]);
    let steps = plant.steps();
    assert_eq!(
        steps[1..],
        [
            (minute(230), Transition::RaisedAgain),
            (minute(400), Transition::RaisedAgain)
        ]
    );
}

/// What the list is for two minutes, each alarm by its sump and hurry.
fn any_lists() -> impl Strategy<Value = Vec<BTreeSet<(u8, u8)>>> {
    let alarms = proptest::collection::btree_set((0..4_u8, 0..3_u8), 0..5);
    proptest::collection::vec(alarms, 1..120)
}

proptest! {
    /// However the list changes: of what is on it for an hour people are told, with
    /// its sump and at least its hurry, and its timers end.
    #[test]
    fn whatever_stays_on_the_list_is_told(lists in any_lists()) {
        let mut plant = Plant::new();
        let mut since: BTreeMap<(u8, u8), i64> = BTreeMap::new();
        for (minutes, now) in (0..).step_by(2).zip(&lists) {
            since.retain(|one, _| now.contains(one));
            for one in now {
                since.entry(*one).or_insert(minutes);
            }
            let all: Vec<ListedAlarm> = since.iter().map(|((sump, hurry), at)| ListedAlarm {
                id: format!("{sump}/{hurry}/{at}").into(),
                priority: [Priority::Low, Priority::Medium, Priority::High][usize::from(*hurry)],
                ..listed(&sump.to_string(), *at, 7.5)
            }).collect();
            plant.lists(minutes..minutes + 2, &all);
            let told: Vec<&ListedAlarm> = plant
                .lines()
                .into_iter()
                .filter_map(|(_, line)| line.start_up.as_deref())
                .flat_map(|list| &list.alarms)
                .collect();
            for one in all.iter().filter(|one| minute(minutes) - one.listed >= Span::from_mins(62)) {
                let known = told.iter().any(|told| told.sump == one.sump && told.priority >= one.priority);
                prop_assert!(known, "{one:?}");
            }
        }
    }
}
