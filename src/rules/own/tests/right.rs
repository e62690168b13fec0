use super::*;

/// What a rule says of the ordinary hour.
fn says(text: &str) -> Verdict {
    let rule = compile(text).unwrap_or_else(|mistakes| panic!("{text}: {mistakes:?}"));
    rule.verdict(&inputs()).verdict
}

#[test]
fn rules_hold_or_do_not() {
    use Verdict::{Inside, Outside};
    for (text, expected) in [
        ("concentration < 7.0", Outside),
        ("concentration < 7", Outside),
        ("concentration < 6.5", Inside),
        ("7 > concentration && pumps_run", Outside),
        ("concentration < target - 1.5", Inside),
        ("concentration < target - 1.0 && !in_shift", Outside),
        ("volume / working_volume < 0.9", Outside),
        ("hour >= 22 || hour < 6", Outside),
        ("hour * 60 + minute > 22 * 60 + 29", Outside),
        ("hour / 5 == 4 && hour % 5 == 2", Outside),
        ("double(minute) / 60.0 == 0.5", Outside),
        ("int(temperature) == 24", Outside),
        ("weekday in [\"sat\", 'sun']", Outside),
        ("weekday == \"mon\"", Inside),
        ("weekday != \"mon\"", Outside),
        ("hour in [1, 2]", Inside),
        ("hour in [1.5, 22.0]", Outside),
        ("temperature in [24]", Outside),
        ("active(\"concentration.low\")", Outside),
        ("active(\"silent.probe-2\")", Inside),
        ("minutes_since_reading(\"ph\") > 10", Outside),
        ("minutes_since_entry(\"skimmed\") < 60.0", Inside),
        ("math.abs(concentration - target) > 1.4", Outside),
        ("math.greatest(ph, concentration, 8.0) == ph", Outside),
        (
            "math.least(hour, minute) == 22 && math.abs(-hour) == 22",
            Outside,
        ),
        ("(pumps_run ? temperature : ph) > 20.0", Outside),
        ("(pumps_run ? hour : 3) == 22", Outside),
        ("(pumps_run ? weekday : 'sun') == 'sat'", Outside),
        ("in_shift ? pumps_run : ph > 8.0", Outside),
        ("pumps_run == in_shift", Inside),
        ("pumps_run != in_shift", Outside),
        ("has_value(ph) && !has_value(redox)", Outside),
        ("has_value(minutes_since_entry(\"drained\"))", Inside),
        ("-ph < -8.5 // what pH is doing", Outside),
        ("concentration < 7.0\n  && pumps_run", Outside),
    ] {
        assert_eq!(says(text), expected, "{text}");
    }
}

#[test]
fn what_is_missing_says_nothing_unless_the_rest_settles_it() {
    use Verdict::{Inside, Outside, Unknown};
    for (text, expected) in [
        ("redox < 0.0", Unknown),
        ("!(redox < 0.0)", Unknown),
        ("redox < 0.0 || pumps_run", Outside),
        ("pumps_run || redox < 0.0", Outside),
        ("redox < 0.0 && in_shift", Inside),
        ("in_shift && redox < 0.0", Inside),
        ("redox < 0.0 || in_shift", Unknown),
        ("in_shift || redox < 0.0", Unknown),
        ("redox < 0.0 && pumps_run", Unknown),
        ("redox < 0.0 ? true : pumps_run", Unknown),
        ("in_shift ? redox < 0.0 : pumps_run", Outside),
        ("has_value(redox) && redox < 0.0", Inside),
        ("minutes_since_reading(\"redox\") > 5.0", Unknown),
        ("math.least(ph, redox) < 9.0", Unknown),
        ("redox in [1.0]", Unknown),
    ] {
        assert_eq!(says(text), expected, "{text}");
    }
}

#[test]
fn what_cannot_be_worked_out_says_nothing_and_why() {
    for (text, lack) in [
        ("temperature / carry_off > 5.0", OwnLack::DividedByZero),
        ("hour / (minute - 30) == 1", OwnLack::DividedByZero),
        ("hour % (minute - 30) == 1", OwnLack::DividedByZero),
        ("volume * 1e308 > 1.0", OwnLack::TooLarge),
        ("hour * 9223372036854775807 > 1", OwnLack::TooLarge),
        ("int(volume * 1e300) > 1", OwnLack::TooLarge),
        ("redox > 1.0", OwnLack::Missing),
    ] {
        let verdict = compile(text).unwrap().verdict(&inputs());
        let expected = (Verdict::Unknown, Some(lack));
        assert_eq!((verdict.verdict, verdict.lack), expected, "{text}");
    }
}

