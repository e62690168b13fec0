use std::sync::Arc;

use proptest::prelude::*;

use super::*;
use crate::alarm::Priority;

fn at(secs: i64) -> Timestamp {
    Timestamp::from_millis(secs * 1000)
}

fn mins(minutes: i64) -> Timestamp {
    at(minutes * 60)
}

fn alarm(sump: &str, condition: &str) -> AlarmName {
    AlarmName {
        sump: sump.into(),
        condition: condition.into(),
    }
}

/// Steps of one alarm: when, transition and state as in the journal.
fn steps(
    alarm: &AlarmName,
    priority: Priority,
    steps: &[(Timestamp, &str, &str)],
) -> Vec<AlarmEvent> {
    let each = steps.iter().map(|&(time, transition, state)| {
        let (step, standing) = meaning(transition, state).unwrap();
        AlarmEvent {
            time,
            alarm: alarm.clone(),
            priority,
            step,
            standing,
            by: None,
            reason: None,
            until: None,
        }
    });
    each.collect()
}

fn value(performance: &Performance, name: &str) -> f64 {
    performance.figure(name).unwrap().value.unwrap()
}

/// Two days, worked out by hand. Annunciations: two of a lean sump, one of a
/// silent channel, three within 40 s of a pH.
#[test]
fn the_figures_are_those_worked_out_by_hand() {
    let lean = alarm("s0", "concentration.low");
    let silent = alarm("s1", "silent.brix");
    let ph = alarm("s2", "ph.high");
    const B: &str = "unacknowledged";
    const D: &str = "returned_unacknowledged";
    let mut events = steps(
        &lean,
        Priority::Medium,
        &[
            (mins(0), "raised", B),
            (mins(30), "acknowledged", "acknowledged"),
            (mins(60), "returned", "normal"),
            (mins(100), "raised", B),
            (mins(105), "returned", D),
            (mins(1200), "shelved", "shelved"),
            (mins(1320), "unshelved", "normal"),
        ],
    );
    events.extend(steps(
        &silent,
        Priority::Low,
        &[
            (mins(200), "raised", B),
            (mins(320), "acknowledged", "acknowledged"),
        ],
    ));
    let began = 60_000;
    events.extend(steps(
        &ph,
        Priority::High,
        &[
            (at(began), "raised", B),
            (at(began + 10), "returned", D),
            (at(began + 20), "raised", B),
            (at(began + 30), "returned", D),
            (at(began + 40), "raised", B),
            (at(began + 50), "returned", D),
            (at(began + 600), "acknowledged", "normal"),
        ],
    ));
    let period = Period::new(at(0), mins(2880));
    let found = Performance::of(events, period, &Measures::default());
    let expected = [
        ("per_day", 3.0),
        ("per_hour", 0.125),
        ("per_ten_minutes", 6.0 / 288.0),
        ("most_in_a_day", 6.0),
        ("most_in_an_hour", 3.0),
        ("most_in_ten_minutes", 3.0),
        ("hours_above_30", 0.0),
        ("ten_minutes_above_10", 0.0),
        ("time_in_flood", 0.0),
        ("share_of_ten_most_frequent", 1.0),
        ("chattering_alarms", 1.0),
        ("fleeting_alarms", 1.0),
        ("repeating_alarms", 1.0),
        // From minute 1640 to the end: on the second day.
        ("stale_on_worst_day", 1.0),
        // Of 30, 120 and 560 s / 60 min.
        ("median_time_to_acknowledge", 30.0),
        ("tenth_longest_time_to_acknowledge", 120.0),
        ("never_acknowledged", 3.0),
        ("low_priority", 1.0 / 6.0),
        ("medium_priority", 2.0 / 6.0),
        ("high_priority", 3.0 / 6.0),
    ];
    assert_eq!(found.figures.len(), expected.len());
    for (figure, (name, value)) in found.figures.iter().zip(expected) {
        assert_eq!((figure.name, figure.value), (name, Some(value)));
    }
    assert_eq!((found.annunciations, found.enough_days), (6, false));
    assert_eq!(found.most_frequent[0].alarm, ph);
    assert_eq!(
        (&found.chattering[0].alarm, found.chattering[0].count),
        (&ph, 3)
    );
    assert_eq!(
        (&found.fleeting[0].alarm, found.fleeting[0].count),
        (&lean, 1)
    );
    assert_eq!(found.stale[0].alarm, silent);
    let shelved = found.hidden[0];
    assert_eq!(
        (shelved.standing, shelved.count, shelved.hours),
        (Standing::Shelved, 1, 2.0)
    );
    let inside = |name: &str| found.figure(name).unwrap().inside;
    assert_eq!(inside("per_day"), Some(Inside::Acceptable));
    assert_eq!(inside("chattering_alarms"), Some(Inside::Outside));
    assert_eq!(inside("most_in_a_day"), None);
}

