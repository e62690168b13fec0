//! Topic filters, after MQTT 5.0 section 4.7.

/// Whether a topic matches a filter with `+` and `#`. A filter that begins
/// with a wildcard does not match topics that begin with `$` (4.7.2).
pub fn matches(filter: &str, topic: &str) -> bool {
    if topic.starts_with('$') && filter.starts_with(['+', '#']) {
        return false;
    }
    let mut levels = topic.split('/');
    for part in filter.split('/') {
        match (part, levels.next()) {
            ("#", _) => return true,
            ("+", Some(_)) => {}
            (part, Some(level)) if part == level => {}
            _ => return false,
        }
    }
    levels.next().is_none()
}

#[cfg(test)]
mod tests {
    use super::matches;
    use proptest::prelude::*;

    #[test]
    fn the_examples_of_the_standard() {
        // MQTT 5.0 sections 4.7.1.2 and 4.7.1.3, from memory.
        assert!(matches("sport/tennis/player1/#", "sport/tennis/player1"));
        assert!(matches(
            "sport/tennis/player1/#",
            "sport/tennis/player1/score/wimbledon"
        ));
        assert!(matches("sport/+", "sport/"));
        assert!(!matches("sport/+", "sport"));
        assert!(matches("+/+", "/finance"));
        assert!(!matches("+", "/finance"));
        assert!(!matches("#", "$SYS/monitor"));
        assert!(matches("$SYS/#", "$SYS/monitor"));
    }

    proptest! {
        #[test]
        fn no_topic_panics(filter in ".{0,20}", topic in ".{0,20}") {
            matches(&filter, &topic);
        }

        #[test]
        fn a_topic_matches_itself(topic in "[a-zµé]{1,4}(/[a-zµé]{0,4}){0,4}") {
            prop_assert!(matches(&topic, &topic));
            prop_assert!(matches("#", &topic));
        }
    }
}
