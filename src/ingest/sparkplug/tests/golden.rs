//! Messages of a library of others, `tests/reference/sparkplug_payloads.csv`.

use super::*;

const ROWS: &str = include_str!("../../../../tests/reference/sparkplug_payloads.csv");
const NAMES: [&str; 11] = [
    "Int8",
    "Int16",
    "Int32",
    "Int64",
    "UInt8",
    "UInt16",
    "UInt32",
    "UInt64",
    "Fluid/Brix",
    "Fluid/pH",
    "Pump/Running",
];

fn bytes(hex: &str) -> Vec<u8> {
    let digits = hex.as_bytes().chunks(2);
    let byte = |pair: &[u8]| {
        let pair = std::str::from_utf8(pair).unwrap();
        u8::from_str_radix(pair, 16).unwrap()
    };
    digits.map(byte).collect()
}

/// A finding in the words of the table.
fn says(finding: &Finding) -> String {
    let name = NAMES[finding.metric];
    match finding.news {
        News::Gone { time } => format!("{name}=null@{}", time.millis()),
        News::Reading {
            value,
            time,
            quality,
            footing,
            historical,
        } => {
            assert_eq!(footing, Footing::Certain);
            let value = match value {
                Value::Number(number) => number.to_string(),
                Value::Flag(flag) => flag.to_string(),
            };
            let bad = if quality == MetricQuality::Bad {
                "bad "
            } else {
                ""
            };
            let past = if historical { "past " } else { "" };
            format!("{name}={bad}{past}{value}@{}", time.unwrap().millis())
        }
    }
}

#[test]
fn each_message_says_what_its_writer_meant() {
    let mut host = Host::default();
    for metric in NAMES {
        host.want(&SparkplugMetric {
            group: "Hall 3".to_owned(),
            node: "gateway-1".to_owned(),
            device: Some("tank".to_owned()),
            name: metric.to_owned(),
        });
    }
    let arrival = Timestamp::from_millis(T0 as i64 + 10_000);
    let mut out = Outcome::default();
    let mut rows = 0;
    for row in ROWS.lines().filter(|line| line.starts_with(NAMESPACE)) {
        let [topic, hex, wanted, "computed"] = row.split(',').collect::<Vec<_>>()[..] else {
            panic!("{row}")
        };
        host.handle(topic, &bytes(hex), arrival, Delivery::First, &mut out)
            .unwrap();
        let said: Vec<String> = out.findings.iter().map(says).collect();
        match wanted {
            "all gone at arrival" => {
                let all = NAMES.map(|name| format!("{name}=null@{}", arrival.millis()));
                assert_eq!(said, all);
            }
            "the request for a birth" => {
                let ours = rebirth_payload(Timestamp::from_millis(T0 as i64));
                assert_eq!(ours, bytes(hex), "byte for byte");
            }
            _ => assert_eq!(said.join(";"), wanted, "{topic}"),
        }
        assert_eq!((&out.troubles[..], out.rebirth), (&[][..], None), "{topic}");
        rows += 1;
    }
    assert_eq!(rows, 10);
    assert_eq!(host.counters(), Counters::default());
}