/// Twelve alarms, one each half minute: the eleventh begins the flood at 300 s;
/// the fifth last came at 210 s, and is ten minutes old at 810 s.
#[test]
fn a_flood_begins_with_the_eleventh_and_ends_when_four_are_left() {
    let events = (0i64..12).flat_map(|n| {
        let each = alarm(&format!("s{n}"), "silent.brix");
        steps(
            &each,
            Priority::Low,
            &[(at(30 * n), "raised", "unacknowledged")],
        )
    });
    let period = Period::new(at(0), at(51_000));
    let found = Performance::of(events, period, &Measures::default());
    let flood = Flood {
        from: at(300),
        to: at(810),
        annunciations: 12,
    };
    assert_eq!(found.floods, [flood]);
    // 510 of 51 000 s are one per cent, which is not less than that.
    let share = found.figure("time_in_flood").unwrap();
    assert_eq!(
        (share.value, share.inside),
        (Some(0.01), Some(Inside::Outside))
    );
    assert_eq!(value(&found, "most_in_ten_minutes"), 12.0);
    assert_eq!(value(&found, "ten_minutes_above_10"), 1.0 / 85.0);
}

#[test]
fn ten_in_ten_minutes_are_no_flood() {
    let events = (0i64..40).flat_map(|n| {
        let each = alarm(&format!("s{n}"), "silent.brix");
        steps(
            &each,
            Priority::Low,
            &[(mins(n), "raised", "unacknowledged")],
        )
    });
    let period = Period::new(at(0), mins(60));
    let found = Performance::of(events, period, &Measures::default());
    assert_eq!(found.floods, []);
    assert_eq!(value(&found, "most_in_ten_minutes"), 10.0);
    assert_eq!(value(&found, "ten_minutes_above_10"), 0.0);
}

#[test]
fn hidden_alarms_end_their_occurrence_and_are_told_anew_when_they_come_forth() {
    let lean = alarm("s0", "concentration.low");
    let events = steps(
        &lean,
        Priority::Medium,
        &[
            (mins(0), "raised", "unacknowledged"),
            (mins(10), "shelved", "shelved"),
            (mins(70), "unshelved", "suppressed"),
            (mins(100), "unsuppressed", "unacknowledged"),
            (mins(110), "acknowledged", "acknowledged"),
            (mins(200), "suppressed", "suppressed"),
            (mins(230), "unsuppressed", "acknowledged"),
            (mins(400), "raised_again", "unacknowledged"),
        ],
    );
    let course = Course::of(events);
    assert_eq!(course.annunciations().len(), 3);
    let [first, second] = course.occurrences() else {
        panic!("{:?}", course.occurrences());
    };
    assert_eq!((first.ended, first.hidden), (Some(mins(10)), true));
    assert_eq!((second.raised, second.ended), (mins(100), None));
    assert_eq!(second.acknowledged, Some(mins(110)));
    let hidden = course.hidden().iter();
    let hidden: Vec<_> = hidden
        .map(|one| (one.standing, one.from, one.until))
        .collect();
    assert_eq!(
        hidden,
        [
            (Standing::Shelved, mins(10), Some(mins(70))),
            (Standing::Suppressed, mins(70), Some(mins(100))),
            (Standing::Suppressed, mins(200), Some(mins(230))),
        ]
    );
    let standing: Vec<_> = course.standing().collect();
    assert_eq!(standing.len(), 1);
    assert_eq!(
        (standing[0].standing, standing[0].since),
        (Standing::Unacknowledged, mins(400))
    );
}

