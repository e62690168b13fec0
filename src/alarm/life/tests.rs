use super::*;
use proptest::prelude::*;

const MANNER: AlarmManner = AlarmManner {
    on: Span::from_mins(10),
    off: Span::from_mins(5),
    latching: false,
    again_after: None,
};

fn at(minute: i64) -> Timestamp {
    Timestamp::from_millis(minute * 60_000)
}

fn raised(manner: AlarmManner) -> AlarmLife {
    let mut alarm = AlarmLife::default();
    alarm.observe(at(0), Verdict::Outside, manner);
    alarm.observe(at(0) + manner.on, Verdict::Outside, manner);
    assert_eq!(alarm.state(), AlarmState::Unacknowledged);
    alarm
}

#[test]
fn raised_only_after_the_on_delay() {
    let mut alarm = AlarmLife::default();
    assert_eq!(alarm.observe(at(0), Verdict::Outside, MANNER), None);
    assert_eq!(alarm.due(MANNER), Some(at(10)));
    assert_eq!(alarm.observe(at(9), Verdict::Outside, MANNER), None);
    let raised = alarm.observe(at(10), Verdict::Outside, MANNER);
    assert_eq!(raised, Some(Transition::Raised));
    assert_eq!((alarm.since(), alarm.raised()), (Some(at(0)), Some(at(10))));
}

#[test]
fn a_short_return_starts_the_on_delay_anew() {
    let mut alarm = AlarmLife::default();
    alarm.observe(at(0), Verdict::Outside, MANNER);
    alarm.observe(at(8), Verdict::Band, MANNER);
    assert_eq!(alarm.observe(at(12), Verdict::Outside, MANNER), None);
    assert_eq!(alarm.due(MANNER), Some(at(22)));
}

#[test]
fn missing_data_and_the_dead_band_never_clear() {
    let mut alarm = raised(MANNER);
    for minute in 11..600 {
        let verdict = if minute % 2 == 0 {
            Verdict::Unknown
        } else {
            Verdict::Band
        };
        assert_eq!(alarm.observe(at(minute), verdict, MANNER), None);
    }
    assert!(alarm.is_active());
}

#[test]
fn both_orders_of_return_and_acknowledgement_end_in_normal() {
    let at_once = AlarmManner::default();
    for acknowledge_first in [true, false] {
        let mut alarm = raised(at_once);
        if acknowledge_first {
            alarm.acknowledge(at(1));
            assert_eq!(alarm.state(), AlarmState::Acknowledged);
            alarm.observe(at(1), Verdict::Inside, at_once);
        } else {
            alarm.observe(at(1), Verdict::Inside, at_once);
            assert_eq!(alarm.state(), AlarmState::ReturnedUnacknowledged);
            alarm.acknowledge(at(1));
        }
        assert_eq!(alarm.state(), AlarmState::Normal);
    }
}

#[test]
fn a_latching_alarm_stands_until_it_is_acknowledged_and_reset() {
    let latching = AlarmManner {
        latching: true,
        ..AlarmManner::default()
    };
    let mut alarm = raised(latching);
    alarm.observe(at(1), Verdict::Inside, latching);
    assert_eq!(alarm.state(), AlarmState::LatchedUnacknowledged);
    assert_eq!(alarm.reset(), None);
    assert_eq!(alarm.acknowledge(at(2)), Some(Transition::Acknowledged));
    assert_eq!(alarm.state(), AlarmState::LatchedAcknowledged);
    assert_eq!(alarm.reset(), Some(Transition::Reset));
    assert_eq!(alarm.state(), AlarmState::Normal);
}

#[test]
fn an_acknowledged_alarm_that_stands_is_raised_again() {
    let again = AlarmManner {
        again_after: Some(Span::from_hours(8)),
        ..AlarmManner::default()
    };
    let mut alarm = raised(again);
    alarm.acknowledge(at(10));
    assert_eq!(alarm.due(again), Some(at(490)));
    assert_eq!(alarm.observe(at(489), Verdict::Outside, again), None);
    let transition = alarm.observe(at(490), Verdict::Unknown, again);
    assert_eq!(transition, Some(Transition::RaisedAgain));
    assert_eq!(alarm.raised(), Some(at(0)), "the same occurrence");
    alarm.acknowledge(at(500));
    let returned = alarm.observe(at(501), Verdict::Inside, again);
    assert_eq!(returned, Some(Transition::Returned));
    assert_eq!(alarm.due(again), None);
}

#[test]
fn more_of_what_stands_is_told_taken_on_or_not_and_nothing_of_what_does_not() {
    let at_once = AlarmManner::default();
    let mut alarm = raised(at_once);
    assert_eq!(alarm.raise_for_more(), Some(Transition::RaisedAgain));
    assert_eq!(alarm.state(), AlarmState::Unacknowledged);
    alarm.acknowledge(at(1));
    assert_eq!(alarm.raise_for_more(), Some(Transition::RaisedAgain));
    assert_eq!(alarm.state(), AlarmState::Unacknowledged);
    assert_eq!(alarm.raised(), Some(at(0)), "the same occurrence");
    alarm.hide(Hiding::Shelve(at(60)));
    assert_eq!(alarm.raise_for_more(), None);
    alarm.end_shelf(at(60));
    alarm.observe(at(61), Verdict::Inside, at_once);
    assert_eq!(alarm.raise_for_more(), None);
}

