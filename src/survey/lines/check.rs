//! The check that lines carry, found by trying those that are known.

use crate::line::{CheckKind, Checksum};

/// The check that holds in all of these lines, if any does. Lines without a
/// character that is neither a letter nor a digit before the digits have none
/// that settings could name.
pub(super) fn find(lines: &[&[u8]]) -> Option<Checksum> {
    let first = lines.first()?.trim_ascii_end();
    CheckKind::NAMES.into_iter().find_map(|(_, kind)| {
        let mark = *first.get(first.len().checked_sub(kind.digits() + 1)?)?;
        if !mark.is_ascii_punctuation() {
            return None;
        }
        let start = first.first().copied().filter(u8::is_ascii_punctuation);
        let starts = [None, start.filter(|start| *start != mark)];
        let all = starts
            .into_iter()
            .map(|start| Checksum { kind, start, mark });
        all.into_iter().find(|check| holds(check, lines))
    })
}

fn holds(check: &Checksum, lines: &[&[u8]]) -> bool {
    lines.iter().all(|line| check.verified(line).is_ok())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn with(check: Checksum, text: &str) -> Vec<u8> {
        let digits = check.kind.digits();
        let start = check.start.map(char::from).map(String::from);
        let start = start.unwrap_or_default();
        let value = check.kind.of(text.as_bytes());
        format!("{start}{text}{}{value:0digits$X}", char::from(check.mark)).into_bytes()
    }

    #[test]
    fn a_damaged_line_speaks_against_it() {
        let check = Checksum {
            kind: CheckKind::Xor,
            start: None,
            mark: b'*',
        };
        let good = with(check, "BX=7.42");
        assert_eq!(find(&[&good]), Some(check));
        assert_eq!(find(&[&good, b"BX=7.43*00"]), None);
        assert_eq!(find(&[b"7.42;24.1"]), None);
        assert_eq!(find(&[]), None);
    }

    proptest! {
        #[test]
        fn every_check_that_settings_know_is_found(
            kind in 0..3usize, dollar: bool, mark in "[*;,:]",
            texts in prop::collection::vec("[A-Z]=[0-9]{1,3}\\.[0-9]", 3..9),
        ) {
            let (_, kind) = CheckKind::NAMES[kind];
            let start = dollar.then_some(b'$');
            let check = Checksum { kind, start, mark: mark.as_bytes()[0] };
            let lines: Vec<Vec<u8>> = texts.iter().map(|text| with(check, text)).collect();
            let lines: Vec<&[u8]> = lines.iter().map(Vec::as_slice).collect();
            let found = find(&lines).expect("there is one");
            prop_assert!(holds(&found, &lines));
        }

        #[test]
        fn no_bytes_panic(lines in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..20), 0..5)) {
            let lines: Vec<&[u8]> = lines.iter().map(Vec::as_slice).collect();
            let _ = find(&lines);
        }
    }
}
