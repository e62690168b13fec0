//! Names of SenML: RFC 8428, section 4.5.1.

use std::fmt;

/// The name of a record, base name and name together.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SenmlName(String);

/// Why a text is not such a name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SenmlNameError {
    /// There is none.
    #[error("a name is missing")]
    Empty,
    /// It begins with neither a letter nor a digit.
    #[error("the name {0:?} must begin with a letter or digit (RFC 8428, section 4.5.1)")]
    Start(String),
    /// It has a character that names must not have.
    #[error(
        "the name {name:?} has {character:?} in it; A-Z, a-z, 0-9 and - : . / _ are allowed (RFC 8428, section 4.5.1)"
    )]
    Character {
        /// The name.
        name: String,
        /// The first such character.
        character: char,
    },
    /// It is longer than is taken.
    #[error("the name has {0} bytes; at most {longest} are taken", longest = SenmlName::LONGEST)]
    TooLong(usize),
}

impl SenmlName {
    /// Longest name, in bytes. RFC 8428 sets no limit; without one a long base
    /// name would be repeated in each of many records.
    pub const LONGEST: usize = 255;

    /// From base name and name.
    ///
    /// # Errors
    /// When they make no name after RFC 8428, section 4.5.1, or one that is too
    /// long.
    pub fn new(base: &str, own: &str) -> Result<Self, SenmlNameError> {
        let length = base.len() + own.len();
        if length > Self::LONGEST {
            return Err(SenmlNameError::TooLong(length));
        }
        let name = [base, own].concat();
        let allowed = |c: &char| c.is_ascii_alphanumeric() || "-:./_".contains(*c);
        if let Some(character) = name.chars().find(|c| !allowed(c)) {
            return Err(SenmlNameError::Character { name, character });
        }
        match name.chars().next() {
            None => Err(SenmlNameError::Empty),
            Some(first) if first.is_ascii_alphanumeric() => Ok(SenmlName(name)),
            Some(_) => Err(SenmlNameError::Start(name)),
        }
    }

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for SenmlName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_have_their_letters() {
        let name = |base, own| SenmlName::new(base, own).map(|name| name.to_string());
        assert_eq!(
            name("2001:db8::1/", "Temp-2_a.b").unwrap(),
            "2001:db8::1/Temp-2_a.b"
        );
        assert_eq!(name("", "9").unwrap(), "9");
        // Neither part needs to begin as a name must, the whole does.
        assert_eq!(name("a", "_b").unwrap(), "a_b");
        assert_eq!(name("", ""), Err(SenmlNameError::Empty));
        for start in ["-", ":", ".", "/", "_"] {
            assert_eq!(
                name(start, "a"),
                Err(SenmlNameError::Start(format!("{start}a")))
            );
        }
        for (wrong, character) in [("a b", ' '), ("ä", 'ä'), ("a+", '+'), ("a\0", '\0')] {
            let name = name("", wrong);
            assert!(
                matches!(name, Err(SenmlNameError::Character { character: found, .. }) if found == character),
                "{name:?}"
            );
        }
    }

    #[test]
    fn the_longest_name_is_the_whole() {
        let base = "b".repeat(200);
        let rest = SenmlName::LONGEST - base.len();
        assert!(SenmlName::new(&base, &"n".repeat(rest)).is_ok());
        let longer = SenmlName::new(&base, &"n".repeat(rest + 1));
        assert_eq!(longer, Err(SenmlNameError::TooLong(SenmlName::LONGEST + 1)));
    }
}