#[test]
fn a_delay_goes_on_with_the_time_it_had_before_nobody_watched() {
    // Of ten minutes six are over, or of five three.
    let mut rising = AlarmLife::default();
    rising.observe(at(0), Verdict::Outside, MANNER);
    let mut falling = raised(MANNER);
    falling.observe(at(13), Verdict::Inside, MANNER);
    for (alarm, stopped, left, verdict) in [
        (&mut rising, 6, 4, Verdict::Outside),
        (&mut falling, 16, 2, Verdict::Inside),
    ] {
        alarm.pause_delay(at(stopped));
        // A second stop before anything could be judged.
        alarm.pause_delay(at(500));
        assert_eq!(alarm.due(MANNER), None);
        let before = alarm.state();
        assert_eq!(alarm.observe(at(900), Verdict::Unknown, MANNER), None);
        assert_eq!(alarm.observe(at(1000), verdict, MANNER), None);
        assert_eq!(alarm.due(MANNER), Some(at(1000 + left)));
        let just_before = at(1000 + left) - Span::from_millis(1);
        assert_eq!(alarm.observe(just_before, verdict, MANNER), None);
        let turned = alarm.observe(at(1000 + left), verdict, MANNER);
        assert!(turned.is_some() && alarm.state() != before);
    }
    assert_eq!(rising.since(), Some(at(994)));
}

#[test]
fn a_delay_begins_anew_where_the_condition_is_over_once_somebody_watches() {
    let mut alarm = AlarmLife::default();
    alarm.observe(at(0), Verdict::Outside, MANNER);
    alarm.pause_delay(at(9));
    alarm.observe(at(1000), Verdict::Band, MANNER);
    alarm.observe(at(1001), Verdict::Outside, MANNER);
    assert_eq!(alarm.due(MANNER), Some(at(1011)));
}

#[test]
fn a_shelf_ends_and_what_holds_is_told_then() {
    let at_once = AlarmManner::default();
    let mut alarm = raised(at_once);
    alarm.acknowledge(at(1));
    let shelved = alarm.hide(Hiding::Shelve(at(60)));
    assert_eq!(shelved, Some(Transition::Shelved));
    assert_eq!(alarm.state(), AlarmState::Shelved);
    assert_eq!(alarm.due(at_once), Some(at(60)));
    assert_eq!(alarm.end_shelf(at(59)), None);
    assert_eq!(alarm.end_shelf(at(60)), Some(Transition::Unshelved));
    assert_eq!(alarm.state(), AlarmState::Unacknowledged);
}

#[test]
fn what_ends_while_it_is_shelved_leaves_nothing_to_take_note_of() {
    let at_once = AlarmManner::default();
    let mut alarm = raised(at_once);
    alarm.hide(Hiding::Shelve(at(60)));
    assert_eq!(alarm.observe(at(2), Verdict::Inside, at_once), None);
    assert_eq!(alarm.end_shelf(at(60)), Some(Transition::Unshelved));
    assert_eq!(alarm.state(), AlarmState::Normal);
}

#[test]
fn suppression_brings_back_what_it_found() {
    let at_once = AlarmManner::default();
    let mut alarm = raised(at_once);
    alarm.acknowledge(at(1));
    assert_eq!(alarm.hide(Hiding::Suppress), Some(Transition::Suppressed));
    assert!(!alarm.is_told() && alarm.is_active());
    alarm.observe(at(30), Verdict::Outside, at_once);
    let back = alarm.hide(Hiding::Unsuppress);
    assert_eq!(back, Some(Transition::Unsuppressed));
    assert_eq!(alarm.state(), AlarmState::Acknowledged);
    // One that came while it was suppressed is told once nothing suppresses it.
    let mut alarm = AlarmLife::default();
    alarm.hide(Hiding::Suppress);
    assert_eq!(alarm.observe(at(3), Verdict::Outside, at_once), None);
    alarm.hide(Hiding::Unsuppress);
    assert_eq!(alarm.state(), AlarmState::Unacknowledged);
    assert!(Transition::Unsuppressed.annunciates(alarm.state()));
}

#[test]
fn what_is_out_of_service_stays_so_whatever_is_shelved_or_suppressed() {
    let mut alarm = AlarmLife::default();
    let out = alarm.hide(Hiding::TakeOut);
    assert_eq!(out, Some(Transition::TakenOutOfService));
    assert_eq!(alarm.hide(Hiding::Suppress), None);
    assert_eq!(alarm.hide(Hiding::Shelve(at(5))), None);
    assert_eq!(alarm.end_shelf(at(5)), None);
    assert_eq!(alarm.state(), AlarmState::OutOfService);
    let back = alarm.hide(Hiding::PutBack);
    assert_eq!(back, Some(Transition::PutIntoService));
    assert_eq!(alarm.state(), AlarmState::Suppressed);
}

