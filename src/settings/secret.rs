//! Words that must not show.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error, Visitor};

/// A password. It never shows in debug output, and it cannot be printed.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Keeps `words` from showing.
    pub fn new(words: impl Into<String>) -> Self {
        Secret(words.into())
    }

    /// The words, for the one who must send them.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(…)")
    }
}

/// Takes numbers and the like too, so that no complaint about the wrong kind
/// of value can quote the value.
impl<'de> Deserialize<'de> for Secret {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(AnyScalar)
    }
}

struct AnyScalar;

impl Visitor<'_> for AnyScalar {
    type Value = Secret;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("text")
    }
    fn visit_str<E: Error>(self, words: &str) -> Result<Secret, E> {
        Ok(Secret::new(words))
    }
    fn visit_i64<E: Error>(self, number: i64) -> Result<Secret, E> {
        Ok(Secret::new(number.to_string()))
    }
    fn visit_f64<E: Error>(self, number: f64) -> Result<Secret, E> {
        Ok(Secret::new(number.to_string()))
    }
    fn visit_bool<E: Error>(self, truth: bool) -> Result<Secret, E> {
        Ok(Secret::new(truth.to_string()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn never_shows() {
        let secret = Secret::new("open sesame");
        assert!(!format!("{:?}", Some(&secret)).contains("sesame"));
        assert_eq!(secret.reveal(), "open sesame");
    }
}
