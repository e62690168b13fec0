//! Any bytes as a JSON message for three channels, with times, a unit and a
//! status.
#![no_main]

use libfuzzer_sys::fuzz_target;
use sumpward::ingest::decode::{Claimed, Plan};
use sumpward::settings::{GoodStatus, JsonPointer, PayloadFormat, Scale, TimeFormat};
use sumpward::units::{Linear, Quantity, Timestamp};

fuzz_target!(|payload: &[u8]| {
    let pointer = |text| JsonPointer::parse(text).expect("a pointer of ours");
    let mut plan = Plan::default();
    for (value, format) in [
        ("/v/0", TimeFormat::Rfc3339),
        ("/v/1", TimeFormat::UnixSeconds),
        ("/w", TimeFormat::UnixMillis),
    ] {
        let format = PayloadFormat::Json {
            value: pointer(value),
            time: Some((pointer("/t"), format)),
            unit: Some((pointer("/u"), Quantity::Temperature)),
            status: Some((pointer("/s"), GoodStatus::new(["ok", "0"]))),
        };
        plan.add(&format, &Scale::Line(Linear::IDENTITY));
    }
    let mut out = Vec::new();
    plan.decode(payload, &mut out);
    assert_eq!(out.len(), 3);
    let years = Timestamp::MIN..=Timestamp::MAX;
    for reading in out.into_iter().filter_map(|outcome| outcome.reading.ok()) {
        assert!(reading.value.is_finite());
        match reading.claimed {
            Claimed::None => {}
            Claimed::At(time) => assert!(years.contains(&time)),
            Claimed::Before(span) => panic!("JSON has no times from now, but {span}"),
        }
    }
});
