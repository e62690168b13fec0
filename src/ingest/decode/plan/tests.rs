use proptest::prelude::*;

use super::super::senml::{SenmlError, UnitError};
use super::*;
use crate::settings::{JsonPointer, SwitchWords};
use crate::units::{Linear, Span};

fn pointer(text: &str) -> JsonPointer {
    JsonPointer::parse(text).unwrap()
}

fn json(value: &str) -> PayloadFormat {
    PayloadFormat::Json {
        value: pointer(value),
        time: None,
        unit: None,
        status: None,
    }
}

fn senml(name: &str, quantity: Quantity) -> PayloadFormat {
    PayloadFormat::Senml {
        name: SenmlName::new("", name).unwrap(),
        reports: Reports::Quantity(quantity),
    }
}

fn times(scale: f64) -> Scale {
    Scale::Line(Linear { scale, offset: 0.0 })
}

fn words() -> Scale {
    Scale::Words(SwitchWords {
        on: vec!["on".into(), "true".into(), "1".into()],
        off: vec!["off".into(), "false".into(), "0".into()],
    })
}

fn decoded(parts: &[(PayloadFormat, Scale)], payload: &[u8]) -> Vec<Outcome> {
    let mut plan = Plan::default();
    for (format, scale) in parts {
        plan.add(format, scale);
    }
    let mut out = Vec::new();
    plan.decode(payload, &mut out);
    out
}

/// Part and value of each reading.
fn values(parts: &[(PayloadFormat, Scale)], payload: &str) -> Vec<(usize, f64)> {
    decoded(parts, payload.as_bytes())
        .into_iter()
        .map(|outcome| (outcome.part, outcome.reading.unwrap().value))
        .collect()
}

fn one(format: PayloadFormat, scale: Scale, payload: &str) -> Result<Decoded, DecodeError> {
    let mut out = decoded(&[(format, scale)], payload.as_bytes());
    assert_eq!(out.len(), 1, "{payload}");
    out.remove(0).reading
}

#[test]
fn a_message_that_is_the_value() {
    let number = |scale, payload| one(PayloadFormat::Number, scale, payload);
    assert_eq!(number(times(0.001), "35").unwrap().value, 0.035);
    assert_eq!(number(words(), " On ").unwrap().value, 1.0);
    assert_eq!(number(times(1.0), "x"), Err(DecodeError::NotANumber));
}

#[test]
fn each_channel_gets_its_part_of_one_document() {
    let payload = r#"{"brix":3.5,"level":[350],"pump":"on","time":"2026-03-02T06:10:00Z"}"#;
    let time = Some((pointer("/time"), TimeFormat::Rfc3339));
    let with_time = PayloadFormat::Json {
        value: pointer("/brix"),
        time,
        unit: None,
        status: None,
    };
    let parts = [
        (with_time, times(1.0)),
        (json("/ph"), times(1.0)),
        (json("/level/0"), times(0.001)),
        (json("/pump"), words()),
    ];
    let out = decoded(&parts, payload.as_bytes());
    let places: Vec<_> = out.iter().map(|outcome| outcome.part).collect();
    assert_eq!(places, [0, 1, 2, 3]);
    let first = out[0].reading.as_ref().unwrap();
    let time = Timestamp::parse("2026-03-02T06:10:00Z").unwrap();
    assert_eq!((first.value, first.claimed), (3.5, Claimed::At(time)));
    assert!(matches!(out[1].reading, Err(DecodeError::NoValue { .. })));
    assert_eq!(out[2].reading.as_ref().unwrap().value, 0.35);
    assert_eq!(out[2].reading.as_ref().unwrap().claimed, Claimed::None);
    assert_eq!(out[3].reading.as_ref().unwrap().value, 1.0);
    for outcome in decoded(&parts, b"{") {
        assert!(matches!(outcome.reading, Err(DecodeError::NotJson(_))));
    }
}

#[test]
fn more_channels_than_there_is_near_memory_for() {
    let count = 3 * NEAR;
    let parts: Vec<_> = (0..count)
        .map(|n| (json(&format!("/{n}")), times(1.0)))
        .collect();
    let numbers: Vec<usize> = (0..count).collect();
    let expected: Vec<_> = numbers.iter().map(|&n| (n, n as f64)).collect();
    assert_eq!(values(&parts, &format!("{numbers:?}")), expected);
}

