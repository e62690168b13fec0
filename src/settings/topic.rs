//! Topic names and topic filters (MQTT 5.0, section 4.7).

/// Longest topic in bytes (MQTT 5.0, section 1.5.4).
const LONGEST: usize = 65_535;

/// Why a text is not a topic.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TopicError {
    /// Nothing at all.
    #[error("a topic has at least one character")]
    Empty,
    /// More than the protocol can carry.
    #[error("a topic has at most 65535 bytes, this one has {0}")]
    TooLong(usize),
    /// A null character.
    #[error("a topic holds no null character")]
    Null,
    /// A `#` that is not the whole of the last level.
    #[error("in \"{0}\" the # does not stand alone in the last level; write for example plant/a/#")]
    Hash(String),
    /// A `+` that is not the whole of its level.
    #[error("in \"{0}\" the + does not stand alone in its level; write for example plant/+/brix")]
    Plus(String),
    /// A wildcard where one exact topic is needed.
    #[error("\"{0}\" holds + or #, but one exact topic is needed here")]
    Wildcard(String),
    /// A shared subscription.
    #[error(
        "\"{0}\" is a shared subscription; its messages come under another topic, write that one"
    )]
    Shared(String),
}

/// Checks a topic that may hold wildcards.
///
/// # Errors
/// When it is none (MQTT 5.0, section 4.7).
pub fn check_filter(text: &str) -> Result<(), TopicError> {
    check_text(text)?;
    if text.starts_with("$share/") {
        return Err(TopicError::Shared(text.to_owned()));
    }
    let mut levels = text.split('/').peekable();
    while let Some(level) = levels.next() {
        let last = levels.peek().is_none();
        if level.contains('#') && !(level == "#" && last) {
            return Err(TopicError::Hash(text.to_owned()));
        }
        if level.contains('+') && level != "+" {
            return Err(TopicError::Plus(text.to_owned()));
        }
    }
    Ok(())
}

/// Checks a topic that messages are published to.
pub(super) fn check_exact(text: &str) -> Result<(), TopicError> {
    check_text(text)?;
    if has_wildcard(text) {
        return Err(TopicError::Wildcard(text.to_owned()));
    }
    Ok(())
}

/// Whether a topic holds `+` or `#`.
pub(super) fn has_wildcard(text: &str) -> bool {
    text.contains(['+', '#'])
}

fn check_text(text: &str) -> Result<(), TopicError> {
    match text {
        "" => Err(TopicError::Empty),
        text if text.len() > LONGEST => Err(TopicError::TooLong(text.len())),
        text if text.contains('\0') => Err(TopicError::Null),
        _ => Ok(()),
    }
}

/// Whether some topic fits both filters. A wildcard in the first level fits no
/// topic that begins with `$` (MQTT 5.0, section 4.7.2).
pub(super) fn overlap(a: &str, b: &str) -> bool {
    let wild_start = |filter: &str| filter.starts_with(['+', '#']);
    let hidden = |filter: &str| filter.starts_with('$');
    if (wild_start(a) && hidden(b)) || (wild_start(b) && hidden(a)) {
        return false;
    }
    let (mut a, mut b) = (a.split('/'), b.split('/'));
    loop {
        match (a.next(), b.next()) {
            (Some("#"), _) | (_, Some("#")) | (None, None) => return true,
            (Some(x), Some(y)) if x == y || x == "+" || y == "+" => {}
            _ => return false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn takes_and_refuses_after_the_standard() {
        for good in [
            "a", "/", "a//b", "#", "+", "a/+/b", "a/b/#", "+/+", "µ/temp", "$SYS/#",
        ] {
            assert_eq!(check_filter(good), Ok(()), "{good}");
        }
        assert_eq!(check_filter(""), Err(TopicError::Empty));
        assert_eq!(check_filter("a\0b"), Err(TopicError::Null));
        for bad in ["a/#/b", "a#", "#/a"] {
            assert!(
                matches!(check_filter(bad), Err(TopicError::Hash(_))),
                "{bad}"
            );
        }
        for bad in ["a+", "a/+b", "++"] {
            assert!(
                matches!(check_filter(bad), Err(TopicError::Plus(_))),
                "{bad}"
            );
        }
        assert!(matches!(check_exact("a/+"), Err(TopicError::Wildcard(_))));
        assert!(matches!(
            check_filter("$share/g/a"),
            Err(TopicError::Shared(_))
        ));
        assert!(matches!(
            check_filter(&"x".repeat(70_000)),
            Err(TopicError::TooLong(70_000))
        ));
    }

    #[test]
    fn finds_filters_that_share_a_topic() {
        for (a, b, shared) in [
            ("a/b", "a/b", true),
            ("a/b", "a/c", false),
            ("a/+", "+/b", true),
            ("a/#", "a", true),
            ("#", "a/b/c", true),
            ("#", "$SYS/load", false),
            ("a/+", "a/b/c", false),
            ("a/b", "a", false),
        ] {
            assert_eq!(overlap(a, b), shared, "{a} {b}");
            assert_eq!(overlap(b, a), shared, "{b} {a}");
        }
    }
}
