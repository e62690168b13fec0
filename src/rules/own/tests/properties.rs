//! Whatever people write, and whatever well-made rule they write.

use proptest::prelude::*;

use super::*;
use crate::rules::own::check::MOST_STEPS;
use crate::rules::own::parse::{LONGEST, MOST_BRACKETS, MOST_CHOICES};

/// A well-made rule of doubles.
pub(super) fn number() -> impl Strategy<Value = String> {
    let leaf = prop_oneof![
        prop::sample::select(vec![
            "concentration",
            "target",
            "ph",
            "temperature",
            "volume",
            "redox",
            "carry_off",
            "evaporation",
        ])
        .prop_map(str::to_owned),
        (-50..50i32).prop_map(|tenths| format!("{:.1}", f64::from(tenths) / 10.0)),
        Just("minutes_since_reading('ph')".to_owned()),
        whole().prop_map(|whole| format!("double({whole})")),
    ];
    leaf.prop_recursive(2, 6, 3, |inner| {
        prop_oneof![
            (
                inner.clone(),
                prop::sample::select(vec!["+", "-", "*", "/"]),
                inner.clone()
            )
                .prop_map(|(left, sign, right)| format!("({left} {sign} {right})")),
            inner.clone().prop_map(|part| format!("-({part})")),
            inner.clone().prop_map(|part| format!("math.abs({part})")),
            (inner.clone(), inner.clone(), inner)
                .prop_map(|(a, b, c)| format!("math.greatest({a}, {b}, {c})")),
        ]
    })
}

/// A well-made rule of ints.
fn whole() -> impl Strategy<Value = String> {
    let leaf = prop_oneof![
        prop::sample::select(vec!["hour", "minute"]).prop_map(str::to_owned),
        (-5..70i32).prop_map(|number| number.to_string()),
    ];
    leaf.prop_recursive(2, 5, 2, |inner| {
        let sign = prop::sample::select(vec!["+", "-", "*", "/", "%"]);
        (inner.clone(), sign, inner)
            .prop_map(|(left, sign, right)| format!("({left} {sign} {right})"))
    })
}

/// A well-made rule; it asks for something.
pub(super) fn rule() -> impl Strategy<Value = String> {
    let order = || prop::sample::select(vec!["<", "<=", "==", "!=", ">=", ">"]);
    let leaf = prop_oneof![
        (number(), order(), number()).prop_map(|(a, sign, b)| format!("{a} {sign} {b}")),
        (whole(), order(), whole()).prop_map(|(a, sign, b)| format!("{a} {sign} {b}")),
        (number(), order(), whole()).prop_map(|(a, sign, b)| format!("{a} {sign} {b}")),
        Just("pumps_run".to_owned()),
        Just("mixing".to_owned()),
        Just("weekday in ['sat', 'sun']".to_owned()),
        Just("active('concentration.low')".to_owned()),
        whole().prop_map(|part| format!("{part} in [1, 2, 22]")),
        number().prop_map(|part| format!("{part} in [1, 2.5]")),
        Just("has_value(redox)".to_owned()),
    ];
    let rule = leaf.prop_recursive(3, 8, 3, |inner| {
        prop_oneof![
            (
                inner.clone(),
                prop::sample::select(vec!["&&", "||", "=="]),
                inner.clone()
            )
                .prop_map(|(left, sign, right)| format!("({left}) {sign} ({right})")),
            inner.clone().prop_map(|part| format!("!({part})")),
            (inner.clone(), inner.clone(), inner)
                .prop_map(|(a, b, c)| format!("({a}) ? ({b}) : ({c})")),
        ]
    });
    let rule = rule.prop_map(|text| format!("({text}) || in_shift"));
    rule.prop_filter("within the bounds", |text| {
        text.len() <= LONGEST
            && text.matches(['(', '[']).count() <= MOST_BRACKETS
            && text.matches('?').count() <= MOST_CHOICES
    })
}

