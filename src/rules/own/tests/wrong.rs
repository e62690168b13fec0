use super::*;

fn told(text: &str) -> Vec<String> {
    match compile(text) {
        Ok(_) => Vec::new(),
        Err(mistakes) => mistakes.iter().map(ToString::to_string).collect(),
    }
}

#[test]
fn wrong_rules_are_told_with_place_and_remedy() {
    for (text, expected) in [
        (
            "",
            "character 1: the rule is empty; write for example concentration < 5.0 && pumps_run",
        ),
        (
            "  \n",
            "character 1: the rule is empty; write for example concentration < 5.0 && pumps_run",
        ),
        (
            "concentraton < 5.0",
            "character 1: there is no value \"concentraton\"; did you mean \"concentration\"?",
        ),
        (
            "pumps_run && colour > 3",
            "character 14: there is no value \"colour\"; they are listed in the README under \"Own rules\"",
        ),
        (
            "ph < 8.0 &&",
            "character 12: the rule ends here, and something is missing: a value, or a closing bracket or quote",
        ),
        (
            "(ph < 8.0",
            "character 10: the rule ends here, and something is missing: a value, or a closing bracket or quote",
        ),
        ("ph < 8.0)", "character 9: \")\" cannot stand here"),
        (
            "ph = 8.0",
            "character 4: \"=\" cannot stand here; to compare, write ==",
        ),
        (
            "ph < 8.0 and pumps_run",
            "character 10: \"and\" cannot stand here; for \"and\" write &&",
        ),
        (
            "ph < 8.0 or pumps_run",
            "character 10: \"or\" cannot stand here; for \"or\" write ||",
        ),
        (
            "not pumps_run",
            "character 5: \"pumps_run\" cannot stand here; for \"not\" write !",
        ),
        (
            "ph < 8,5",
            "character 7: \",\" cannot stand here; a number with a part has a point, as 5.5",
        ),
        (
            "concentration < 5 %",
            "character 20: the rule ends here, and something is missing: a value, or a closing bracket or quote; numbers stand without their unit, which the value settles",
        ),
        (
            "volume < 500 L",
            "character 14: \"L\" cannot stand here; numbers stand without their unit, which the value settles",
        ),
        ("ph < 8.0 #", "character 10: \"#\" cannot stand here"),
        (
            "weekday == \"sat",
            "character 12: this quote is not closed, or a \\ stands in it that means nothing",
        ),
        (
            "weekday == \"s\\q\"",
            "character 12: this quote is not closed, or a \\ stands in it that means nothing",
        ),
        (
            "ph <\n 8.0 &&\n  flw > 3.0",
            "line 3, character 3: there is no value \"flw\"; did you mean \"flow\"?",
        ),
        (
            "volume > 99999999999999999999",
            "character 10: this number is larger than can be counted with",
        ),
        (
            "volume > 1e999",
            "character 10: this number is larger than can be counted with",
        ),
        (
            "ph",
            "character 1: the rule must be true or false (bool), and this is double; compare it with something, as concentration < 5.0",
        ),
        (
            "hour + 1",
            "character 6: the rule must be true or false (bool), and this is int; compare it with something, as concentration < 5.0",
        ),
        (
            "true",
            "character 1: the rule asks for no value, so it would always say the same; see the README for the values",
        ),
        (
            "1 < 2",
            "character 3: the rule asks for no value, so it would always say the same; see the README for the values",
        ),
        (
            "ph * 2 > 17.0",
            "character 4: * does not go with double and int; write both with a point, as 5.0, or use double(…)",
        ),
        (
            "ph + pumps_run > 17.0",
            "character 4: + does not go with double and bool; it takes two doubles or two ints",
        ),
        (
            "ph % 2.0 == 0.0",
            "character 4: % does not go with double and double; it is the rest of a division of two ints",
        ),
        (
            "weekday + 'x' == 'satx'",
            "character 9: + does not go with string and string; it takes two doubles or two ints",
        ),
        (
            "8.0 < ph < 9.0",
            "character 10: < does not go with bool and double; to say that x lies between two values, write a < x && x < b",
        ),
        (
            "weekday > \"mon\"",
            "character 9: > does not go with string and string; only numbers are larger or smaller than others",
        ),
        (
            "ph == \"low\"",
            "character 4: == does not go with double and string; only values of one kind can be equal",
        ),
        (
            "pumps_run == 1",
            "character 11: == does not go with bool and int; only values of one kind can be equal",
        ),
        (
            "ph && pumps_run",
            "character 1: && does not go with double; it joins what is true or false (bool)",
        ),
        (
            "!ph",
            "character 2: ! does not go with double; it turns what is true or false (bool)",
        ),
        (
            "-pumps_run",
            "character 2: - does not go with bool; it takes a number",
        ),
        (
            "ph ? true : false",
            "character 1: ? : does not go with double; it chooses by what is true or false (bool)",
        ),
        (
            "pumps_run ? ph : hour",
            "character 11: ? : does not go with double and int; both values to choose from must be of one kind",
        ),
        (
            "weekday == \"saturday\"",
            "character 12: there is no day \"saturday\"; there are mon, tue, wed, thu, fri, sat, sun",
        ),
        (
            "weekday in [\"sat\", \"son\"]",
            "character 20: there is no day \"son\"; did you mean \"mon\"?",
        ),
        (
            "hour in []",
            "character 9: the list is empty, so nothing is ever in it",
        ),
        (
            "hour in [1, \"2\"]",
            "character 6: the list holds another kind of values than what is looked for in it",
        ),
        (
            "hour in [1, minute]",
            "character 13: anything but plain numbers and texts in a list cannot be used in rules; write what is worked out as comparisons with ||",
        ),
        (
            "hour in weekday",
            "character 9: in before anything but a list cannot be used in rules; write for example weekday in [\"sat\", \"sun\"]",
        ),
        (
            "pumps_run in [1]",
            "character 1: in does not go with bool; it looks for a number or a text in a list",
        ),
        (
            "[1, 2] == [1, 2]",
            "character 1: a list cannot be used in rules; it can only stand behind in, as weekday in [\"sat\", \"sun\"] | character 11: a list cannot be used in rules; it can only stand behind in, as weekday in [\"sat\", \"sun\"]",
        ),
        (
            "{'a': 1} == {}",
            "character 1: {…} cannot be used in rules; there is nothing to look up in it | character 13: {…} cannot be used in rules; there is nothing to look up in it",
        ),
        (
            "[1, 2].exists(x, x == hour)",
            "character 14: what goes through a list (all, exists, exists_one, map, filter) cannot be used in rules; write the comparisons one by one with && and ||",
        ),
        (
            "has(ph.low)",
            "character 4: has(…) cannot be used in rules; values have no parts here: write has_value(ph) with the name of a value",
        ),
        (
            "ph.low > 3",
            "character 3: a part of a value cannot be used in rules; values have no parts here",
        ),
        (
            "ph[0] > 3",
            "character 3: […] behind a value cannot be used in rules; values have no parts here",
        ),
        (
            "ph == null",
            "character 7: null cannot be used in rules; to ask whether a value is there, write has_value(…)",
        ),
        (
            "hour > 5u",
            "character 8: a number with u cannot be used in rules; write it without the u",
        ),
        (
            "weekday == b'sat'",
            "character 12: a text with b cannot be used in rules; write it without the b",
        ),
        (
            "ph() > 3",
            "character 1: ph is a value, not a function; write it without the brackets",
        ),
        (
            "active",
            "character 1: active is a function; write active(…) with the name of a condition, as \"concentration.low\"",
        ),
        (
            "active()",
            "character 1: active takes the name of a condition, as \"concentration.low\"",
        ),
        (
            "active(weekday)",
            "character 8: active takes the name of a condition, as \"concentration.low\"",
        ),
        (
            "active(\"pH low\")",
            "character 8: \"pH low\" is no name of a condition; write it as in topics, for example \"concentration.low\"",
        ),
        (
            "active(\"ph.\")",
            "character 8: \"ph.\" is no name of a condition; write it as in topics, for example \"concentration.low\"",
        ),
        (
            "active(\"source.main\")",
            "character 8: \"source.main\" is an alarm of the plant; a rule can ask for alarms of its sump only",
        ),
        (
            "active(\"disk\")",
            "character 8: \"disk\" is an alarm of the plant; a rule can ask for alarms of its sump only",
        ),
        (
            "activ(\"ph.low\")",
            "character 1: there is no function \"activ\"; did you mean \"active\"?",
        ),
        (
            "has_value(3)",
            "character 11: has_value takes one value by its name, or one minutes_since_…",
        ),
        (
            "has_value(hp)",
            "character 11: there is no value \"hp\"; did you mean \"ph\"?",
        ),
        (
            "minutes_since_reading(\"acidity\") > 3",
            "character 23: there is no quantity \"acidity\"; there are brix, concentration, ph, conductivity, temperature, level, volume, hardness, chloride, nitrite, bacteria, fungi, tramp_oil, dissolved_oxygen, redox, flow, pressure, metered, state",
        ),
        (
            "minutes_since_entry(\"skimed\") > 3",
            "character 21: there is no kind of entry \"skimed\"; did you mean \"skimmed\"?",
        ),
        (
            "math.abs(pumps_run) > 3",
            "character 10: math.abs takes one int or double",
        ),
        (
            "math.least(ph, 3) > 3",
            "character 1: math.least takes 1 to 8 doubles, or as many ints",
        ),
        (
            "math.sqrt(ph) > 3",
            "character 1: there is no function \"math.sqrt\"; there are has_value, active, minutes_since_reading, minutes_since_entry, double, int, math.abs, math.greatest, math.least",
        ),
        (
            "size(weekday) > 3",
            "character 1: there is no function \"size\"; there are has_value, active, minutes_since_reading, minutes_since_entry, double, int, math.abs, math.greatest, math.least",
        ),
        (
            "weekday.startsWith(\"s\")",
            "character 1: there is no function \"weekday.startsWith\"; there are has_value, active, minutes_since_reading, minutes_since_entry, double, int, math.abs, math.greatest, math.least",
        ),
        (
            "\"a\".startsWith(\"s\")",
            "character 1: a function of a value, as \"…\".contains(…), cannot be used in rules; see the README for the functions that there are",
        ),
        (
            "int(weekday) > 3",
            "character 5: int takes one double or int",
        ),
    ] {
        assert_eq!(told(text).join(" | "), expected, "{text}");
    }
}

