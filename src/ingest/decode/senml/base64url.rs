//! Base64 with the URL-safe alphabet and without padding: RFC 4648, section 5,
//! as RFC 8428, section 5 asks for it.

/// The bytes, or none where the text is no such thing.
pub(super) fn decode(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len() / 4 * 3 + 2);
    for four in text.as_bytes().chunks(4) {
        let mut bits = 0;
        for &letter in four {
            bits = bits << 6 | sextet(letter)?;
        }
        // Four letters are three bytes; what two or three letters leave over
        // must be zero, so that each text stands for other bytes.
        let (count, spare) = match four.len() {
            4 => (3, 0),
            3 => (2, 2),
            2 => (1, 4),
            _ => return None,
        };
        if bits & ((1 << spare) - 1) != 0 {
            return None;
        }
        bytes.extend_from_slice(&(bits >> spare).to_be_bytes()[4 - count..]);
    }
    Some(bytes)
}

fn sextet(letter: u8) -> Option<u32> {
    Some(u32::from(match letter {
        b'A'..=b'Z' => letter - b'A',
        b'a'..=b'z' => letter - b'a' + 26,
        b'0'..=b'9' => letter - b'0' + 52,
        b'-' => 62,
        b'_' => 63,
        _ => return None,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, section 10, the padding left out (memory).
    #[test]
    fn the_vectors_of_the_standard() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg"),
            ("fo", "Zm8"),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg"),
            ("fooba", "Zm9vYmE"),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(decode(text).as_deref(), Some(bytes.as_bytes()), "{text}");
        }
        assert_eq!(decode("-_8").as_deref(), Some(&[0xfb, 0xff][..]));
    }

    #[test]
    fn refuses_padding_the_other_alphabet_and_odd_ends() {
        for text in ["Zg==", "+/8", "Z", "Zm9vY", "Zh", "Zm9", "Z g"] {
            assert_eq!(decode(text), None, "{text}");
        }
    }
}
