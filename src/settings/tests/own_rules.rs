//! Rules of a plant's own.

use super::{read, told};
use crate::alarm::Verdict;
use crate::engine::{OwnSuppressors, Priority};
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
    assert_eq!(rule.suppressed_by, OwnSuppressors::ALL);
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
  && concentration < 5.0
  && !active("silent.brix")
"""
title = "Dry over the weekend"
message = "Top up before you go."
sumps = ["cell-a"]
priority = "high"
on_delay = "1 h"
off_delay = "0 s"
latched = true
suppressed_by = ["recharge"]
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
    let by = rule.suppressed_by;
    assert_eq!((by.source_gone, by.recharge), (false, true));
    assert_eq!(rule.look_at, ["the level", "the mixer"]);
    let asks: Vec<_> = rule.rule.asks().collect();
    let asked = ["weekday", "concentration", "active(\"silent.brix\")"];
    assert_eq!(asks, asked);
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
[rule.g]
when = \"pumps_run\"
suppressed_by = [\"recharge\", \"source\"]
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
            "z.toml:16:8: rule.f.when: character 8: there is no alarm \"silent.brxi\" at the sumps of this rule; did you mean \"silent.brix\"?",
            "z.toml:19:30: rule.g.suppressed_by[1]: \"source\" is not one of them; allowed here: source_gone, recharge",
            "z.toml:20:7: rule: \"Großer\" cannot be the name of a setting: only letters, digits, - and _ can",
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

/// Whatever the sump can have, and what another rule of it tells.
#[test]
fn every_alarm_of_a_sump_can_be_asked_for() {
    let settings = read("").unwrap();
    let mut names: Vec<String> = settings.sumps[0].alarm_names().collect();
    for wanted in [
        "loss",
        "gain",
        "mixer",
        "dose_missed",
        "contradicted",
        "tramp_oil",
        "factor",
        "concentration.falling",
        "concentration.rising",
        "nitrite.watch",
        "nitrite.act",
        "souring.likely",
        "silent.brix",
        "refractive_factor.shifted",
    ] {
        assert!(
            names.iter().any(|name| name == wanted),
            "{wanted}: {names:?}"
        );
    }
    names.push("own.r0".to_owned());
    let rules = names.iter().enumerate().map(|(place, name)| {
        format!("[rule.r{place}]\nwhen = 'pumps_run || active(\"{name}\")'\n")
    });
    let rules: String = rules.collect();
    read(&rules).unwrap_or_else(|error| panic!("{error}"));
}

#[test]
fn what_only_some_of_its_sumps_have_can_be_asked_for() {
    let other = "\
[sump.cell-b]
fluid = \"soluble-a\"
target = \"8 %\"
working_volume = \"820 L\"
vessel = { shape = \"rectangular\", length = \"1.6 m\", width = \"0.9 m\", height = \"0.65 m\" }
[sump.cell-b.channel.ph]
quantity = \"ph\"
topic = \"cells/b/ph\"
";
    let rule = "[rule.a]\nwhen = 'ph < 8.0 || active(\"silent.ph\")'\n";
    let rules = |of: &str| format!("{other}{rule}{of}");
    assert!(read(&rules("")).is_ok());
    assert!(read(&rules("sumps = [\"cell-b\"]\n")).is_ok());
    let wrong = rules("sumps = [\"cell-a\"]\n");
    told(
        &wrong,
        &[
            "z.toml:10:8: rule.a.when: character 1: no sump of this rule has a channel that measures ph, so that the rule says nothing of it; add one, or ask with has_value(…) where it may be missing",
            "z.toml:10:8: rule.a.when: character 20: there is no alarm \"silent.ph\" at the sumps of this rule; there are silent.brix",
        ],
    );
}

#[test]
fn alarms_that_cannot_be_are_told() {
    told(
        "\
[rule.a]
when = 'active(\"souring.likly\") && !active(\"overdue.x\")'
[rule.b]
when = 'active(\"source.main\")'
[rule.c]
when = 'active(\"own.d\") || active(\"own.e\")'
[rule.d]
when = 'active(\"own.c\") &&'
",
        &[
            "z.toml:2:8: rule.a.when: character 8: there is no alarm \"souring.likly\" at the sumps of this rule; did you mean \"souring.likely\"?",
            "z.toml:2:8: rule.a.when: character 36: there is no alarm \"overdue.x\" at the sumps of this rule; did you mean \"overdue.ph\"?",
            "z.toml:4:8: rule.b.when: character 8: \"source.main\" is an alarm of the plant; a rule can ask for alarms of its sump only",
            "z.toml:6:8: rule.c.when: character 27: there is no alarm \"own.e\" at the sumps of this rule; did you mean \"own.a\"?",
            "z.toml:8:8: rule.d.when: character 19: the rule ends here, and something is missing: a value, or a closing bracket or quote",
        ],
    );
}