#[test]
fn means_are_scaled_to_what_one_person_looks_after() {
    let events = || {
        let lean = alarm("s0", "concentration.low");
        steps(
            &lean,
            Priority::Low,
            &[(mins(0), "raised", "unacknowledged")],
        )
    };
    let period = Period::new(at(0), mins(1440 * 30));
    let measures = Measures {
        scale: 7.5,
        ..Measures::default()
    };
    let found = Performance::of(events(), period, &measures);
    assert_eq!(value(&found, "per_day"), 0.25);
    assert_eq!(value(&found, "most_in_ten_minutes"), 1.0);
    assert!(found.enough_days);
}

#[test]
fn an_unknown_word_means_nothing() {
    assert_eq!(meaning("vanished", "normal"), None);
    assert_eq!(meaning("raised", "elsewhere"), None);
}

/// What may happen to an alarm, as the journal would tell it.
const WORDS: [(&str, &str); 9] = [
    ("raised", "unacknowledged"),
    ("returned", "returned_unacknowledged"),
    ("acknowledged", "acknowledged"),
    ("acknowledged", "normal"),
    ("unacknowledged", "unacknowledged"),
    ("raised_again", "unacknowledged"),
    ("shelved", "shelved"),
    ("unshelved", "unacknowledged"),
    ("unshelved", "normal"),
];

/// Any steps of six alarms over some hours, in order of time.
fn any_steps() -> impl Strategy<Value = Vec<AlarmEvent>> {
    let step = (
        0usize..6,
        0usize..WORDS.len(),
        prop_oneof![0i64..3, 0i64..900],
    );
    prop::collection::vec(step, 0..300).prop_map(|all| {
        let mut now = 0;
        let each = all.into_iter().flat_map(|(which, word, pause)| {
            now += pause;
            let priority = [Priority::Low, Priority::Medium, Priority::High][which % 3];
            let (transition, state) = WORDS[word];
            let name = alarm(&format!("s{which}"), "concentration.low");
            steps(&name, priority, &[(at(now), transition, state)])
        });
        each.collect()
    })
}

