//! The name that was probably meant.

/// What to say about a name that does not exist: the nearest that does, and
/// all there are.
pub(super) fn unknown(what: &str, found: &str, names: &[&str]) -> String {
    let shown: String = found.chars().take(40).collect();
    let meant = match nearest(&shown, names) {
        Some(name) => format!("did you mean {name}? "),
        None => String::new(),
    };
    format!(
        "there is no {what} \"{shown}\"; {meant}There are: {}",
        names.join(", ")
    )
}

/// The name that the fewest edits lead to, if they are few for its length.
fn nearest<'a>(found: &str, names: &[&'a str]) -> Option<&'a str> {
    names
        .iter()
        .map(|name| (edits(found, name), *name))
        .filter(|(edits, name)| *edits <= 1 + name.len() / 4)
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, name)| name)
}

/// Letters to insert, leave out or replace to turn one text into the other
/// (Levenshtein 1966).
fn edits(from: &str, to: &str) -> usize {
    let to: Vec<char> = to.chars().collect();
    let mut row: Vec<usize> = (0..=to.len()).collect();
    for (i, a) in from.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in to.iter().enumerate() {
            let replaced = diagonal + usize::from(a != *b);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(diagonal + 1).min(row[j] + 1);
        }
    }
    row[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_edits() {
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("µS", "mS"), 1);
    }

    #[test]
    fn names_what_was_meant_only_when_it_is_near() {
        let names = ["volume", "target-volume", "level"];
        assert_eq!(nearest("volum", &names), Some("volume"));
        assert_eq!(nearest("target_volume", &names), Some("target-volume"));
        assert_eq!(nearest("colour", &names), None);
    }
}
