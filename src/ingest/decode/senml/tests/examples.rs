//! Every example of RFC 8428, sections 5.1 and 6.

use super::super::{Record, Time, Value, read};
use crate::settings::SenmlName;
use crate::units::{Span, Timestamp};

const EXAMPLES: &str = include_str!("../../../../../tests/reference/senml_rfc8428_examples.txt");

/// The example below "= section".
fn example(section: &str) -> &'static str {
    let heading = format!("\n= {section}\n");
    let (_, rest) = EXAMPLES.split_once(&heading).expect("the example is there");
    rest.split("\n= ").next().expect("a text has a first part")
}

fn records(section: &str) -> Vec<Record> {
    read(example(section).as_bytes()).unwrap()
}

fn number(name: &str, unit: &str, time: Time, value: f64) -> Record {
    Record {
        name: SenmlName::new("", name).unwrap(),
        unit: Some(unit.into()),
        time,
        value: Some(Value::Number(value)),
        sum: None,
        update_time: None,
    }
}

fn at(text: &str) -> Time {
    Time::At(Timestamp::parse(text).unwrap())
}

#[test]
fn a_single_data_point() {
    let name = "urn:dev:ow:10e2073a01080063";
    assert_eq!(records("5.1.1"), [number(name, "Cel", Time::NOW, 23.1)]);
}

#[test]
fn multiple_data_points() {
    assert_eq!(
        records("5.1.2 two quantities now"),
        [
            number("urn:dev:ow:10e2073a01080063:voltage", "V", Time::NOW, 120.1),
            number("urn:dev:ow:10e2073a01080063:current", "A", Time::NOW, 1.2),
        ]
    );
}

/// "Current at Tue Jun 8 18:01:16.001 UTC 2010 and at each second for the
/// previous 5 seconds"; the voltage is of the same instant as the last one.
#[test]
fn seconds_before_the_base_time() {
    let current = "urn:dev:ow:10e2073a0108006:current";
    let voltage = "urn:dev:ow:10e2073a0108006:voltage";
    let last = at("2010-06-08T18:01:16.001Z");
    assert_eq!(
        records("5.1.2 six currents"),
        [
            number(current, "A", at("2010-06-08T18:01:11.001Z"), 1.2),
            number(current, "A", at("2010-06-08T18:01:12.001Z"), 1.3),
            number(current, "A", at("2010-06-08T18:01:13.001Z"), 1.4),
            number(current, "A", at("2010-06-08T18:01:14.001Z"), 1.5),
            number(current, "A", at("2010-06-08T18:01:15.001Z"), 1.6),
            number(voltage, "V", last, 120.1),
            number(current, "A", last, 1.7),
        ]
    );
}

#[test]
fn a_stream_that_has_ended() {
    let name = "urn:dev:ow:10e2073a01080063";
    let values = [21.2, 21.3, 21.4, 21.4, 21.5, 21.5, 21.5, 21.6, 21.7];
    let start = Timestamp::parse("2011-10-31T13:24:24Z").unwrap();
    let expected: Vec<Record> = (0..)
        .zip(values)
        .map(|(n, value)| {
            number(
                name,
                "%RH",
                Time::At(start + Span::from_secs(10 * n)),
                value,
            )
        })
        .collect();
    assert_eq!(records("5.1.2 stream"), expected);
}

/// Section 5.1.4 is section 5.1.3 resolved; and what is resolved stays so.
#[test]
fn resolved_as_the_standard_resolves() {
    let resolved = records("5.1.3");
    assert_eq!(resolved.len(), 13);
    assert_eq!(resolved, records("5.1.4"));
    let name = "urn:dev:ow:10e2073a01080063";
    assert_eq!(
        resolved[9],
        number(name, "%EL", at("2011-10-31T13:26:54Z"), 98.0)
    );
}

#[test]
fn multiple_data_types() {
    let base = "urn:dev:ow:10e2073a01080063:";
    let other = |name: &str, value| Record {
        name: SenmlName::new(base, name).unwrap(),
        unit: None,
        time: Time::NOW,
        value: Some(value),
        sum: None,
        update_time: None,
    };
    assert_eq!(
        records("5.1.5"),
        [
            number(&format!("{base}temp"), "Cel", Time::NOW, 23.1),
            other("label", Value::Text("Machine Room".into())),
            other("open", Value::Boolean(false)),
            other("nfv-reader", Value::Data(b"hi \n".into())),
        ]
    );
}

/// "The last record would use the Base Name from the 3rd record but the Base
/// Time from the first record."
#[test]
fn each_base_field_has_its_own_scope() {
    let time = at("2011-10-31T16:27:09Z");
    assert_eq!(
        records("5.1.6"),
        [
            number("2001:db8::2/temperature", "Cel", time, 25.2),
            number("2001:db8::2/humidity", "%RH", time, 30.0),
            number("2001:db8::1/temperature", "Cel", time, 12.3),
            number("2001:db8::1/humidity", "%RH", time, 67.0),
        ]
    );
}

#[test]
fn actuators() {
    let base = "urn:dev:ow:10e2073a01080063:";
    assert_eq!(
        records("5.1.7 thermostat"),
        [
            number(&format!("{base}temp"), "Cel", Time::NOW, 23.1),
            number(&format!("{base}heat"), "/", Time::NOW, 1.0),
            number(&format!("{base}fan"), "/", Time::NOW, 0.0),
        ]
    );
    let time = at("2011-10-31T16:27:09Z");
    assert_eq!(
        records("5.1.7 two lights"),
        [
            number("2001:db8::3", "/", time, 1.0),
            number("2001:db8::4", "/", time, 1.0),
        ]
    );
    let later = at("2011-10-31T16:27:09.100Z");
    assert_eq!(
        records("5.1.7 two lights dimmed"),
        [
            number("2001:db8::3", "/", time, 0.5),
            number("2001:db8::4", "/", time, 0.5),
            number("2001:db8::3", "/", later, 0.0),
            number("2001:db8::4", "/", later, 0.0),
        ]
    );
}

/// The dump of section 6 is the second example of section 5.1.2.
#[test]
fn the_same_as_cbor() {
    let bytes: Vec<u8> = example("6")
        .split_whitespace()
        .map(|byte| u8::from_str_radix(byte, 16).unwrap())
        .collect();
    assert_eq!(bytes.len(), 0xc3);
    assert_eq!(read(&bytes).unwrap(), records("5.1.2 six currents"));
}
