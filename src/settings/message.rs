//! What messages say beside the value.

use crate::units::Quantity;

/// What the numbers of a source are, for units that messages name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reports {
    /// Values of the quantity, in a unit of it.
    Quantity(Quantity),
    /// Pulses of a meter.
    Pulses,
}

/// What an instrument that is well says of itself. Upper and lower case and
/// white space at the ends do not matter; a number is written as short as can
/// be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GoodStatus(Vec<String>);

impl GoodStatus {
    /// From the words, of which there is one at least.
    pub fn new<'a>(words: impl IntoIterator<Item = &'a str>) -> Self {
        let plain = |word: &str| word.trim().to_lowercase();
        GoodStatus(words.into_iter().map(plain).collect())
    }

    /// Whether a word is one of them.
    pub fn has(&self, word: &str) -> bool {
        let word = word.trim();
        self.0.iter().any(|good| good == word) || self.0.contains(&word.to_lowercase())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn case_and_white_space_do_not_matter() {
        let good = GoodStatus::new(["OK", "Gut ", "0", "true"]);
        for word in ["ok", "OK", " Ok\n", "gut", "0", "TRUE"] {
            assert!(good.has(word), "{word:?}");
        }
        for word in ["", "okay", "00", "1", "false"] {
            assert!(!good.has(word), "{word:?}");
        }
    }
}
