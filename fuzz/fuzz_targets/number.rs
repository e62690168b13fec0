//! Any bytes as a value in plain text, a number or on and off.
#![no_main]

use libfuzzer_sys::fuzz_target;
use sumpward::ingest::decode::Plan;
use sumpward::settings::{PayloadFormat, Scale, SwitchWords};
use sumpward::units::Linear;

fuzz_target!(|payload: &[u8]| {
    let words = SwitchWords {
        on: vec!["on".into(), "1".into()],
        off: vec!["off".into(), "0".into()],
    };
    let mut plan = Plan::default();
    plan.add(&PayloadFormat::Number, &Scale::Line(Linear::IDENTITY));
    plan.add(&PayloadFormat::Number, &Scale::Words(words));
    let mut out = Vec::new();
    plan.decode(payload, &mut out);
    assert_eq!(out.len(), 2);
    let values = out
        .iter()
        .filter_map(|outcome| outcome.reading.as_ref().ok());
    assert!(values.into_iter().all(|reading| reading.value.is_finite()));
});
