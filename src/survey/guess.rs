//! What a name suggests: a guess to be checked, never a fact.

use crate::units::Quantity;

/// Words in names of topics, fields and registers, in lower case. Common
/// practice, no source.
const WORDS: [(&str, Quantity); 33] = [
    ("brix", Quantity::Brix),
    ("bx", Quantity::Brix),
    ("refractometer", Quantity::Brix),
    ("concentration", Quantity::Concentration),
    ("conc", Quantity::Concentration),
    ("ph", Quantity::Ph),
    ("conductivity", Quantity::Conductivity),
    ("cond", Quantity::Conductivity),
    ("ec", Quantity::Conductivity),
    ("temperature", Quantity::Temperature),
    ("temp", Quantity::Temperature),
    ("level", Quantity::Level),
    ("fill", Quantity::Level),
    ("volume", Quantity::Volume),
    ("vol", Quantity::Volume),
    ("oxygen", Quantity::DissolvedOxygen),
    ("redox", Quantity::Redox),
    ("orp", Quantity::Redox),
    ("flow", Quantity::Flow),
    ("pressure", Quantity::Pressure),
    ("press", Quantity::Pressure),
    ("total", Quantity::Metered),
    ("totaliser", Quantity::Metered),
    ("totalizer", Quantity::Metered),
    ("counter", Quantity::Metered),
    ("meter", Quantity::Metered),
    ("pulses", Quantity::Metered),
    ("pump", Quantity::State),
    ("valve", Quantity::State),
    ("door", Quantity::State),
    ("running", Quantity::State),
    ("state", Quantity::State),
    ("nitrite", Quantity::Nitrite),
];

/// The quantity that a name suggests: its last word that is known counts, as
/// in `mill-4/coolantTemp`.
pub fn quantity(name: &str) -> Option<Quantity> {
    words(name).into_iter().rev().find_map(|word| {
        let known = WORDS.iter().find(|(known, _)| *known == word);
        known.map(|(_, quantity)| *quantity)
    })
}

/// The words of a name in lower case: letters between anything else, and a new
/// word at a capital after a small letter.
fn words(name: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut small_before = false;
    for letter in name.chars() {
        let begins = !letter.is_alphabetic() || (letter.is_uppercase() && small_before);
        if begins {
            words.push(String::new());
        }
        if letter.is_alphabetic()
            && let Some(word) = words.last_mut()
        {
            word.extend(letter.to_lowercase());
        }
        small_before = letter.is_lowercase();
    }
    words.retain(|word| !word.is_empty());
    words
}

/// A name as settings and topics allow it: a-z, 0-9, - and _, at most 64.
pub fn settings_name(name: &str) -> String {
    let mut plain = String::new();
    for letter in name.to_lowercase().chars() {
        let letter = if letter.is_ascii_alphanumeric() {
            letter
        } else {
            '-'
        };
        if !(letter == '-' && (plain.is_empty() || plain.ends_with('-'))) {
            plain.push(letter);
        }
    }
    plain.truncate(64);
    let plain = plain.trim_end_matches('-');
    if plain.is_empty() {
        "value".to_owned()
    } else {
        plain.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_last_known_word_counts() {
        for (name, expected) in [
            ("cells/turning/brix", Some(Quantity::Brix)),
            ("mill-4/coolantTemp", Some(Quantity::Temperature)),
            ("level_probe/temperature", Some(Quantity::Temperature)),
            ("lines/grinding/pH", None),
            ("lines/grinding/ph", Some(Quantity::Ph)),
            ("graph", None),
            ("", None),
        ] {
            assert_eq!(quantity(name), expected, "{name}");
        }
    }

    #[test]
    fn names_fit_the_settings() {
        assert_eq!(settings_name("Coolant Temp. (°C)"), "coolant-temp-c");
        assert_eq!(settings_name("//"), "value");
    }

    proptest! {
        #[test]
        fn any_name_gives_a_name(text in "\\PC*") {
            let name = settings_name(&text);
            prop_assert!((1..=64).contains(&name.len()));
            prop_assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'));
            let _ = quantity(&text);
        }
    }
}