proptest! {
    #[test]
    fn counts_add_up_and_shares_stay_shares(events in any_steps(), from in 0i64..20_000, long in 1i64..100_000) {
        let period = Period::new(at(from), at(from + long));
        let told = events.iter().filter(|one| period.has(one.time)).filter(|one| {
            matches!(one.step, Step::Raised | Step::RaisedAgain)
                || (one.step == Step::Shown && one.standing == Standing::Unacknowledged)
        });
        let told = told.count();
        let found = Performance::of(events, period, &Measures::default());
        prop_assert_eq!(found.annunciations, told);
        let sum: u64 = found.most_frequent.iter().map(|one| one.count).sum();
        prop_assert_eq!(sum, told as u64);
        for figure in &found.figures {
            let value = figure.value.unwrap_or(0.0);
            prop_assert!(value >= 0.0, "{figure:?}");
            prop_assert!(figure.unit != Unit::Share || value <= 1.0, "{figure:?}");
        }
        let most = |name| value(&found, name);
        prop_assert!(most("most_in_ten_minutes") <= most("most_in_an_hour"));
        prop_assert!(most("most_in_an_hour") <= most("most_in_a_day"));
        prop_assert!(most("most_in_a_day") <= told as f64);
        let shares = ["low_priority", "medium_priority", "high_priority"];
        let shares: f64 = shares.iter().filter_map(|name| found.figure(name).unwrap().value).sum();
        prop_assert!(told == 0 || (shares - 1.0).abs() < 1e-9);
        for burst in found.chattering.iter().chain(&found.repeating) {
            let of_alarm = found.most_frequent.iter().find(|one| one.alarm == burst.alarm);
            prop_assert!((3..=of_alarm.unwrap().count).contains(&burst.count));
        }
    }

    /// By the definition, second by second.
    #[test]
    fn floods_are_those_of_the_definition(pauses in prop::collection::vec(0i64..150, 0..80)) {
        let mut now = 0;
        let times: Vec<i64> = pauses.iter().map(|pause| { now += pause; now }).collect();
        let end = now + 1000;
        let events = times.iter().zip(0..).flat_map(|(&time, n)| {
            let each = alarm(&format!("s{n}"), "silent.brix");
            steps(&each, Priority::Low, &[(at(time), "raised", "unacknowledged")])
        });
        let found = Performance::of(events, Period::new(at(0), at(end)), &Measures::default());
        let mut flooded = false;
        let mut secs = 0;
        for second in 0..end {
            let count = times.iter().filter(|&&time| second - 600 < time && time <= second).count();
            flooded = if flooded { count >= 5 } else { count > 10 };
            secs += i64::from(flooded);
        }
        let lengths = found.floods.iter().map(|flood| (flood.to - flood.from).millis());
        prop_assert!(lengths.clone().all(|length| length > 0));
        prop_assert_eq!(lengths.sum::<i64>(), secs * 1000);
    }

    #[test]
    fn the_order_of_different_alarms_at_one_time_does_not_matter(events in any_steps(), seed in any::<u64>()) {
        let mut other = events.clone();
        // Whole minutes, so that many fall together; the order of each alarm stays.
        let minute = |event: &mut AlarmEvent| event.time = event.time.floor(Span::from_mins(1));
        let mut events = events;
        events.iter_mut().for_each(minute);
        other.iter_mut().for_each(minute);
        other.sort_by_key(|event| {
            let mixed = event.alarm.sump.bytes().fold(seed, |hash, byte| {
                (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
            });
            (event.time, mixed, Arc::clone(&event.alarm.sump))
        });
        let period = Period::new(at(600), at(50_000));
        let measures = Measures::default();
        prop_assert_eq!(
            Performance::of(events, period, &measures),
            Performance::of(other, period, &measures)
        );
    }
}

/// The journal's words are those of the states and steps themselves.
#[test]
fn every_step_and_state_has_a_meaning_and_tells_when_it_does() {
    use crate::alarm::{AlarmState as State, Transition as By};
    let states = [
        State::Normal,
        State::Unacknowledged,
        State::Acknowledged,
        State::ReturnedUnacknowledged,
        State::LatchedUnacknowledged,
        State::LatchedAcknowledged,
        State::Shelved,
        State::Suppressed,
        State::OutOfService,
    ];
    let steps_there_are = [
        By::Raised,
        By::RaisedAgain,
        By::Acknowledged,
        By::Returned,
        By::Unacknowledged,
        By::Reset,
        By::Shelved,
        By::Unshelved,
        By::Suppressed,
        By::Unsuppressed,
        By::TakenOutOfService,
        By::PutIntoService,
    ];
    let name = alarm("s0", "concentration.low");
    for state in states {
        for by in steps_there_are {
            let (_, standing) = meaning(by.name(), state.name()).unwrap();
            assert_eq!(standing.holds(), state.holds());
            let event = steps(&name, Priority::Low, &[(at(0), by.name(), state.name())]);
            let told = !Course::of(event).annunciations().is_empty();
            assert_eq!(told, by.annunciates(state), "{by:?} {state:?}");
        }
    }
}
