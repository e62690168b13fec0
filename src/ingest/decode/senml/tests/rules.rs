//! Each rule of section 4, kept and broken.

use super::super::{CborFault, MAX_RECORDS, MAX_UNIT, Record, SenmlError, Time, Value, read};
use crate::settings::{SenmlName, SenmlNameError};
use crate::units::{Span, Timestamp};

fn records(json: &str) -> Vec<Record> {
    read(json.as_bytes()).unwrap_or_else(|why| panic!("{json}: {why}"))
}

fn refusal(json: &str) -> SenmlError {
    read(json.as_bytes()).expect_err(json)
}

fn time(seconds: &str) -> Time {
    records(&format!(r#"[{{"n":"a","t":{seconds},"v":1}}]"#))[0].time
}

#[test]
fn base_value_and_base_sum_are_added() {
    let got = records(
        r#"[{"bn":"a","bv":20,"bs":100,"v":1.5,"s":5},{"v":-0.5},{"bv":1,"vs":"x"},{"n":"b","v":1}]"#,
    );
    let values: Vec<_> = got.iter().map(|r| (r.value.clone(), r.sum)).collect();
    assert_eq!(
        values,
        [
            (Some(Value::Number(21.5)), Some(105.0)),
            (Some(Value::Number(19.5)), Some(100.0)),
            (Some(Value::Text("x".into())), Some(100.0)),
            (Some(Value::Number(2.0)), Some(100.0)),
        ]
    );
}

#[test]
fn a_sum_may_stand_alone() {
    let got = records(r#"[{"n":"a","s":3.5},{"n":"b","bs":1,"t":1}]"#);
    assert_eq!((got[0].value.clone(), got[0].sum), (None, Some(3.5)));
    assert_eq!((got[1].value.clone(), got[1].sum), (None, Some(1.0)));
    assert_eq!(refusal(r#"[{"n":"a"}]"#), SenmlError::NoValue { record: 1 });
    assert_eq!(
        refusal(r#"[{"n":"a","v":1},{"bv":3,"t":1}]"#),
        SenmlError::NoValue { record: 2 }
    );
}

#[test]
fn one_value_only() {
    assert_eq!(
        refusal(r#"[{"n":"a","vb":true,"v":1}]"#),
        SenmlError::TwoValues {
            record: 1,
            labels: ["v", "vb"]
        }
    );
}

#[test]
fn the_units_own_goes_before_the_base() {
    let got = records(
        r#"[{"bn":"a","bu":"Cel","v":1},{"u":"K","v":2},{"u":"","v":3},{"v":4},{"bu":"","v":5}]"#,
    );
    let units: Vec<_> = got.iter().map(|r| r.unit.as_deref()).collect();
    assert_eq!(units, [Some("Cel"), Some("K"), None, Some("Cel"), None]);
}

#[test]
fn base_name_and_name_are_one() {
    let got = records(r#"[{"bn":"a/","n":"b","v":1},{"n":"_c","v":1},{"bn":"9","v":1}]"#);
    let names: Vec<_> = got.iter().map(|r| r.name.as_str()).collect();
    assert_eq!(names, ["a/b", "a/_c", "9"]);
    for (json, record, why) in [
        (r#"[{"v":1}]"#, 1, SenmlNameError::Empty),
        (
            r#"[{"n":"a","v":1},{"n":"_b","v":1}]"#,
            2,
            SenmlNameError::Start("_b".into()),
        ),
        (
            r#"[{"bn":"a ","n":"b","v":1}]"#,
            1,
            SenmlNameError::Character {
                name: "a b".into(),
                character: ' ',
            },
        ),
    ] {
        assert_eq!(refusal(json), SenmlError::Name { record, why }, "{json}");
    }
}

#[test]
fn times_count_from_now_or_from_1970() {
    assert_eq!(records(r#"[{"n":"a","v":1}]"#)[0].time, Time::NOW);
    assert_eq!(time("0"), Time::NOW);
    assert_eq!(time("-5"), Time::FromNow(Span::from_secs(-5)));
    assert_eq!(time("-0.25"), Time::FromNow(Span::from_millis(-250)));
    assert_eq!(time("0.02"), Time::FromNow(Span::from_millis(20)));
    assert_eq!(
        time("268435455"),
        Time::FromNow(Span::from_secs(268_435_455))
    );
    // RFC 8428, section 4.5.3: the smallest absolute time.
    let smallest = Timestamp::parse("1978-07-04T21:24:16Z").unwrap();
    assert_eq!(time("268435456"), Time::At(smallest));
    let fraction = Timestamp::parse("2026-03-02T06:10:00.125Z").unwrap();
    assert_eq!(time("1772431800.125"), Time::At(fraction));
    assert_eq!(time("1772431800.1249999"), Time::At(fraction));
}

#[test]
fn base_time_and_time_are_added_before_they_are_judged() {
    let got = records(r#"[{"bn":"a","bt":268435450,"t":6,"v":1},{"t":5,"v":2}]"#);
    assert_eq!(got[0].time, Time::At(Time::FIRST_ABSOLUTE));
    assert_eq!(got[1].time, Time::FromNow(Span::from_secs(268_435_455)));
    // Milliseconds sent for seconds lie 54,000 years ahead.
    let told = refusal(r#"[{"n":"a","t":1772431800125,"v":1}]"#);
    assert_eq!(
        told,
        SenmlError::Time {
            record: 1,
            seconds: 1_772_431_800_125.0
        }
    );
}

#[test]
fn now_is_left_to_the_reader() {
    let now = Timestamp::parse("2026-03-02T06:10:00Z").unwrap();
    assert_eq!(Time::NOW.given(now), now);
    assert_eq!(time("-60").given(now), now - Span::from_secs(60));
    assert_eq!(time("1772431800").given(now - Span::from_secs(9)), now);
}

#[test]
fn records_come_in_the_order_of_time() {
    let got = records(
        r#"[{"bn":"a","t":2,"v":1},{"t":-2,"v":2},{"t":2,"v":3},{"t":1772431801,"v":4},{"t":1772431800,"v":5},{"v":6}]"#,
    );
    let order: Vec<_> = got.iter().map(|r| r.value.clone()).collect();
    assert_eq!(
        order,
        [5.0, 4.0, 2.0, 6.0, 1.0, 3.0].map(|v| Some(Value::Number(v)))
    );
}

#[test]
fn update_times_are_kept() {
    let got = records(r#"[{"n":"a","v":1,"ut":30.5},{"n":"a","v":1,"ut":-1e300}]"#);
    assert_eq!(got[0].update_time, Some(Span::from_millis(30_500)));
    assert_eq!(got[1].update_time, Some(Span::from_millis(i64::MIN)));
}

#[test]
fn unknown_fields_are_passed_over_unless_they_must_be_understood() {
    let got = records(r#"[{"n":"a","v":1,"x":[{"v":9}],"b":{"n":"z"},"_y":null,"X":1}]"#);
    assert_eq!(got[0].value, Some(Value::Number(1.0)));
    assert_eq!(
        refusal(r#"[{"n":"a","v":1},{"n":"a","v":1,"st_":1}]"#),
        SenmlError::MustUnderstand {
            record: 2,
            label: "st_".into()
        }
    );
    // The same as CBOR: {0: "a", 2: 1, "st_": 1}, {0: "a", 2: 1, "st": [1], 9: 1}.
    assert_eq!(
        read(b"\x81\xa3\x00\x61a\x02\x01\x63st_\x01"),
        Err(SenmlError::MustUnderstand {
            record: 1,
            label: "st_".into()
        })
    );
    assert!(read(b"\x81\xa4\x00\x61a\x02\x01\x62st\x81\x01\x09\x01").is_ok());
}

#[test]
fn versions_that_are_understood_and_others() {
    for understood in ["1", "5", "10", "26", "1e1"] {
        records(&format!(
            r#"[{{"bver":{understood},"n":"a","v":1}},{{"n":"a","v":1}}]"#
        ));
    }
    for newer in ["11", "25", "27", "58"] {
        let told = refusal(&format!(r#"[{{"bver":{newer},"n":"a","v":1}}]"#));
        assert!(
            matches!(told, SenmlError::NewerVersion { record: 1, .. }),
            "{told}"
        );
    }
    for none in ["0", "-1", "9.5"] {
        let told = refusal(&format!(r#"[{{"bver":{none},"n":"a","v":1}}]"#));
        assert!(
            matches!(told, SenmlError::NoVersion { record: 1, .. }),
            "{told}"
        );
    }
    assert_eq!(
        refusal(r#"[{"n":"a","v":1},{"bver":5,"n":"a","v":1}]"#),
        SenmlError::TwoVersions {
            record: 2,
            found: 5.0,
            first: 10.0
        }
    );
    records(r#"[{"n":"a","v":1},{"bver":10,"n":"a","v":1}]"#);
}

#[test]
fn fields_of_the_wrong_kind() {
    for (field, label, found, allowed) in [
        (r#""v":"3.5""#, "v", "a text", "a number"),
        (r#""v":null"#, "v", "null", "a number"),
        (r#""v":true"#, "v", "true or false", "a number"),
        (r#""v":[1]"#, "v", "a list", "a number"),
        (r#""v":{"v":1}"#, "v", "an object", "a number"),
        (r#""vs":1"#, "vs", "a number", "a text"),
        (r#""vb":0"#, "vb", "a number", "true or false"),
        (r#""vd":0"#, "vd", "a number", "bytes"),
        (r#""v":1,"u":1"#, "u", "a number", "a text"),
        (r#""v":1,"t":"now""#, "t", "a text", "a number"),
        (r#""v":1,"bt":null"#, "bt", "null", "a number"),
        (r#""v":1,"bver":"10""#, "bver", "a text", "a number"),
    ] {
        let told = refusal(&format!(r#"[{{"n":"a",{field}}}]"#));
        assert_eq!(
            told,
            SenmlError::WrongKind {
                record: 1,
                label,
                found,
                allowed
            },
            "{field}"
        );
    }
    assert_eq!(
        refusal(r#"[{"n":"a","vd":"aGkgCg=="}]"#),
        SenmlError::Base64 { record: 1 }
    );
    // {0: "a", 8: "x"}: in CBOR bytes are bytes.
    assert!(matches!(
        read(b"\x81\xa2\x00\x61a\x08\x61x"),
        Err(SenmlError::WrongKind { label: "vd", .. })
    ));
}

#[test]
fn a_field_stands_once() {
    assert_eq!(
        refusal(r#"[{"n":"a","v":1,"v":1}]"#),
        SenmlError::Twice {
            record: 1,
            label: "v"
        }
    );
    // {0: "a", 2: 1, "v": 1}: by number and by name.
    assert_eq!(
        read(b"\x81\xa3\x00\x61a\x02\x01\x61v\x01"),
        Err(SenmlError::Twice {
            record: 1,
            label: "v"
        })
    );
}

#[test]
fn numbers_are_finite() {
    let added = refusal(r#"[{"n":"a","bv":1.7e308,"v":1.7e308}]"#);
    assert_eq!(
        added,
        SenmlError::NotFinite {
            record: 1,
            label: "v"
        }
    );
    assert!(matches!(
        refusal(r#"[{"n":"a","v":1e999}]"#),
        SenmlError::Json { record: 1, .. }
    ));
    // {0: "a", 2: NaN} in half precision, and 2: 4([2^64 - 1, 1]).
    for bytes in [
        &b"\x81\xa2\x00\x61a\x02\xf9\x7e\x00"[..],
        b"\x81\xa2\x00\x61a\x02\xc4\x82\x1b\xff\xff\xff\xff\xff\xff\xff\xff\x01",
    ] {
        assert_eq!(
            read(bytes),
            Err(SenmlError::NotFinite {
                record: 1,
                label: "v"
            })
        );
    }
}

#[test]
fn what_is_kept_is_bounded() {
    let many = |count: usize| format!("[{}]", vec![r#"{"n":"a","v":1}"#; count].join(","));
    assert_eq!(records(&many(MAX_RECORDS)).len(), MAX_RECORDS);
    assert_eq!(refusal(&many(MAX_RECORDS + 1)), SenmlError::TooMany);

    let named = |base: usize, own: usize| {
        let (base, own) = ("b".repeat(base), "n".repeat(own));
        format!(r#"[{{"bn":"{base}","n":"{own}","v":1}}]"#)
    };
    records(&named(SenmlName::LONGEST, 0));
    for (base, own) in [(SenmlName::LONGEST + 1, 0), (1, SenmlName::LONGEST)] {
        let why = SenmlNameError::TooLong(base + own);
        let record = 1;
        assert_eq!(refusal(&named(base, own)), SenmlError::Name { record, why });
    }
    for label in ["u", "bu"] {
        let unit = "m".repeat(MAX_UNIT + 1);
        let told = refusal(&format!(r#"[{{"n":"a","{label}":"{unit}","v":1}}]"#));
        assert!(
            matches!(told, SenmlError::UnitTooLong { record: 1, .. }),
            "{told}"
        );
    }
}

#[test]
fn what_is_neither_json_nor_cbor() {
    for (payload, told) in [
        (&b""[..], "is empty"),
        (b"  \n", "is empty"),
        (b"3.5", "begins with '3'"),
        (b"{\"n\":\"a\",\"v\":1}", "begins with '{'"),
        (b"\xa2\x00\x61a\x02\x01", "begins with byte 0xa2"),
        (b"\xd9\xd9\xf7\x01", "begins with byte 0xd9"),
        (b"\xef\xbb\xbf[]", "begins with byte 0xef"),
    ] {
        let why = read(payload).unwrap_err();
        assert!(matches!(why, SenmlError::Neither { .. }), "{why}");
        assert!(why.to_string().contains(told), "{why}");
    }
}

#[test]
fn json_that_is_no_pack() {
    for (json, record) in [
        ("[", 0),
        (r#"[{"n":"a","v":1}"#, 1),
        (r#"[{"n":"a","v":1}] x"#, 1),
        (r#"[{"n":"a","v":1},]"#, 1),
        (r#"[{"n":"a","v":1},3]"#, 2),
        (r#"[[{"n":"a","v":1}]]"#, 1),
        (r#"[{"n":"a","v":1},null]"#, 2),
    ] {
        match refusal(json) {
            SenmlError::Json { record: told, .. } => assert_eq!(told, record, "{json}"),
            other => panic!("{json}: {other}"),
        }
    }
    assert_eq!(refusal(" [ ]"), SenmlError::Empty);
    assert_eq!(refusal(r#"[{"bn":"a"}]"#), SenmlError::Empty);
}

#[test]
fn cbor_that_is_no_pack() {
    let cut = |bytes, record, at, fault| {
        assert_eq!(
            read(bytes),
            Err(SenmlError::Cbor { record, at, fault }),
            "{bytes:02x?}"
        );
    };
    cut(b"\x81", 1, 1, CborFault::CutShort);
    cut(b"\x81\xa2\x00\x61a\x02", 1, 6, CborFault::CutShort);
    cut(b"\x9f\xa2\x00\x61a\x02\x01", 1, 7, CborFault::CutShort);
    cut(b"\x81\xa2\x00\x61a\x02\x01\x00", 1, 7, CborFault::Trailing);
    cut(b"\x81\xff", 1, 2, CborFault::Break);
    cut(b"\x81\xbf\x00\xff", 1, 4, CborFault::Break);
    cut(b"\x81\xa1\x02\x1c", 1, 4, CborFault::Reserved);
    cut(b"\x81\xa1\x00\x61\xff", 1, 5, CborFault::NotUtf8);
    assert_eq!(read(b"\x80"), Err(SenmlError::Empty));
    assert_eq!(
        read(b"\x81\x01"),
        Err(SenmlError::NotARecord {
            record: 1,
            found: "an integer"
        })
    );
    assert_eq!(
        read(b"\x81\xa1\xf5\x01"),
        Err(SenmlError::NotALabel {
            record: 1,
            found: "true or false"
        })
    );
    // A number under tag 1, a time as others write it.
    assert!(matches!(
        read(b"\x81\xa2\x02\x01\x06\xc1\x1a\x69\xa5\x2a\x38"),
        Err(SenmlError::WrongKind { label: "t", .. })
    ));
}

#[test]
fn cbor_in_its_other_forms() {
    let plain = read(br#"[{"n":"ab","v":273.15}]"#).unwrap();
    for bytes in [
        // [_ {_ 0: "ab", 2: 273.15}]
        &b"\x9f\xbf\x00\x62ab\x02\xfb\x40\x71\x12\x66\x66\x66\x66\x66\xff\xff"[..],
        // [{"n": "ab", "v": 4([-2, 27315])}]
        b"\x81\xa2\x61n\x62ab\x61v\xc4\x82\x21\x19\x6a\xb3",
        // 55799([{0: (_ "a", "b"), 2: 4([-2, 27315])}])
        b"\xd9\xd9\xf7\x81\xa2\x00\x7f\x61a\x61b\xff\x02\xc4\x82\x21\x19\x6a\xb3",
    ] {
        assert_eq!(read(bytes).unwrap(), plain, "{bytes:02x?}");
    }
}