/// Values of which any may be missing.
pub(super) fn some_inputs() -> impl Strategy<Value = OwnInputs> {
    let number = || prop::option::of((-100..100i32).prop_map(|tenths| f64::from(tenths) / 10.0));
    let truth = || prop::option::of(any::<bool>());
    let whole = || prop::option::of(0..60i64);
    (
        [number(), number(), number(), number(), number(), number()],
        [truth(), truth(), truth()],
        [whole(), whole()],
        prop::option::of(prop::sample::select(WEEKDAYS.to_vec())),
        any::<bool>(),
        number(),
    )
        .prop_map(
            |(numbers, truths, wholes, weekday, active, since)| OwnInputs {
                concentration: numbers[0],
                target: numbers[1],
                ph: numbers[2],
                temperature: numbers[3],
                volume: numbers[4],
                redox: numbers[5],
                carry_off: Some(0.0),
                evaporation: Some(20.0),
                pumps_run: truths[0],
                mixing: truths[1],
                in_shift: truths[2],
                hour: wholes[0],
                minute: wholes[1],
                weekday,
                active: if active {
                    vec!["concentration.low".into()]
                } else {
                    Vec::new()
                },
                since_reading: std::array::from_fn(|_| since),
                ..OwnInputs::default()
            },
        )
}

/// Signs and words as they come in rules, in any order.
fn jumble() -> impl Strategy<Value = String> {
    let token = prop::sample::select(vec![
        "ph",
        "hour",
        "weekday",
        "active",
        "math",
        ".",
        "(",
        ")",
        "[",
        "]",
        "{",
        "}",
        "?",
        ":",
        ",",
        "&&",
        "||",
        "!",
        "-",
        "<",
        "==",
        "in",
        "has",
        "has_value",
        "\"sat\"",
        "'",
        "\"",
        "1",
        "2.5",
        "1e9",
        "5u",
        "null",
        "true",
        "b'x'",
        "r\"",
        "\\",
        "`",
        "//",
        "\n",
        "µ",
        "%",
        "all",
        "exists",
        "x",
        "\u{0}",
    ]);
    prop::collection::vec(token, 0..120).prop_map(|tokens| tokens.join(" "))
}

proptest! {
    #[test]
    fn any_text_is_a_rule_or_told(text in prop_oneof![".{0,300}", "\\PC{0,300}", jumble()]) {
        match compile(&text) {
            Ok(rule) => prop_assert!(rule.cost() <= MOST_STEPS),
            Err(mistakes) => prop_assert!(!mistakes.is_empty()),
        }
    }

    #[test]
    fn well_made_rules_are_taken_and_worked_out(text in rule(), inputs in some_inputs()) {
        match compile(&text) {
            Ok(rule) => {
                let verdict = rule.verdict(&inputs);
                prop_assert!(rule.cost() <= MOST_STEPS);
                prop_assert_eq!(verdict.lack.is_some(), verdict.verdict == Verdict::Unknown);
                prop_assert!(rule.evidence(verdict, &inputs).count() <= rule.asks().count());
                let lacks = rule.evidence(verdict, &inputs).any(|one| one.value.is_none());
                prop_assert!(verdict.lack != Some(OwnLack::Missing) || lacks);
            }
            Err(mistakes) => {
                let bound = |fault: &OwnFault| matches!(fault, OwnFault::TooDear { .. } | OwnFault::TooDeep { .. });
                prop_assert!(mistakes.iter().all(|one| bound(&one.fault)), "{mistakes:?}");
            }
        }
    }
}

#[test]
fn the_deepest_texts_are_told_within_the_stack_that_is_asked_for() {
    let nest = |open: &str, close: &str, times: usize| {
        format!("{}ph > 1.0{}", open.repeat(times), close.repeat(times))
    };
    let texts = [
        nest("(", ")", MOST_BRACKETS),
        nest("[", "]", MOST_BRACKETS),
        nest("{1:", "}", MOST_BRACKETS),
        nest("active(", ")", MOST_BRACKETS),
        nest("(", ")", 400),
        "(".repeat(MOST_BRACKETS),
        "[(".repeat(MOST_BRACKETS / 2),
        "!".repeat(LONGEST),
        "-".repeat(LONGEST),
        "!-".repeat(LONGEST / 2),
        format!("{}pumps_run", "!".repeat(LONGEST - 20)),
        format!("ph{} > 1.0", " + ph".repeat(190)),
        format!("ph{} > 1.0", ".a".repeat(480)),
        format!("pumps_run{}", " && pumps_run".repeat(70)),
        format!("pumps_run{}", "?pumps_run:pumps_run".repeat(MOST_CHOICES)),
        "?".repeat(MOST_CHOICES),
        "a?".repeat(MOST_CHOICES),
        "<".repeat(LONGEST),
        "1<".repeat(LONGEST / 2),
        "\"".repeat(LONGEST),
        ".".repeat(LONGEST),
        ">{".repeat(MOST_BRACKETS),
    ];
    let taken: Vec<bool> = texts.iter().map(|text| compile(text).is_ok()).collect();
    assert!(taken.contains(&false));
}