#[test]
fn a_number_that_is_none_is_not_there() {
    let rule = compile("ph < 8.0").unwrap();
    for ph in [f64::NAN, f64::INFINITY] {
        let inputs = OwnInputs {
            ph: Some(ph),
            ..OwnInputs::default()
        };
        assert_eq!(rule.verdict(&inputs).verdict, Verdict::Unknown);
    }
}

#[test]
fn evidence_is_what_was_looked_at() {
    let text = "in_shift || (ph < 9.0 && redox < 0.0) || weekday == 'sat' || hour > 3";
    let rule = compile(text).unwrap();
    let inputs = inputs();
    let verdict = rule.verdict(&inputs);
    assert_eq!((verdict.verdict, verdict.lack), (Verdict::Outside, None));
    let evidence: Vec<_> = rule
        .evidence(verdict, &inputs)
        .map(|one| (one.asked, one.value, one.unit))
        .collect();
    assert_eq!(
        evidence,
        [
            ("in_shift", Some(OwnValue::Truth(false)), ""),
            ("ph", Some(OwnValue::Number(8.9)), "pH"),
            ("redox", None, "mV"),
            ("weekday", Some(OwnValue::Word("sat")), ""),
        ]
    );
    let asks: Vec<_> = rule.asks().collect();
    assert_eq!(asks, ["in_shift", "ph", "redox", "weekday", "hour"]);
}

#[test]
fn a_rule_tells_what_it_reads() {
    let brix = [Quantity::Brix, Quantity::Concentration];
    let level = [Quantity::Level, Quantity::Volume];
    let only = |quantity: &'static Quantity| OwnRead::Signal(std::slice::from_ref(quantity));
    for (text, reads, silence) in [
        (
            "concentration < 5.0 && hour > 3",
            vec![OwnRead::Signal(&brix)],
            false,
        ),
        (
            "filled < 80 && pumps_run",
            vec![OwnRead::Signal(&level)],
            false,
        ),
        (
            "minutes_since_reading('ph') > 60",
            vec![only(&Quantity::Ph)],
            true,
        ),
        ("!has_value(redox)", vec![only(&Quantity::Redox)], true),
        (
            "active('silent.ph-2')",
            vec![OwnRead::Channel("ph-2")],
            true,
        ),
        (
            "active('instrument.ph-2')",
            vec![OwnRead::Channel("ph-2")],
            false,
        ),
        ("active('ph.low')", vec![only(&Quantity::Ph)], false),
        (
            "active('concentration.rising')",
            vec![OwnRead::Signal(&brix)],
            false,
        ),
        (
            "active('volume.low_low')",
            vec![OwnRead::Signal(&level)],
            false,
        ),
        ("active('souring.likely')", vec![OwnRead::Fluid], false),
        (
            "hardness > 300 || days_to_low_ph < 2",
            vec![OwnRead::Fluid; 2],
            false,
        ),
        ("active('mixer') || active('overdue.ph')", vec![], false),
        (
            "!has_value(minutes_since_entry('note')) && in_shift",
            vec![],
            false,
        ),
    ] {
        let rule = compile(text).unwrap();
        assert_eq!(rule.reads().collect::<Vec<_>>(), reads, "{text}");
        assert_eq!(rule.looks_for_silence(), silence, "{text}");
    }
}

#[test]
fn the_cost_counts_every_part() {
    for (text, cost) in [
        ("pumps_run", 1),
        ("ph < 8.0", 3),
        ("ph < 8", 4),
        ("!(ph < 8.0) && pumps_run", 6),
        ("hour in [1, 2, 3]", 5),
        ("active('ph.low')", 9),
    ] {
        assert_eq!(compile(text).unwrap().cost(), cost, "{text}");
    }
}

#[test]
fn rules_go_between_threads() {
    fn goes<T: Send + Sync + Clone>() {}
    goes::<OwnRule>();
}
