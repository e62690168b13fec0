//! Samples of what tells of many alarms at once, and of sentences that stand in
//! no layout.

use crate::alarm::{AlarmState, Priority};
use crate::engine::ActiveAlarm;
use crate::notify::away::{AwaySummary, Counted, Place};
use crate::notify::digest::{Digest, Doses, Open, Raised, Standing, Stock};
use crate::notify::flood::{CommonCause, Group, Summary};
use crate::rules::{Condition, LimitLevel};
use crate::units::{Quantity, Span};

use super::sample::NOW;

/// Sentences that stand in no layout, with values of the kind that they get.
pub(super) const SENTENCES: &[(&str, &[(&str, &str)])] = &[
    ("escalation.why", &[("from", "anna")]),
    ("escalation.nobody_next", &[("to", "anna")]),
    (
        "away.acknowledge",
        &[("title", "Mill 4"), ("what", "concentration TOO LOW")],
    ),
    ("test.title", &[]),
    ("test.nothing", &[]),
    ("link.acknowledge", &[]),
    ("page.title", &[]),
    ("page.button", &[]),
    ("page.you_are", &[("contact", "anna")]),
    ("page.good_until", &[("until", "2026-03-05T13:25:00Z")]),
    ("page.standing", &[]),
    (
        "page.acknowledged",
        &[("by", "anna"), ("time", "2026-03-02T13:20:00Z")],
    ),
    (
        "page.acknowledged_by_nobody_named",
        &[("time", "2026-03-02T13:20:00Z")],
    ),
    (
        "page.done",
        &[("by", "anna"), ("time", "2026-03-02T13:20:00Z")],
    ),
    ("page.done_before", &[]),
    ("page.over", &[("time", "2026-03-02T13:20:00Z")]),
    ("page.set_aside", &[]),
    ("page.newer", &[]),
    ("page.expired", &[]),
    ("page.forged", &[]),
    ("page.unreadable", &[]),
    ("page.unknown", &[]),
    ("page.later", &[]),
];

/// Title of a rule of the plant's own.
const OWN: &str = "Smell after a stand-still";

/// Floods at every stage, with every cause.
pub(super) fn floods() -> Vec<Summary> {
    let group = |title: &str, conditions: &[&str]| Group {
        title: title.to_owned(),
        conditions: conditions.iter().map(|one| (*one).to_owned()).collect(),
        own_titles: conditions
            .iter()
            .filter(|one| one.starts_with("own."))
            .map(|one| ((*one).to_owned(), OWN.to_owned()))
            .collect(),
    };
    let full = Summary {
        phase: "begin",
        since: NOW - Span::from_mins(1),
        count: 12,
        sumps: 2,
        worst: Priority::Medium,
        cause: Some(CommonCause {
            kind: "source",
            condition: "source.main".to_owned(),
            own_title: None,
        }),
        raised: vec![
            group("Mill 4", &["concentration.low", "silent.brix-2"]),
            group("Cell A", &["ph.low", "own.smell"]),
        ],
        returned: vec![group("Cell B", &["concentration.high", "own.smell"])],
        others: vec![group("Cell C", &["concentration.low"])],
        steps: Vec::new(),
    };
    let alike = CommonCause {
        kind: "alike",
        condition: "concentration.low".to_owned(),
        own_title: None,
    };
    vec![
        full.clone(),
        Summary {
            phase: "goes_on",
            cause: Some(alike),
            raised: vec![group("Mill 4", &["concentration.low"]); 101],
            returned: vec![group("Mill 4", &["concentration.low"]); 101],
            others: vec![group("Mill 4", &["concentration.low"]); 101],
            ..full.clone()
        },
        Summary {
            cause: Some(CommonCause {
                kind: "alike",
                condition: "own.smell".to_owned(),
                own_title: Some(OWN.to_owned()),
            }),
            ..full.clone()
        },
        Summary {
            phase: "end",
            count: 0,
            sumps: 0,
            cause: None,
            raised: Vec::new(),
            others: Vec::new(),
            ..full
        },
    ]
}