#[test]
fn what_no_sump_of_the_rule_has_is_told() {
    let names = [
        "concentration.low",
        "silent.brix",
        "silent.ph",
        "loss",
        "own.b",
    ];
    let reach = OwnReach {
        alarms: names.map(str::to_owned).into(),
        measured: [Quantity::Brix, Quantity::Ph].into(),
    };
    for (text, expected) in [
        (
            "active('loss') && active('silent.ph') || active('own.b')",
            "",
        ),
        (
            "concentration < 5 || ph < 8 || hardness > 300 || bacteria > 1000",
            "",
        ),
        (
            "has_value(redox) && redox < 0 && minutes_since_reading('ph') > 5",
            "",
        ),
        (
            "active('concentration.lo') && active('los')",
            "character 8: there is no alarm \"concentration.lo\" at the sumps of this rule; did you mean \"concentration.low\"? | character 38: there is no alarm \"los\" at the sumps of this rule; did you mean \"loss\"?",
        ),
        (
            "active('silent.conductivity')",
            "character 8: there is no alarm \"silent.conductivity\" at the sumps of this rule; there are silent.brix, silent.ph",
        ),
        (
            "ph < 8 &&\n active('nothing')",
            "line 2, character 9: there is no alarm \"nothing\" at the sumps of this rule; write it as in topics, for example \"concentration.low\"",
        ),
        (
            "ph < 8 || redox < 0",
            "character 11: no sump of this rule has a channel that measures redox, so that the rule says nothing of it; add one, or ask with has_value(…) where it may be missing",
        ),
        (
            "filled < 80 && minutes_since_reading('concentration') > 5",
            "character 1: no sump of this rule has a channel that measures level or volume, so that the rule says nothing of it; add one, or ask with has_value(…) where it may be missing | character 38: no sump of this rule has a channel that measures concentration, so that the rule says nothing of it; add one, or ask with has_value(…) where it may be missing",
        ),
    ] {
        let mistakes = compile(text).unwrap().out_of_reach(&reach);
        let told: Vec<String> = mistakes.iter().map(ToString::to_string).collect();
        assert_eq!(told.join(" | "), expected, "{text}");
    }
}

