//! JSON and CBOR against each other, and records against their own resolved
//! form.

use proptest::prelude::*;
use serde_json::{Map, json};

use super::super::{Record, Time, Value, read};

/// What a field holds.
#[derive(Debug, Clone)]
enum Held {
    Number(f64),
    Text(String),
    Boolean(bool),
    Data(Vec<u8>),
}

/// A field: its name in JSON, its number in CBOR, and what it holds. Unknown
/// fields have a name only.
type Field = (&'static str, Option<i8>, Held);

fn number() -> impl Strategy<Value = Held> {
    let number = prop_oneof![
        -1000.0..1000.0f64,
        (-1000..1000i32).prop_map(f64::from),
        prop::num::f64::NORMAL | prop::num::f64::SUBNORMAL | prop::num::f64::ZERO,
    ];
    number.prop_map(Held::Number)
}

fn seconds() -> impl Strategy<Value = Held> {
    let seconds = prop_oneof![
        -1000.0..1000.0f64,
        0.0..3e9f64,
        (268_435_400..268_435_500i32).prop_map(f64::from),
    ];
    seconds.prop_map(Held::Number)
}

fn text(letters: &'static str) -> impl Strategy<Value = Held> {
    letters.prop_map(Held::Text)
}

fn name() -> impl Strategy<Value = Field> {
    prop_oneof![
        20 => text("[a-z][a-z0-9./_-]{0,6}"),
        1 => text("\\PC{0,3}"),
    ]
    .prop_map(|held| ("n", Some(0), held))
}

fn value() -> impl Strategy<Value = Field> {
    prop_oneof![
        6 => number().prop_map(|held| ("v", Some(2), held)),
        1 => text("\\PC{0,9}").prop_map(|held| ("vs", Some(3), held)),
        1 => any::<bool>().prop_map(|held| ("vb", Some(4), Held::Boolean(held))),
        1 => prop::collection::vec(any::<u8>(), 0..9).prop_map(|held| ("vd", Some(8), Held::Data(held))),
        1 => number().prop_map(|held| ("s", Some(5), held)),
    ]
}

fn another() -> impl Strategy<Value = Field> {
    prop_oneof![
        4 => text("[a-z0-9:]{0,4}").prop_map(|held| ("bn", Some(-2), held)),
        4 => seconds().prop_map(|held| ("bt", Some(-3), held)),
        4 => text("(Cel|K|)").prop_map(|held| ("bu", Some(-4), held)),
        4 => number().prop_map(|held| ("bv", Some(-5), held)),
        4 => number().prop_map(|held| ("bs", Some(-6), held)),
        1 => (9..12u8).prop_map(|v| ("bver", Some(-1), Held::Number(v.into()))),
        8 => text("(Cel|pH|\\PC{1,3})").prop_map(|held| ("u", Some(1), held)),
        8 => seconds().prop_map(|held| ("t", Some(6), held)),
        4 => number().prop_map(|held| ("s", Some(5), held)),
        4 => number().prop_map(|held| ("ut", Some(7), held)),
        4 => text("x").prop_map(|held| ("extra", None, held)),
        1 => value(),
    ]
}

/// Mostly what makes a good record, and now and then what does not; without two
/// fields of one label, which JSON libraries do not write.
fn record() -> impl Strategy<Value = Vec<Field>> {
    let parts = (
        prop::option::weighted(0.9, name()),
        prop::option::weighted(0.9, value()),
        prop::collection::vec(another(), 0..5),
    );
    parts.prop_map(|(name, value, mut fields)| {
        fields.extend(name);
        fields.extend(value);
        fields.sort_by_key(|field| field.0);
        fields.dedup_by_key(|field| field.0);
        fields
    })
}

fn pack() -> impl Strategy<Value = Vec<Vec<Field>>> {
    prop::collection::vec(record(), 0..5)
}

fn as_json(pack: &[Vec<Field>]) -> Vec<u8> {
    let records = pack.iter().map(|record| {
        let fields = record.iter().map(|(name, _, held)| {
            let held = match held {
                Held::Number(number) => json!(number),
                Held::Text(text) => json!(text),
                Held::Boolean(boolean) => json!(boolean),
                Held::Data(data) => json!(base64url(data)),
            };
            ((*name).to_owned(), held)
        });
        fields.collect::<Map<_, _>>()
    });
    serde_json::to_vec(&records.collect::<Vec<_>>()).unwrap()
}

/// With the shortest heads; a number is an integer where it is one, and the
/// labels are texts where `spelled`.
fn as_cbor(pack: &[Vec<Field>], spelled: bool) -> Vec<u8> {
    let mut bytes = head(4, pack.len() as u64);
    for record in pack {
        bytes.extend(head(5, record.len() as u64));
        for (name, number, held) in record {
            match number {
                Some(number) if !spelled => bytes.extend(integer(i64::from(*number))),
                _ => bytes.extend(string(3, name.as_bytes())),
            }
            match held {
                Held::Number(x) if x.fract() == 0.0 && x.abs() < 1e15 => {
                    bytes.extend(integer(*x as i64))
                }
                Held::Number(x) => {
                    bytes.push(0xfb);
                    bytes.extend(x.to_be_bytes());
                }
                Held::Text(text) => bytes.extend(string(3, text.as_bytes())),
                Held::Boolean(boolean) => bytes.push(0xf4 + u8::from(*boolean)),
                Held::Data(data) => bytes.extend(string(2, data)),
            }
        }
    }
    bytes
}

fn string(major: u8, bytes: &[u8]) -> Vec<u8> {
    [head(major, bytes.len() as u64), bytes.to_vec()].concat()
}

fn integer(number: i64) -> Vec<u8> {
    if number < 0 {
        head(1, (-1 - number) as u64)
    } else {
        head(0, number as u64)
    }
}

fn head(major: u8, argument: u64) -> Vec<u8> {
    let major = major << 5;
    let bytes = argument.to_be_bytes();
    match argument {
        0..=23 => vec![major | bytes[7]],
        24..=0xff => vec![major | 24, bytes[7]],
        0x100..=0xffff => [&[major | 25], &bytes[6..]].concat(),
        0x1_0000..=0xffff_ffff => [&[major | 26], &bytes[4..]].concat(),
        _ => [&[major | 27][..], &bytes].concat(),
    }
}

/// Bit by bit, so that it shares nothing with the reader.
fn base64url(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_";
    let bits: Vec<u8> = bytes
        .iter()
        .flat_map(|byte| (0..8).rev().map(move |bit| byte >> bit & 1))
        .collect();
    let letter = |six: &[u8]| {
        let place = (0..6).fold(0, |place, bit| place << 1 | six.get(bit).unwrap_or(&0));
        char::from(LETTERS[usize::from(place)])
    };
    bits.chunks(6).map(letter).collect()
}

/// The resolved records as a pack of their own.
fn resolved(records: &[Record]) -> Vec<Vec<Field>> {
    records
        .iter()
        .map(|record| {
            let seconds = match record.time {
                Time::At(time) => time.millis() as f64 / 1000.0,
                Time::FromNow(span) => span.secs_f64(),
            };
            let mut fields = vec![
                ("n", Some(0), Held::Text(record.name.to_string())),
                ("t", Some(6), Held::Number(seconds)),
            ];
            fields.extend(
                record
                    .unit
                    .clone()
                    .map(|unit| ("u", Some(1), Held::Text(unit))),
            );
            fields.extend(record.value.clone().map(|value| match value {
                Value::Number(number) => ("v", Some(2), Held::Number(number)),
                Value::Text(text) => ("vs", Some(3), Held::Text(text)),
                Value::Boolean(boolean) => ("vb", Some(4), Held::Boolean(boolean)),
                Value::Data(data) => ("vd", Some(8), Held::Data(data)),
            }));
            fields.extend(record.sum.map(|sum| ("s", Some(5), Held::Number(sum))));
            fields.extend(
                record
                    .update_time
                    .map(|span| ("ut", Some(7), Held::Number(span.secs_f64()))),
            );
            fields
        })
        .collect()
}

proptest! {
    #[test]
    fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..96)) {
        let _ = read(&bytes);
        let _ = read(&[&[0x83, 0xa3], &bytes[..]].concat());
        let _ = read(&[b"[{\"n\":", &bytes[..]].concat());
    }

    /// A pack that was hurt on its way.
    #[test]
    fn no_hurt_pack_panics(
        pack in pack(), spelled: bool, place: prop::sample::Index, byte: u8, keep: prop::sample::Index,
    ) {
        for mut bytes in [as_json(&pack), as_cbor(&pack, spelled)] {
            let place = place.index(bytes.len());
            bytes[place] = byte;
            let _ = read(&bytes);
            let _ = read(&bytes[..keep.index(bytes.len())]);
        }
    }

    #[test]
    fn json_and_cbor_say_the_same(pack in pack()) {
        let json = read(&as_json(&pack));
        prop_assert_eq!(&json, &read(&as_cbor(&pack, false)));
        prop_assert_eq!(&json, &read(&as_cbor(&pack, true)));
    }

    #[test]
    fn what_is_resolved_stays_so(pack in pack()) {
        if let Ok(records) = read(&as_json(&pack)) {
            // Spans beyond 2^53 ms are not exact in seconds.
            prop_assume!(records.iter().all(|r| {
                r.update_time.is_none_or(|span| span.millis().unsigned_abs() < 1 << 53)
            }));
            let again = read(&as_json(&resolved(&records))).unwrap();
            prop_assert_eq!(&again, &records);
            prop_assert_eq!(&read(&as_cbor(&resolved(&records), false)).unwrap(), &records);
            prop_assert!(records.is_sorted_by_key(|r| r.time));
        }
    }
}

/// The properties above say something only where good packs are common, and
/// bad ones not rare.
#[test]
fn packs_are_of_both_sorts() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::deterministic();
    let good = (0..500)
        .filter(|_| {
            let pack = pack().new_tree(&mut runner).unwrap().current();
            read(&as_json(&pack)).is_ok()
        })
        .count();
    assert!((150..400).contains(&good), "{good} of 500");
}
