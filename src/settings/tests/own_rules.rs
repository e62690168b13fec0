//! Rules of a plant's own.

use super::{read, told};
use crate::alarm::Verdict;
use crate::engine::Priority;
use crate::rules::own::OwnInputs;
use crate::units::Span;

#[test]
fn a_rule_needs_little() {
    let settings = read("[rule.lean]\nwhen = \"concentration < 5.0\"\n").unwrap();
    let [rule] = &settings.own_rules[..] else {
        panic!("one rule: {:?}", settings.own_rules);
    };
    assert_eq!((&*rule.name, &*rule.title), ("lean", "lean"));
    assert_eq!(rule.sumps, [0]);
    assert_eq!(rule.priority, Priority::Medium);
    let delays = (rule.on_delay, rule.off_delay);
    assert_eq!(delays, (Span::from_mins(10), Span::from_mins(10)));
    assert!(!rule.latched && rule.look_at.is_empty() && rule.message.is_none());
    let lean = OwnInputs {
        concentration: Some(4.9),
        ..OwnInputs::default()
    };
    assert_eq!(rule.rule.verdict(&lean).verdict, Verdict::Outside);
}

#[test]
fn a_rule_can_say_everything() {
    let extra = r#"
[rule.weekend]
when = """
weekday in ["sat", "sun"]
  && days_to_low_volume < 1.0
  && !active("silent.brix")
"""
title = "Dry over the weekend"
message = "Top up before you go."
sumps = ["cell-a"]
priority = "high"
on_delay = "1 h"
off_delay = "0 s"
latched = true
look_at = ["the level", "the mixer"]
"#;
    let settings = read(extra).unwrap();
    let rule = &settings.own_rules[0];
    assert_eq!(rule.title, "Dry over the weekend");
    assert_eq!(rule.message.as_deref(), Some("Top up before you go."));
    assert_eq!(rule.priority, Priority::High);
    assert_eq!(
        (rule.on_delay, rule.off_delay),
        (Span::from_hours(1), Span::ZERO)
    );
    assert!(rule.latched);
    assert_eq!(rule.look_at, ["the level", "the mixer"]);
    let conditions: Vec<_> = rule.rule.conditions().map(|name| &**name).collect();
    assert_eq!(conditions, ["silent.brix"]);
}

#[test]
fn everything_wrong_with_rules_is_told_at_once() {
    told(
        "\
[rule.a]
when = \"concentraton < 5.0 && ph * 2 > 17.0\"
priority = \"hihg\"
on_delay = \"10\"
[rule.b]
when = \"ph < 8,5\"
sumps = [\"cell-b\"]
look_at = [\" \"]
[rule.c]
whne = \"ph < 8.0\"
[rule.d]
title = \"Without a rule\"
[rule.e]
when = 5
[rule.f]
when = \"active(\\\"silent.brxi\\\")\"
[rule.\"Großer\"]
when = \"pumps_run\"
",
        &[
            "z.toml:2:8: rule.a.when: character 1: there is no value \"concentraton\"; did you mean \"concentration\"?",
            "z.toml:2:8: rule.a.when: character 26: * does not go with double and int; write both with a point, as 5.0, or use double(…)",
            "z.toml:3:12: rule.a.priority: \"hihg\" is not one of them; did you mean \"high\"?",
            "z.toml:4:12: rule.a.on_delay: \"10\" is not a length of time: the unit is missing; write a number and a unit (allowed: ms, s, min, h, d)",
            "z.toml:6:8: rule.b.when: character 7: \",\" cannot stand here; a number with a part has a point, as 5.5",
            "z.toml:7:10: rule.b.sumps[0]: there is no sump \"cell-b\"; did you mean \"cell-a\"?",
            "z.toml:8:12: rule.b.look_at[0]: a text of 1 characters is not allowed; allowed is 1 to 300, not all of them blank",
            "z.toml:10:1: rule.c.whne: there is no such setting; did you mean \"when\"?",
            "z.toml:11:7: rule.d.when: is missing; write for example when = \"concentration < 5.0 && pumps_run\"",
            "z.toml:14:8: rule.e.when: expected text in quotes, found 5",
            "z.toml:16:8: rule.f.when: there is no channel \"brxi\"; did you mean \"brix\"?",
            "z.toml:17:7: rule: \"Großer\" cannot be the name of a setting: only letters, digits, - and _ can",
        ],
    );
}

#[test]
fn a_mistake_in_several_lines_tells_its_line() {
    told(
        "[rule.a]\nwhen = '''\nph < 8.0\n  && flw < 3.0'''\n",
        &[
            "z.toml:2:8: rule.a.when: line 2, character 6: there is no value \"flw\"; did you mean \"flow\"?",
        ],
    );
}
