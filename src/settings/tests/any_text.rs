//! Whatever stands in a file, it is read or told, and nothing panics.

use std::fs;

use proptest::prelude::*;

use super::{PLANT, example, read, read_with, variables};
use crate::settings::Settings;

/// Values that are wrong somewhere, or right.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        Just("\"8 %\"".to_owned()),
        Just("nan".to_owned()),
        Just("false".to_owned()),
        Just("{ a = 1, b = [1, {}] }".to_owned()),
        Just("[\"1 L\", -3, [], {}]".to_owned()),
        Just("2020-01-01".to_owned()),
        any::<i64>().prop_map(|number| number.to_string()),
        "\"[^\"\\\\\\p{C}]{0,12}\"",
    ]
}

proptest! {
    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,200}") {
        let _ = read(&text);
        let _ = Settings::from_texts(&[("a.toml", &text)], variables(&[("SUMPWARD__A", &text)]));
    }

    #[test]
    fn no_setting_makes_it_panic(
        place in 0usize..4096,
        key in "[a-z_.\\[\\]-]{1,12}",
        value in value(),
    ) {
        let text = fs::read_to_string(example().join("sumps.toml")).unwrap();
        let settings: Vec<&str> = text.lines().filter(|line| line.contains(" = ")).collect();
        let line = settings[place % settings.len()];
        let name = line.split(" = ").next().unwrap_or_default();
        let replaced = text.replacen(line, &format!("{name} = {value}"), 1);
        let added = text.replacen(line, &format!("{line}\n\"{key}\" = {value}"), 1);
        for text in [replaced, added] {
            if let Err(error) = Settings::from_texts(&[("a.toml", PLANT), ("b.toml", &text)], variables(&[])) {
                prop_assert!(!error.mistakes.is_empty());
            }
        }
        let variable = format!("SUMPWARD__{}", key.to_uppercase().replace('.', "__"));
        let _ = read_with("", &[(&variable, &value)]);
    }
}
