//! Any bytes as a pattern, and as what an instrument sends that it is to read.
#![no_main]

use std::time::Duration;

use libfuzzer_sys::fuzz_target;
use sumpward::line::{
    CheckKind, Checksum, LineCounts, LineEnd, LineFormat, LineReader, Pattern, Place, Shape,
};

fuzz_target!(|input: (&str, &[u8])| {
    let (pattern, bytes) = input;
    let pattern = match Pattern::parse(pattern) {
        Ok(pattern) => pattern,
        Err(_) => Pattern::parse("BX={brix} * T={temp}").expect("a pattern of ours"),
    };
    let fields = pattern.fields().len();
    for checksum in [None, Some(CheckKind::Xor), Some(CheckKind::Crc16)] {
        let checksum = checksum.map(|kind| Checksum {
            kind,
            start: None,
            mark: b'*',
        });
        let shape = Shape::Pattern(pattern.clone());
        let mut reader = LineReader::new(LineFormat { checksum, shape }, LineEnd::Any, 64);
        let mut counts = LineCounts::default();
        reader.handle_input(bytes, Duration::ZERO, &mut counts, |line, values| {
            assert!(!line.is_empty() && line.len() <= 64);
            if let Ok(values) = values {
                for field in 0..fields {
                    let number = values
                        .get(Place::Field(field))
                        .expect("every field has one");
                    assert!(number.is_finite());
                }
            }
        });
    }
});
