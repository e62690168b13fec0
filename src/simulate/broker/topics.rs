//! Topic names and filters (MQTT 5, section 4.7).

/// Whether `name` may stand in a PUBLISH.
pub(crate) fn is_name(name: &str) -> bool {
    !name.is_empty() && !name.contains(['+', '#', '\0'])
}

/// A topic filter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Filter(String);

/// Why a text is not a filter that is served.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum FilterFault {
    /// Empty, or a wildcard that does not stand alone in its level, or a # that
    /// is not the last level.
    Invalid,
    /// A shared subscription.
    Shared,
}

impl Filter {
    /// Reads a filter.
    pub(crate) fn parse(text: &str) -> Result<Filter, FilterFault> {
        if text.starts_with("$share/") {
            return Err(FilterFault::Shared);
        }
        let mut levels = text.split('/').peekable();
        while let Some(level) = levels.next() {
            let well_formed = match level {
                "#" => levels.peek().is_none(),
                "+" => true,
                _ => !level.contains(['+', '#', '\0']),
            };
            if !well_formed {
                return Err(FilterFault::Invalid);
            }
        }
        match text.is_empty() {
            true => Err(FilterFault::Invalid),
            false => Ok(Filter(text.to_owned())),
        }
    }

    /// Whether messages of topic `name` are wanted. A name that begins with $
    /// is never met by a wildcard in first place.
    pub(crate) fn matches(&self, name: &str) -> bool {
        if name.starts_with('$') && self.0.starts_with(['+', '#']) {
            return false;
        }
        let mut levels = name.split('/');
        for wanted in self.0.split('/') {
            match (wanted, levels.next()) {
                ("#", _) => return true,
                ("+", Some(_)) => {}
                (wanted, Some(level)) if wanted == level => {}
                _ => return false,
            }
        }
        levels.next().is_none()
    }

    /// The filter as it was written.
    pub(crate) fn as_str(&self) -> &str {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn examples_of_the_standard() {
        // MQTT 5, sections 4.7.1 and 4.7.2.
        let cases = [
            ("sport/tennis/player1/#", "sport/tennis/player1", true),
            (
                "sport/tennis/player1/#",
                "sport/tennis/player1/ranking",
                true,
            ),
            (
                "sport/tennis/player1/#",
                "sport/tennis/player1/score/x",
                true,
            ),
            ("sport/#", "sport", true),
            ("#", "sport/tennis", true),
            ("sport/tennis/+", "sport/tennis/player1", true),
            ("sport/tennis/+", "sport/tennis/player1/ranking", false),
            ("sport/+", "sport", false),
            ("sport/+", "sport/", true),
            ("+/+", "/finance", true),
            ("/+", "/finance", true),
            ("+", "/finance", false),
            ("#", "$SYS/monitor", false),
            ("+/monitor/Clients", "$SYS/monitor/Clients", false),
            ("$SYS/#", "$SYS/monitor", true),
            ("ACCOUNTS", "Accounts", false),
        ];
        for (filter, name, wanted) in cases {
            let filter = Filter::parse(filter).unwrap();
            assert_eq!(filter.matches(name), wanted, "{filter:?} {name}");
        }
    }

    #[test]
    fn misplaced_wildcards_are_refused() {
        for text in [
            "",
            "sport/tennis#",
            "sport/#/ranking",
            "sport+",
            "a/+b/c",
            "##",
        ] {
            assert_eq!(Filter::parse(text), Err(FilterFault::Invalid), "{text}");
        }
        assert_eq!(Filter::parse("$share/crew/a"), Err(FilterFault::Shared));
        for name in ["", "a/+", "#"] {
            assert!(!is_name(name), "{name}");
        }
    }

    proptest! {
        #[test]
        fn a_name_meets_itself_and_every_level_a_plus(
            levels in proptest::collection::vec("[a-zµ ]{0,4}", 1..6),
            place in 0_usize..6,
        ) {
            let name = levels.join("/");
            prop_assume!(!name.is_empty());
            prop_assert!(Filter::parse(&name).unwrap().matches(&name));
            let mut wild = levels.clone();
            let place = place % wild.len();
            wild[place] = "+".to_owned();
            prop_assert!(Filter::parse(&wild.join("/")).unwrap().matches(&name));
            wild[place] = "#".to_owned();
            wild.truncate(place + 1);
            prop_assert!(Filter::parse(&wild.join("/")).unwrap().matches(&name));
        }
    }
}