#[test]
fn refusals_say_what_stands_there() {
    for (payload, kind) in [
        (r#"{"v":"3.5"}"#, "a text"),
        (r#"{"v":null}"#, "null"),
        (r#"{"v":{}}"#, "an object or a list"),
        (r#"{"v":[1]}"#, "an object or a list"),
        (r#"{"v":true}"#, "true or false"),
    ] {
        let told = one(json("/v"), times(1.0), payload).unwrap_err();
        let told = told.to_string();
        assert!(told.contains(kind) && told.contains("/v"), "{told}");
    }
}

#[test]
fn a_unit_in_the_message_goes_before_the_channels_own() {
    let format = PayloadFormat::Json {
        value: pointer("/v"),
        time: None,
        unit: Some((pointer("/u"), Quantity::Conductivity)),
        status: None,
    };
    // The channel's own: mS/cm.
    let read = |payload| one(format.clone(), times(1000.0), payload);
    for (payload, value) in [
        (r#"{"v":2.5}"#, 2500.0),
        (r#"{"v":2.5,"u":null}"#, 2500.0),
        (r#"{"v":2500,"u":"uS/cm"}"#, 2500.0),
        (r#"{"u":" S/m ","v":0.25}"#, 2500.0),
    ] {
        assert_eq!(read(payload).unwrap().value, value, "{payload}");
    }
    for (payload, found) in [
        (r#"{"v":2.5,"u":"°C"}"#, "\"°C\""),
        (r#"{"v":2.5,"u":""}"#, "\"\""),
        (r#"{"v":2.5,"u":7}"#, "a number"),
    ] {
        let told = read(payload).unwrap_err().to_string();
        for words in [found, "/u", "conductivity", "µS/cm, uS/cm, mS/cm, S/m"] {
            assert!(told.contains(words), "{words}: {told}");
        }
    }
}

#[test]
fn an_instrument_that_is_not_well_marks_its_reading() {
    let status = GoodStatus::new(["ok", "0", "true"]);
    let format = PayloadFormat::Json {
        value: pointer("/v"),
        time: None,
        unit: None,
        status: Some((pointer("/s"), status)),
    };
    for (says, quality) in [
        (r#""ok""#, Quality::GOOD),
        (r#"" OK""#, Quality::GOOD),
        ("0", Quality::GOOD),
        ("0.0", Quality::GOOD),
        ("true", Quality::GOOD),
        (r#""fault""#, Quality::FAULT),
        (r#""""#, Quality::FAULT),
        ("1", Quality::FAULT),
        ("false", Quality::FAULT),
        ("[]", Quality::FAULT),
        ("null", Quality::UNSURE),
    ] {
        let payload = format!(r#"{{"v":1,"s":{says}}}"#);
        let reading = one(format.clone(), times(1.0), &payload).unwrap();
        assert_eq!((reading.value, reading.quality), (1.0, quality), "{says}");
    }
    let silent = one(format, times(1.0), r#"{"v":1}"#).unwrap();
    assert_eq!(silent.quality, Quality::UNSURE);
}

#[test]
fn several_channels_and_times_of_one_pack() {
    let parts = [
        (senml("m/brix", Quantity::Brix), times(1.0)),
        (senml("m/temp", Quantity::Temperature), times(1.0)),
        (senml("m/pump", Quantity::State), words()),
        (senml("m/ph", Quantity::Ph), times(1.0)),
    ];
    let pack = r#"[{"bn":"m/","bt":1772431800,"n":"brix","v":3.5},
        {"n":"brix","t":-60,"v":3.4},
        {"n":"temp","u":"K","v":296.15},{"n":"pump","u":"/","v":1},{"n":"other","v":1},
        {"n":"temp","u":"Cel","t":-30,"v":22}]"#;
    let out = decoded(&parts, pack.as_bytes());
    let time = Timestamp::parse("2026-03-02T06:10:00Z").unwrap();
    let expected = [
        (0, 3.4, time - Span::from_secs(60)),
        (1, 22.0, time - Span::from_secs(30)),
        (0, 3.5, time),
        (1, 23.0, time),
        (2, 1.0, time),
    ];
    let got: Vec<_> = out
        .into_iter()
        .map(|outcome| (outcome.part, outcome.reading.unwrap()))
        .collect();
    assert_eq!(got.len(), expected.len());
    for ((part, reading), (of, value, time)) in got.into_iter().zip(expected) {
        assert_eq!((part, reading.claimed), (of, Claimed::At(time)));
        assert!((reading.value - value).abs() < 1e-9, "{reading:?}");
    }
}

#[test]
fn times_from_now_stay_so() {
    let pack = r#"[{"n":"a","v":1,"t":-5},{"n":"a","v":2},{"n":"a","v":3,"t":0.5}]"#;
    let out = decoded(&[(senml("a", Quantity::Ph), times(1.0))], pack.as_bytes());
    let claimed: Vec<_> = out
        .into_iter()
        .map(|outcome| outcome.reading.unwrap().claimed)
        .collect();
    assert_eq!(
        claimed,
        [
            Claimed::Before(Span::from_secs(5)),
            Claimed::None,
            Claimed::Before(Span::from_millis(-500)),
        ]
    );
}

/// Without a unit a number is in the channel's own, here mS/cm.
#[test]
fn a_record_without_a_unit_is_in_the_channels_own() {
    let read = |payload| one(senml("a", Quantity::Conductivity), times(1000.0), payload);
    let own = read(r#"[{"n":"a","v":2.5}]"#).unwrap();
    let given = read(r#"[{"n":"a","v":0.25,"u":"S/m"}]"#).unwrap();
    assert_eq!((own.value, given.value), (2500.0, 2500.0));
    let pulses = PayloadFormat::Senml {
        name: SenmlName::new("", "a").unwrap(),
        reports: Reports::Pulses,
    };
    for pack in [r#"[{"n":"a","v":8}]"#, r#"[{"n":"a","u":"count","v":8}]"#] {
        let litres = one(pulses.clone(), times(0.5), pack).unwrap().value;
        assert_eq!(litres, 4.0, "{pack}");
    }
}

#[test]
fn a_wrong_record_is_told_and_hides_no_other() {
    let parts = [
        (senml("a", Quantity::Brix), times(1.0)),
        (senml("b", Quantity::Ph), times(1.0)),
    ];
    let pack = r#"[{"n":"a","u":"V","v":1},{"n":"b","v":9},{"n":"a","v":3},{"n":"a","vs":"x"}]"#;
    let out = decoded(&parts, pack.as_bytes());
    let got: Vec<_> = out.iter().map(|o| (o.part, o.reading.is_ok())).collect();
    assert_eq!(got, [(1, true), (0, true), (0, false)]);
    let why = out[2].reading.clone().unwrap_err();
    assert!(
        matches!(
            &why,
            DecodeError::SenmlUnit {
                why: UnitError::OfAnother { .. },
                ..
            }
        ),
        "{why}"
    );
    assert!(why.to_string().contains("cannot be a brix"), "{why}");
    for (record, found) in [(r#""s":1"#, "a sum"), (r#""vd":"aGk""#, "bytes")] {
        let pack = format!(r#"[{{"n":"a",{record}}}]"#);
        let told = one(senml("a", Quantity::Ph), times(1.0), &pack).unwrap_err();
        assert!(told.to_string().contains(found), "{told}");
    }
}

#[test]
fn a_pack_may_leave_channels_out_but_not_all() {
    let parts = [
        (senml("a", Quantity::Brix), times(1.0)),
        (senml("b", Quantity::Ph), times(1.0)),
    ];
    assert_eq!(values(&parts, r#"[{"n":"b","v":9}]"#), [(1, 9.0)]);
    let strangers: Vec<_> = ["c", "d", "e", "f", "g", "h", "c"]
        .map(|name| format!(r#"{{"n":"{name}","v":1}}"#))
        .into();
    let out = decoded(&parts, format!("[{}]", strangers.join(",")).as_bytes());
    let told: Vec<_> = out
        .into_iter()
        .map(|outcome| outcome.reading.unwrap_err().to_string())
        .collect();
    assert_eq!(
        told,
        ["a", "b"].map(|name| format!(
            "the pack has no record {name}; it has c, d, e, f, g and others; check the channel's name"
        ))
    );
    let out = decoded(&parts, b"[{}]");
    assert_eq!(out.len(), 2);
    assert!(
        out.iter()
            .all(|outcome| outcome.reading == Err(DecodeError::Senml(SenmlError::Empty)))
    );
}

proptest! {
    /// What one channel gets does not depend on the others of its topic, but for
    /// the place at which a broken document was given up, and for numbers with
    /// exponents that no number has: these break the document only for a channel
    /// that looks at them.
    #[test]
    fn each_part_reads_as_if_it_were_alone(
        numbers in prop::collection::vec(-1e6f64..1e6, 1..5),
        picked in prop::collection::vec((0usize..6, any::<bool>()), 1..6),
        hurt in any::<prop::sample::Index>(),
        byte in any::<u8>().prop_filter("makes an exponent", |byte| !b"eE".contains(byte)),
    ) {
        let fields: Vec<String> =
            numbers.iter().enumerate().map(|(n, x)| format!("\"{n}\":[{x:?}]")).collect();
        let mut payload = format!("{{{}}}", fields.join(",")).into_bytes();
        let hurt = hurt.index(2 * payload.len());
        if let Some(place) = payload.get_mut(hurt) {
            *place = byte;
        }
        let parts: Vec<_> = picked
            .iter()
            .map(|(n, in_list)| {
                let below = if *in_list { "/0" } else { "" };
                (json(&format!("/{n}{below}")), times(2.0))
            })
            .collect();
        let together = decoded(&parts, &payload);
        for (place, part) in parts.iter().enumerate() {
            let alone = decoded(std::slice::from_ref(part), &payload);
            let (together, alone) = (&together[place].reading, &alone[0].reading);
            let broken = |reading| matches!(reading, &Err(DecodeError::NotJson(_)));
            prop_assert!(together == alone || (broken(together) && broken(alone)));
        }
    }

    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..96)) {
        let parts = [
            (PayloadFormat::Number, times(1.0)),
            (json("/0/v"), words()),
            (senml("a", Quantity::Ph), times(1.0)),
        ];
        let out = decoded(&parts, &bytes);
        prop_assert!(out.iter().filter_map(|o| o.reading.as_ref().ok()).all(|r| r.value.is_finite()));
    }
}
