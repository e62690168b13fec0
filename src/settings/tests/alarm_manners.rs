//! How alarms behave where a plant says so itself.

use super::{read, told};
use crate::engine::{AlarmManner, LimitLevel, Priority};
use crate::units::{Quantity, Span};

#[test]
fn alarms_of_channels_are_low_and_at_once_by_themselves() {
    let settings = read("").unwrap();
    let sump = &settings.sumps[0];
    for alarm in [sump.silent.unwrap(), sump.disagrees] {
        let expected = (Priority::Low, AlarmManner::default());
        assert_eq!((alarm.priority, alarm.manner), expected);
    }
}

#[test]
fn alarms_of_channels_can_be_set() {
    let extra = r#"
[sump.cell-a.rules.silent]
priority = "high"
on_delay = "5 min"
off_delay = "1 min"
latching = true
again_after = "8 h"
[sump.cell-a.rules.disagrees]
priority = "medium"
latching = true
again_after = "24 h"
"#;
    let settings = read(extra).unwrap();
    let sump = &settings.sumps[0];
    let silent = sump.silent.unwrap();
    let manner = AlarmManner {
        on: Span::from_mins(5),
        off: Span::from_mins(1),
        latching: true,
        again_after: Some(Span::from_hours(8)),
    };
    assert_eq!((silent.priority, silent.manner), (Priority::High, manner));
    let manner = AlarmManner {
        latching: true,
        again_after: Some(Span::from_hours(24)),
        ..AlarmManner::default()
    };
    let disagrees = sump.disagrees;
    let expected = (Priority::Medium, manner);
    assert_eq!((disagrees.priority, disagrees.manner), expected);
}

#[test]
fn silence_can_be_switched_off_and_cannot_be_asked_for_then() {
    let settings = read("[sump.cell-a.rules]\nsilent = false\n").unwrap();
    assert_eq!(settings.sumps[0].silent, None);
    told(
        "[sump.cell-a.rules]\nsilent = false\n[rule.a]\nwhen = 'active(\"silent.brix\")'\n",
        &[
            "z.toml:4:8: rule.a.when: character 8: there is no alarm \"silent.brix\" at the sumps of this rule; write it as in topics, for example \"concentration.low\"",
        ],
    );
}

#[test]
fn each_limit_can_have_its_own_priority() {
    let extra = "\
[sump.cell-a.limits.concentration.priority]
low_low = \"medium\"
high = \"high\"
";
    let settings = read(extra).unwrap();
    let limits = &settings.sumps[0].limits;
    let of_concentration = limits
        .iter()
        .filter(|limit| limit.signal == Quantity::Concentration);
    let priorities: Vec<_> = of_concentration
        .map(|limit| (limit.level, limit.priority))
        .collect();
    let expected = [
        (LimitLevel::LowLow, Priority::Medium),
        (LimitLevel::Low, Priority::Medium),
        (LimitLevel::High, Priority::High),
        (LimitLevel::HighHigh, Priority::Medium),
    ];
    assert_eq!(priorities, expected);
}

#[test]
fn an_own_rule_can_be_raised_again() {
    let settings = read("[rule.a]\nwhen = 'pumps_run'\nagain_after = \"8 h\"\n").unwrap();
    let eight = Some(Span::from_hours(8));
    assert_eq!(settings.own_rules[0].again_after, eight);
    let own = settings.sumps[0].rules.last().unwrap();
    assert_eq!(own.manner.again_after, eight);
    let settings = read("[rule.a]\nwhen = 'pumps_run'\n").unwrap();
    assert_eq!(settings.own_rules[0].again_after, None);
}

#[test]
fn what_is_wrong_with_manners_is_told_where_it_stands() {
    told(
        "\
[rule.a]
when = 'pumps_run'
again_after = \"1 min\"
[sump.cell-a.rules]
disagrees = false
[sump.cell-a.rules.silent]
priority = \"urgent\"
on_delay = \"8 d\"
[sump.cell-a.limits.concentration]
low_low = false
priority = { low_low = \"high\", low = \"lo\", lowest = \"high\" }
",
        &[
            "z.toml:3:15: rule.a.again_after: 1 min is not allowed; allowed is 10 min to 31 d",
            "z.toml:5:13: sump.cell-a.rules.disagrees: cannot be switched off: a probe that a hand reading contradicts must not set a dose unseen; give its channel another hand_tolerance instead",
            "z.toml:7:12: sump.cell-a.rules.silent.priority: \"urgent\" is not one of them; allowed here: low, medium, high",
            "z.toml:8:12: sump.cell-a.rules.silent.on_delay: 8 d is not allowed; allowed is 0 s to 7 d",
            "z.toml:11:14: sump.cell-a.limits.concentration.priority.low_low: has no effect: it is for a limit that is set only",
            "z.toml:11:38: sump.cell-a.limits.concentration.priority.low: \"lo\" is not one of them; did you mean \"low\"?",
            "z.toml:11:44: sump.cell-a.limits.concentration.priority.lowest: there is no such setting; allowed here: low_low, low, high, high_high",
        ],
    );
    told(
        "[sump.cell-a.rules.disagrees]\non_delay = \"5 min\"\n",
        &[
            "z.toml:2:1: sump.cell-a.rules.disagrees.on_delay: there is no such setting; allowed here: priority, latching, again_after",
        ],
    );
}
