//! Any bytes as messages of an edge node: the first byte of each piece says
//! which kind, the second how long it is.
#![no_main]

use libfuzzer_sys::fuzz_target;
use sumpward::ingest::sparkplug::{Delivery, Host, News, Outcome, Value};
use sumpward::settings::SparkplugMetric;
use sumpward::units::Timestamp;

const TOPICS: [&str; 6] = [
    "spBv1.0/g/NBIRTH/n",
    "spBv1.0/g/NDATA/n",
    "spBv1.0/g/NDEATH/n",
    "spBv1.0/g/DBIRTH/n/d",
    "spBv1.0/g/DDATA/n/d",
    "spBv1.0/g/DDEATH/n/d",
];

fuzz_target!(|bytes: &[u8]| {
    let mut host = Host::default();
    for device in [None, Some("d")] {
        host.want(&SparkplugMetric {
            group: "g".to_owned(),
            node: "n".to_owned(),
            device: device.map(str::to_owned),
            name: "m".to_owned(),
        });
    }
    let mut out = Outcome::default();
    let mut rest = bytes;
    while let [kind, len, more @ ..] = rest {
        let (payload, after) = more.split_at(usize::from(*len).min(more.len()));
        let topic = TOPICS[usize::from(kind % 6)];
        let delivery = if kind & 0x80 == 0 {
            Delivery::First
        } else {
            Delivery::Again
        };
        let arrival = Timestamp::from_millis(0);
        let handled = host.handle(topic, payload, arrival, delivery, &mut out);
        assert!(handled.is_ok() || out.findings.is_empty());
        for finding in &out.findings {
            assert!(finding.metric < 2);
            if let News::Reading {
                value: Value::Number(number),
                ..
            } = finding.news
            {
                assert!(number.is_finite());
            }
        }
        rest = after;
    }
});
