use std::sync::OnceLock;

use proptest::prelude::*;
use serde_json::json;

use super::*;
use crate::settings::Settings;

const PLANT: &str = r#"
[plant]
name = "p"
[store]
folder = "d"
[broker.main]
host = "h"
[fluid.oil]
title = "Invented"
factor = 1.0
[sump.mill]
title = "Mill"
fluid = "oil"
target = "8 %"
window = ["7 %", "9 %"]
working_volume = "900 L"
vessel = { shape = "rectangular", length = "1 m", width = "1 m", height = "1 m" }
[sump.mill.channel.brix]
quantity = "brix"
topic = "t"
"#;

fn sumps() -> &'static [Arc<SumpSetup>] {
    static SUMPS: OnceLock<Arc<[Arc<SumpSetup>]>> = OnceLock::new();
    SUMPS.get_or_init(|| {
        Settings::from_texts(&[("plant.toml", PLANT)], std::iter::empty())
            .unwrap_or_else(|mistakes| panic!("{mistakes}"))
            .sumps
    })
}

/// With the fields that every entry needs.
fn with_usual(fields: &Value) -> Value {
    let mut entry = json!({"time": "2026-03-02T06:10:00Z", "sump": "mill"});
    let map = entry.as_object_mut().unwrap();
    map.extend(fields.as_object().unwrap().clone());
    entry
}

fn read(fields: &Value) -> Result<Entry, EntryError> {
    decode_entry(with_usual(fields).to_string().as_bytes(), sumps()).map(|(_, entry)| entry)
}

#[test]
fn every_kind_is_read_and_written_again_the_same() {
    for fields in [
        json!({"kind": "hand_reading", "quantity": "brix", "value": 6.2, "method": "refractometer"}),
        json!({"kind": "hand_reading", "quantity": "concentration", "value": 7.1, "method": "titration", "by": "anna"}),
        json!({"kind": "impression", "smell": "stale", "look": ["foam", "oil_film"], "text": "since Monday"}),
        json!({"kind": "addition", "what": "premix", "litres": 85.0, "strength_pct": 19.3, "water": "tap"}),
        json!({"kind": "event", "what": "drained", "litres": 89.0, "advice": "mill/advice/1"}),
        json!({"kind": "event", "what": "probe_cleaned", "channel": "brix"}),
        json!({"kind": "note", "text": "foam", "supersedes": "a1"}),
        json!({"kind": "acknowledge", "alarm": "mill/ph.low/2026-03-02T06:00:00Z"}),
        json!({"kind": "shelve", "alarm": "ph.low", "hours": 8.0, "reason": "electrode on order"}),
        json!({"kind": "unshelve", "alarm": "ph.low"}),
        json!({"kind": "out_of_service", "alarm": "silent.ph", "reason": "probe sent in"}),
        json!({"kind": "in_service", "alarm": "silent.ph"}),
        json!({"kind": "reset", "alarm": "loss"}),
        json!({"kind": "withdrawn", "supersedes": "a1", "text": "wrong sump"}),
    ] {
        let mut expected = with_usual(&fields);
        expected["id"] = "x".into();
        let entry = decode_entry(expected.to_string().as_bytes(), sumps());
        let entry = entry.unwrap_or_else(|error| panic!("{fields}: {error}")).1;
        assert_eq!(serde_json::to_value(&entry).unwrap(), expected);
    }
}

#[test]
fn values_in_other_units_are_converted_and_what_was_written_is_kept() {
    let entry =
        read(&json!({"kind": "hand_reading", "quantity": "hardness", "value": 10, "unit": "°dH"}));
    let EntryKind::HandReading { value, written, .. } = entry.unwrap().kind else {
        panic!("a hand reading");
    };
    // tests/reference/hardness_units.csv: 1 °dH is 17.848 mg/L of CaCO3.
    assert!((value - 178.48).abs() < 0.005, "{value}");
    assert_eq!(written.as_deref(), Some("10 °dH"));
    let entry =
        read(&json!({"kind": "hand_reading", "quantity": "level", "value": 480, "unit": "mm"}));
    let EntryKind::HandReading { value, .. } = entry.unwrap().kind else {
        panic!("a hand reading");
    };
    assert_eq!(value, 0.48);
}

