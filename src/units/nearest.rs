//! The right word that a wrong one was probably meant to be.

/// Longer words are not compared: no setting has such a name.
const LONGEST: usize = 64;

/// The candidate with the fewest edits to `wrong`, if it is near enough to be
/// worth offering: one edit in short words, one in three letters in longer
/// ones. The first of equals.
pub fn nearest<'a>(wrong: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wrong: Vec<char> = wrong.to_lowercase().chars().collect();
    if wrong.len() > LONGEST {
        return None;
    }
    let limit = (wrong.len() / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| (edits(&wrong, candidate), candidate))
        .filter(|(edits, _)| *edits <= limit)
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, candidate)| candidate)
}

/// Edit distance after Levenshtein, with a swap of neighbours as one edit
/// (optimal string alignment).
fn edits(wrong: &[char], right: &str) -> usize {
    let right: Vec<char> = right.chars().take(2 * LONGEST).collect();
    let mut before = Vec::new();
    let mut above: Vec<usize> = (0..=right.len()).collect();
    for (i, a) in wrong.iter().enumerate() {
        let mut row = vec![i + 1];
        for (j, b) in right.iter().enumerate() {
            let change = above[j] + usize::from(a != b);
            let mut least = change.min(above[j + 1] + 1).min(row[j] + 1);
            let swapped = i > 0 && j > 0 && *a == right[j - 1] && *b == wrong[i - 1];
            if swapped {
                least = least.min(before[j - 1] + 1);
            }
            row.push(least);
        }
        before = std::mem::replace(&mut above, row);
    }
    above[right.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn distance(a: &str, b: &str) -> usize {
        edits(&a.chars().collect::<Vec<_>>(), b)
    }

    #[test]
    fn counts_edits() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("taget", "target"), 1);
        assert_eq!(distance("tragte", "target"), 2);
        assert_eq!(distance("", "ph"), 2);
    }

    #[test]
    fn offers_what_is_near_only() {
        let keys = ["target", "title", "window", "ph"];
        assert_eq!(nearest("tagret", keys), Some("target"));
        assert_eq!(nearest("Windo", keys), Some("window"));
        assert_eq!(nearest("pH", keys), Some("ph"));
        assert_eq!(nearest("colour", keys), None);
        assert_eq!(nearest(&"x".repeat(1000), keys), None);
    }
}