/// The arrows of the diagram (from memory), the one that takes an acknowledgement
/// back, and the one by which more is told of what stands (`for_more`).
fn allowed(from: AlarmState, by: Transition, to: AlarmState, for_more: bool) -> bool {
    use AlarmState::*;
    let hidden = |state| matches!(state, Shelved | Suppressed | OutOfService);
    match by {
        Transition::Raised => !hidden(from) && !from.holds() && to == Unacknowledged,
        Transition::RaisedAgain => match from {
            Acknowledged => to == Unacknowledged,
            Unacknowledged => for_more && to == Unacknowledged,
            _ => false,
        },
        Transition::Acknowledged => matches!(
            (from, to),
            (Unacknowledged, Acknowledged)
                | (ReturnedUnacknowledged, Normal)
                | (LatchedUnacknowledged, LatchedAcknowledged)
        ),
        Transition::Returned => matches!(
            (from, to),
            (
                Unacknowledged,
                ReturnedUnacknowledged | LatchedUnacknowledged
            ) | (Acknowledged, Normal | LatchedAcknowledged)
        ),
        Transition::Unacknowledged => matches!(
            (from, to),
            (Acknowledged, Unacknowledged)
                | (Normal, ReturnedUnacknowledged)
                | (LatchedAcknowledged, LatchedUnacknowledged)
        ),
        Transition::Reset => (from, to) == (LatchedAcknowledged, Normal),
        Transition::Shelved => from != OutOfService && to == Shelved,
        Transition::Unshelved => from == Shelved && to != Shelved,
        Transition::Suppressed => !hidden(from) && to == Suppressed,
        Transition::Unsuppressed => from == Suppressed && !hidden(to),
        Transition::TakenOutOfService => to == OutOfService,
        Transition::PutIntoService => from == OutOfService && to != OutOfService,
        // Not by the life of an alarm: by new settings.
        Transition::Removed => false,
    }
}

proptest! {
    #[test]
    fn no_sequence_leaves_the_diagram(
        steps in prop::collection::vec((0u8..16, 0i64..20), 0..300),
        latching: bool,
        again in prop::option::of(1i64..60),
    ) {
        let manner = AlarmManner { latching, again_after: again.map(Span::from_mins), ..MANNER };
        let mut alarm = AlarmLife::default();
        let (mut minute, mut told_of) = (0, AlarmState::Normal);
        for (what, wait) in steps {
            minute += wait;
            let now = at(minute);
            let before = alarm.state();
            prop_assert_eq!(before, told_of, "a step was not told");
            let (stands, raised) = (before.holds(), alarm.raised());
            let transition = match what {
                0 | 1 => alarm.observe(now, Verdict::Outside, manner),
                2 | 3 => alarm.observe(now, Verdict::Inside, manner),
                4 => alarm.observe(now, Verdict::Band, manner),
                5 => alarm.observe(now, Verdict::Unknown, manner),
                6 => alarm.acknowledge(now),
                7 => alarm.unacknowledge(),
                8 => alarm.reset(),
                9 => alarm.hide(Hiding::Shelve(now + Span::from_mins(30))),
                10 => alarm.end_shelf(now),
                11 => alarm.hide(Hiding::Suppress),
                12 => alarm.hide(Hiding::Unsuppress),
                13 => alarm.raise_for_more(),
                14 => {
                    alarm.pause_delay(now);
                    None
                }
                _ => alarm.hide(if wait % 2 == 0 { Hiding::TakeOut } else { Hiding::PutBack }),
            };
            told_of = alarm.state();
            let for_more = what == 13;
            match transition {
                Some(by) => prop_assert!(
                    allowed(before, by, told_of, for_more), "{before:?} by {by:?} to {told_of:?}"
                ),
                None => prop_assert_eq!(before, told_of),
            }
            if for_more {
                let by = stands.then_some(Transition::RaisedAgain);
                prop_assert_eq!(transition, by, "more is told of what stands, and of that alone");
                prop_assert_eq!(alarm.raised(), raised, "the same occurrence");
            }
            let json = serde_json::to_string(&alarm).unwrap();
            prop_assert_eq!(serde_json::from_str::<AlarmLife>(&json).unwrap(), alarm);
        }
    }

    #[test]
    fn what_holds_is_told_in_the_end_whatever_hid_it(hidings in prop::collection::vec(0u8..6, 0..40)) {
        let at_once = AlarmManner::default();
        let mut alarm = AlarmLife::default();
        for (minute, hiding) in (0..).zip(hidings) {
            alarm.hide(match hiding {
                0 => Hiding::Shelve(at(minute + 30)),
                1 => Hiding::Unshelve,
                2 => Hiding::Suppress,
                3 => Hiding::Unsuppress,
                4 => Hiding::TakeOut,
                _ => Hiding::PutBack,
            });
            alarm.observe(at(minute), Verdict::Outside, at_once);
        }
        alarm.end_shelf(at(1000));
        alarm.hide(Hiding::Unsuppress);
        alarm.hide(Hiding::PutBack);
        alarm.observe(at(1000), Verdict::Outside, at_once);
        prop_assert_eq!(alarm.state(), AlarmState::Unacknowledged);
    }
}