#[test]
fn what_is_wrong_is_told_with_field_found_allowed_and_the_nearest_word() {
    for (fields, words) in [
        (
            json!({"kind": "hand_redaing"}),
            &["kind is \"hand_redaing\"", "did you mean \"hand_reading\""][..],
        ),
        (json!({}), &["kind is missing", "addition"]),
        (
            json!({"kind": "note", "text": "x", "sump": "mil"}),
            &[
                "no sump \"mil\"",
                "the plant has mill",
                "did you mean \"mill\"",
            ],
        ),
        (
            json!({"kind": "note", "text": "x", "time": "6:10"}),
            &["time is \"6:10\"", "RFC 3339"],
        ),
        (json!({"kind": "note"}), &["text is missing"]),
        (
            json!({"kind": "note", "txt": "x", "text": "y"}),
            &[
                "no field \"txt\"",
                "of the kind note",
                "did you mean \"text\"",
            ],
        ),
        (
            json!({"kind": "hand_reading", "quantity": "birx", "value": 1}),
            &["quantity is \"birx\"", "did you mean \"brix\"", "tramp_oil"],
        ),
        (
            json!({"kind": "hand_reading", "quantity": "state", "value": 1}),
            &["quantity is \"state\""],
        ),
        (
            json!({"kind": "hand_reading", "quantity": "ph", "value": 91}),
            &["value is 91 pH", "0 to 14"],
        ),
        (
            json!({"kind": "hand_reading", "quantity": "ph", "value": "9"}),
            &["value is \"9\"", "a number is needed"],
        ),
        (
            json!({"kind": "hand_reading", "quantity": "hardness", "value": 9, "unit": "°hd"}),
            &["unit is \"°hd\"", "mmol/L"],
        ),
        (
            json!({"kind": "hand_reading", "quantity": "ph", "value": 9, "method": "titrtion"}),
            &["did you mean \"titration\""],
        ),
        (
            json!({"kind": "addition", "what": "water", "litres": 0}),
            &["litres is 0", "more than 0"],
        ),
        (
            json!({"kind": "addition", "what": "water", "litres": 8500}),
            &["litres is 8500", "the sump holds"],
        ),
        (
            json!({"kind": "addition", "what": "premix", "litres": 85}),
            &["strength_pct is missing"],
        ),
        (
            json!({"kind": "addition", "what": "premix", "litres": 85, "strength_pct": 120}),
            &["strength_pct is 120", "0 to 100"],
        ),
        (
            json!({"kind": "addition", "what": "water", "litres": 85, "strength_pct": 5}),
            &["goes with a premix only"],
        ),
        (
            json!({"kind": "addition", "what": "concentrate", "litres": 5, "water": "tap"}),
            &["water is \"tap\""],
        ),
        (
            json!({"kind": "event", "what": "probe_cleaned", "channel": "brx"}),
            &["no channel \"brx\"", "did you mean \"brix\""],
        ),
        (
            json!({"kind": "impression"}),
            &["one of smell, look and text"],
        ),
        (
            json!({"kind": "impression", "look": ["foam", "slim"]}),
            &["look is \"slim\"", "did you mean \"slime\""],
        ),
        (json!({"kind": "withdrawn"}), &["supersedes is missing"]),
        (
            json!({"kind": "note", "text": "x", "id": "a", "supersedes": "a"}),
            &["the entry's own id"],
        ),
        (
            json!({"kind": "note", "text": "x".repeat(3000)}),
            &["at most 2000 characters"],
        ),
    ] {
        let told = read(&fields).unwrap_err().to_string();
        for word in words {
            assert!(
                told.contains(word),
                "{fields}: \"{word}\" is missing in: {told}"
            );
        }
        assert!(told.len() < 600, "{told}");
    }
    let told = decode_entry(&vec![b' '; LONGEST + 1], sumps()).unwrap_err();
    assert!(matches!(told, EntryError::TooLong(_)));
    assert!(
        decode_entry(b"[]", sumps())
            .unwrap_err()
            .to_string()
            .contains("not an entry")
    );
}

#[test]
fn an_id_is_made_from_the_content_and_nothing_else() {
    let id = |text: &str| decode_entry(text.as_bytes(), sumps()).unwrap().1.id;
    let one = id(r#"{"kind":"note","time":"2026-03-02T06:10:00Z","sump":"mill","text":"foam"}"#);
    let same =
        id(r#" {"text": "foam", "sump":"mill","kind":"note", "time":"2026-03-02T06:10:00Z"}"#);
    let other = id(r#"{"kind":"note","time":"2026-03-02T06:10:00Z","sump":"mill","text":"foams"}"#);
    assert_eq!(one, same);
    assert_ne!(one, other);
}

#[test]
fn every_quantity_but_a_state_can_be_read_by_hand() {
    let by_hand = plausible::BY_HAND.map(|(_, quantity)| quantity);
    for quantity in Quantity::ALL {
        assert_eq!(
            by_hand.contains(&quantity),
            quantity != Quantity::State,
            "{quantity}"
        );
    }
}

proptest! {
    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = decode_entry(&bytes, sumps());
    }

    #[test]
    fn no_json_makes_it_panic(
        kind in prop::sample::select(KINDS.map(|(name, _)| name).to_vec()),
        field in "[a-z_]{1,8}",
        number in any::<f64>(),
        text in ".{0,20}",
    ) {
        for value in [json!(number), json!(text), json!([text]), json!({"a": text})] {
            for field in [field.as_str(), "value", "what", "litres", "look", "quantity", "unit", "id", "supersedes"] {
                let _ = read(&json!({"kind": kind, "quantity": "ph", "what": "premix", field: value}));
            }
        }
    }
}

#[test]
fn of_the_plant_there_are_entries_about_its_alarms_and_none_about_fluid() {
    let written = |fields: Value| {
        let mut entry = with_usual(&fields);
        entry["sump"] = "plant".into();
        decode_entry(entry.to_string().as_bytes(), sumps())
    };
    let taken =
        written(json!({"kind": "out_of_service", "alarm": "source.hall-3", "reason": "moved"}));
    let (place, entry) = taken.unwrap();
    assert_eq!((place, &*entry.sump), (sumps().len(), "plant"));
    let refused = written(json!({"kind": "addition", "what": "water", "litres": 5.0}));
    let told = refused.unwrap_err().to_string();
    assert!(told.starts_with("sump is \"plant\""), "{told}");
}