/// Times in which nobody was there: with something of every sort, with more than is
/// shown, and with nothing that stands.
pub(super) fn aways() -> Vec<AwaySummary> {
    let place = |title: &str, conditions: &[(&str, AlarmState, usize)]| Place {
        title: title.to_owned(),
        conditions: conditions
            .iter()
            .map(|(condition, state, count)| Counted {
                condition: (*condition).to_owned(),
                own_title: condition.starts_with("own.").then(|| OWN.to_owned()),
                state: *state,
                count: *count,
            })
            .collect(),
    };
    let over = AlarmState::ReturnedUnacknowledged;
    let full = AwaySummary {
        phase: "away",
        since: NOW - Span::from_hours(60),
        count: 9,
        stand: 3,
        went: 4,
        worst: Some(Priority::Medium),
        standing: vec![
            place(
                "Mill 4",
                &[
                    ("concentration.low", AlarmState::Unacknowledged, 1),
                    ("silent.brix-2", AlarmState::Acknowledged, 1),
                ],
            ),
            place(
                "Cell A",
                &[("ph.low", AlarmState::LatchedUnacknowledged, 1)],
            ),
        ],
        came_and_went: vec![place("Cell B", &[("volume.low", over, 4)])],
        over: vec![place(
            "Cell C",
            &[("concentration.high", AlarmState::Normal, 1)],
        )],
        set_aside: vec![place("Cell D", &[("ph.low", AlarmState::Shelved, 1)])],
        steps: Vec::new(),
    };
    let both = |state| [("concentration.low", state, 1), ("own.smell", state, 2)];
    let many = |state| vec![place("Mill 4", &both(state)); 101];
    vec![
        full.clone(),
        AwaySummary {
            standing: many(AlarmState::LatchedAcknowledged),
            came_and_went: many(over),
            over: many(AlarmState::Normal),
            set_aside: many(AlarmState::OutOfService),
            ..full.clone()
        },
        AwaySummary {
            count: 4,
            stand: 0,
            went: 4,
            worst: None,
            standing: Vec::new(),
            over: Vec::new(),
            set_aside: Vec::new(),
            ..full
        },
    ]
}

/// A digest with something in every part, more than it shows.
pub(super) fn digest() -> Digest {
    let states = [
        AlarmState::Unacknowledged,
        AlarmState::Acknowledged,
        AlarmState::ReturnedUnacknowledged,
        AlarmState::LatchedUnacknowledged,
        AlarmState::LatchedAcknowledged,
        AlarmState::Shelved,
        AlarmState::Suppressed,
        AlarmState::OutOfService,
    ];
    let low = || Condition::Limit(Quantity::Concentration, LimitLevel::Low);
    let of = |place: usize| match place % 3 {
        1 => (Condition::Own("smell".into()), Some(OWN.to_owned())),
        _ => (low(), None),
    };
    let standing = states.into_iter().cycle().take(21).enumerate();
    Digest {
        standing: standing
            .map(|(place, state)| Standing {
                title: "Mill 4".to_owned(),
                own_title: of(place).1,
                alarm: ActiveAlarm {
                    id: "mill-4/concentration.low/1".to_owned(),
                    condition: of(place).0,
                    priority: Priority::Medium,
                    state,
                    since: NOW - Span::from_mins(20),
                    until: None,
                },
            })
            .collect(),
        raised: (1..=21)
            .map(|count| Raised {
                title: "Mill 4".to_owned(),
                condition: of(count).0.to_string(),
                own_title: of(count).1,
                count,
            })
            .collect(),
        advice: vec![
            Open {
                title: "Mill 4".to_owned(),
                advice: "mill-4/advice/7".to_owned(),
            };
            21
        ],
        doses: Doses {
            as_expected: 3,
            missed: 1,
            unknown: 0,
        },
        stock: vec![Stock {
            fluid: "soluble-a".into(),
            left_l: 90.4,
        }],
    }
}
