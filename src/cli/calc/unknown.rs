//! What to say about a name that does not exist.

use crate::settings::nearest;

/// What to say about a name that does not exist: the nearest that does, and
/// all there are.
pub(super) fn unknown(what: &str, found: &str, names: &[&str]) -> String {
    let shown: String = found.chars().take(40).collect();
    let meant = match nearest(&shown, names.iter().copied()) {
        Some(name) => format!("did you mean {name}? "),
        None => String::new(),
    };
    format!(
        "there is no {what} \"{shown}\"; {meant}known: {}",
        names.join(", ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_what_was_meant_only_when_it_is_near() {
        let names = ["volume", "target-volume", "level"];
        let told = |found| unknown("parameter", found, &names);
        assert!(told("volum").contains("did you mean volume?"));
        assert!(told("target_volume").contains("did you mean target-volume?"));
        let told = told("colour");
        assert!(
            !told.contains("mean") && told.ends_with("volume, target-volume, level"),
            "{told}"
        );
    }
}