#[test]
fn all_mistakes_are_told_at_once_in_the_order_of_the_text() {
    let text = "fillled < 80.0 && ph * 2 > 16.0 && activ(\"ph.low\") && weekday == \"son\"";
    assert_eq!(
        told(text),
        [
            "character 1: there is no value \"fillled\"; did you mean \"filled\"?",
            "character 22: * does not go with double and int; write both with a point, as 5.0, or use double(…)",
            "character 36: there is no function \"activ\"; did you mean \"active\"?",
            "character 66: there is no day \"son\"; did you mean \"mon\"?",
        ]
    );
}

#[test]
fn rules_beyond_a_bound_are_told() {
    let most = |text: &str| told(text).join(" | ");
    assert_eq!(
        most(&format!("ph < 8.0 // {}", "x".repeat(1000))),
        "character 1: the rule has 1012 bytes; at most 1000 are allowed, so make two rules of it"
    );
    assert_eq!(
        most(&format!("{}ph < 8.0{}", "(".repeat(41), ")".repeat(41))),
        "character 41: the rule has 41 opening brackets; at most 40 are allowed, so make two rules of it"
    );
    assert_eq!(
        most(&format!("pumps_run{}", " ? pumps_run : mixing".repeat(13))),
        "character 263: the rule has 13 question marks; at most 12 are allowed, so make two rules of it"
    );
    assert_eq!(
        most(&format!("ph{} < 8.0", " + ph".repeat(40))),
        "character 44: parts stand more than 32 deep in one another here; make two rules of it"
    );
    let items: Vec<String> = (0..33).map(|item| item.to_string()).collect();
    assert_eq!(
        most(&format!("hour in [{}]", items.join(","))),
        "character 9: the rule has 33 items in this list; at most 32 are allowed, so make two rules of it"
    );
    let dear = ["active('ph.low')"; 30].join(" || ");
    assert_eq!(
        most(&dear),
        "character 1: the rule takes 299 steps to work out; at most 250 are allowed, so make two rules of it"
    );
    let picked = ["ph"; 9].join(", ");
    assert_eq!(
        most(&format!("math.least({picked}) < 8.0")),
        "character 1: math.least takes 1 to 8 doubles, or as many ints"
    );
    let names = OwnName::ALL.iter().map(|known| known.name.to_owned());
    let conditions = (0..30).map(|n| format!("active('a.{n}')"));
    let questions: Vec<String> = names.chain(conditions).collect();
    let told = most(&questions.join("||"));
    let expected = "the rule has 65 different values; at most 64 are allowed";
    assert!(told.contains(expected), "{told}");
}
