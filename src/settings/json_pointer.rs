//! JSON Pointer (RFC 6901): where in a payload a value stands.

use std::fmt;

/// A parsed JSON Pointer. The empty pointer is the whole document.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct JsonPointer(Vec<String>);

/// Why a text is not a JSON Pointer.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PointerError {
    /// It does not begin with a slash.
    #[error(
        "\"{0}\" is no JSON Pointer (RFC 6901): it must begin with /, as /value or /data/0/value"
    )]
    NoSlash(String),
    /// A tilde that is not part of `~0` or `~1`.
    #[error("\"{0}\" is no JSON Pointer (RFC 6901): write ~0 for ~ and ~1 for / inside a name")]
    LoneTilde(String),
}

impl JsonPointer {
    /// Reads the text form.
    ///
    /// # Errors
    /// When the text does not follow RFC 6901, section 3.
    pub fn parse(text: &str) -> Result<Self, PointerError> {
        if text.is_empty() {
            return Ok(JsonPointer(Vec::new()));
        }
        let Some(rest) = text.strip_prefix('/') else {
            return Err(PointerError::NoSlash(text.to_owned()));
        };
        rest.split('/')
            .map(unescape)
            .collect::<Option<Vec<_>>>()
            .map(JsonPointer)
            .ok_or_else(|| PointerError::LoneTilde(text.to_owned()))
    }

    /// The names from the root down, unescaped. A name of digits is a place
    /// where the document has a list.
    pub fn names(&self) -> &[String] {
        &self.0
    }
}

/// RFC 6901, section 4: `~1` stands for a slash, `~0` for a tilde.
fn unescape(name: &str) -> Option<String> {
    let mut plain = String::with_capacity(name.len());
    let mut letters = name.chars();
    while let Some(letter) = letters.next() {
        match letter {
            '~' => match letters.next() {
                Some('0') => plain.push('~'),
                Some('1') => plain.push('/'),
                _ => return None,
            },
            letter => plain.push(letter),
        }
    }
    Some(plain)
}

impl fmt::Display for JsonPointer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for name in &self.0 {
            write!(f, "/{}", name.replace('~', "~0").replace('/', "~1"))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The examples of RFC 6901, section 5.
    #[test]
    fn reads_the_examples_of_the_standard() {
        let cases: [(&str, &[&str]); 7] = [
            ("", &[]),
            ("/foo", &["foo"]),
            ("/foo/0", &["foo", "0"]),
            ("/", &[""]),
            ("/a~1b", &["a/b"]),
            ("/m~0n", &["m~n"]),
            ("/ ", &[" "]),
        ];
        for (text, names) in cases {
            assert_eq!(JsonPointer::parse(text).unwrap().names(), names, "{text}");
        }
        assert_eq!(JsonPointer::parse("/~01").unwrap().names(), ["~1"]);
    }

    #[test]
    fn refuses_what_the_standard_refuses() {
        assert!(matches!(
            JsonPointer::parse("value"),
            Err(PointerError::NoSlash(_))
        ));
        for text in ["/a~", "/a~2b"] {
            assert!(matches!(
                JsonPointer::parse(text),
                Err(PointerError::LoneTilde(_))
            ));
        }
    }

    proptest! {
        #[test]
        fn text_round_trip(names in proptest::collection::vec(".{0,8}", 0..5)) {
            let pointer = JsonPointer(names);
            prop_assert_eq!(JsonPointer::parse(&pointer.to_string()).unwrap(), pointer);
        }
    }
}
