//! The marks of readings in words, as the store's view `readings_plain` writes
//! them.

use crate::engine::Quality;
use crate::settings::nearest;

/// The word of a reading that has no mark.
const GOOD: &str = "good";

/// Each mark and its word, in the order in which the view writes them.
const WORDS: [(&str, Quality); 7] = [
    ("late", Quality::LATE),
    ("spike", Quality::SPIKE),
    ("clock", Quality::CLOCK),
    ("repeated", Quality::REPEATED),
    ("out_of_range", Quality::OUT_OF_RANGE),
    ("fault", Quality::FAULT),
    ("unsure", Quality::UNSURE),
];

/// Why words are no marks.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum QualityError {
    /// There is no such mark.
    #[error(
        "quality: there is no mark \"{found}\"{}; there are {GOOD} or nothing, and {}",
        meant(near),
        WORDS.map(|(word, _)| word).join(", ")
    )]
    Unknown {
        /// The word; of a long one its beginning.
        found: String,
        /// The nearest mark.
        near: Option<&'static str>,
    },
    /// A reading is called good beside other marks.
    #[error("quality: good stands alone; leave it out beside other marks")]
    GoodBesideMarks,
}

fn meant(near: &Option<&str>) -> String {
    near.map(|near| format!("; did you mean \"{near}\"?"))
        .unwrap_or_default()
}

/// So much of a wrong word is told, in characters.
const TOLD: usize = 40;

/// Reads marks: words with spaces between them; nothing and `good` say that
/// there is none.
///
/// # Errors
/// When a word is no mark, or `good` stands beside marks.
pub fn decode_quality(text: &str) -> Result<Quality, QualityError> {
    let words = || text.split_whitespace();
    if words().any(|word| word == GOOD) {
        return match words().count() {
            1 => Ok(Quality::GOOD),
            _ => Err(QualityError::GoodBesideMarks),
        };
    }
    words().try_fold(Quality::GOOD, |marks, word| {
        let found = WORDS.iter().find(|(known, _)| *known == word);
        let (_, mark) = found.ok_or_else(|| unknown(word))?;
        Ok(marks.with(*mark))
    })
}

/// Writes marks as the view does.
pub fn encode_quality(quality: Quality) -> String {
    let set = WORDS.iter().filter(|(_, mark)| quality.has(*mark));
    let words: Vec<&str> = set.map(|(word, _)| *word).collect();
    if words.is_empty() {
        return GOOD.to_owned();
    }
    words.join(" ")
}

fn unknown(word: &str) -> QualityError {
    let words = WORDS.iter().map(|(word, _)| *word).chain([GOOD]);
    QualityError::Unknown {
        found: word.chars().take(TOLD).collect(),
        near: nearest(word, words),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn every_combination_of_marks_comes_back() {
        for bits in 0..1 << WORDS.len() {
            let quality = Quality::from_bits(bits);
            assert_eq!(decode_quality(&encode_quality(quality)), Ok(quality));
        }
    }

    #[test]
    fn nothing_and_good_are_good_and_the_order_of_words_is_free() {
        for good in ["", "  ", "good", " good "] {
            assert_eq!(decode_quality(good), Ok(Quality::GOOD));
        }
        let both = Quality::LATE.with(Quality::FAULT);
        assert_eq!(decode_quality("fault  late"), Ok(both));
    }

    #[test]
    fn a_wrong_word_is_refused_with_the_nearest_right_one() {
        let told = decode_quality("late falut").unwrap_err().to_string();
        assert!(told.contains("did you mean \"fault\"?"), "{told}");
        let told = decode_quality("FAULT").unwrap_err().to_string();
        assert!(told.contains("did you mean \"fault\"?"), "{told}");
        let told = decode_quality("zzz").unwrap_err().to_string();
        assert!(told.contains("good or nothing, and late, spike"), "{told}");
        let beside = decode_quality("good fault");
        assert_eq!(beside, Err(QualityError::GoodBesideMarks));
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".*") {
            if let Err(why) = decode_quality(&text) {
                prop_assert!(why.to_string().len() < 500);
            }
        }
    }
}
