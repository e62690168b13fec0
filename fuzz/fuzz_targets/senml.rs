//! Any bytes as a pack of SenML, in either encoding.
#![no_main]

use libfuzzer_sys::fuzz_target;
use sumpward::ingest::decode::Plan;
use sumpward::ingest::decode::senml::{self, Value};
use sumpward::settings::{PayloadFormat, Reports, Scale, SenmlName};
use sumpward::units::{Linear, Quantity};

fuzz_target!(|payload: &[u8]| {
    let Ok(records) = senml::read(payload) else {
        return;
    };
    assert!(!records.is_empty() && records.len() <= senml::MAX_RECORDS);
    assert!(records.is_sorted_by_key(|record| record.time));
    let mut plan = Plan::default();
    for record in &records {
        assert!(record.name.as_str().len() <= SenmlName::LONGEST);
        assert!(record.value.is_some() || record.sum.is_some());
        if let Some(Value::Number(number)) = record.value {
            assert!(number.is_finite());
        }
    }
    let format = PayloadFormat::Senml {
        name: records[0].name.clone(),
        reports: Reports::Quantity(Quantity::Temperature),
    };
    plan.add(&format, &Scale::Line(Linear::IDENTITY));
    let mut out = Vec::new();
    plan.decode(payload, &mut out);
    assert!(!out.is_empty());
    let readings = out
        .iter()
        .filter_map(|outcome| outcome.reading.as_ref().ok());
    assert!(
        readings
            .into_iter()
            .all(|reading| reading.value.is_finite())
    );
});
