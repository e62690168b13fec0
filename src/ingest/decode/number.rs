//! A value as text, and nothing else.

use super::DecodeError;

/// Reads a word; white space around it is allowed.
pub(super) fn text(payload: &[u8]) -> Result<&str, DecodeError> {
    let text = std::str::from_utf8(payload).map_err(|_| DecodeError::NotText)?;
    Ok(text.trim())
}

/// Reads a number, likewise.
pub(super) fn decode(payload: &[u8]) -> Result<f64, DecodeError> {
    let value: f64 = text(payload)?
        .parse()
        .map_err(|_| DecodeError::NotANumber)?;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(DecodeError::NotFinite)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn reads_numbers_and_nothing_else() {
        assert_eq!(decode(b" 3.52\n"), Ok(3.52));
        assert_eq!(decode(b"-1e-3"), Ok(-0.001));
        for bad in ["", "3,5", "3.5 %", "nan", "inf", "0x10"] {
            assert!(decode(bad.as_bytes()).is_err(), "{bad}");
        }
        assert_eq!(decode(b"\xff"), Err(DecodeError::NotText));
    }

    proptest! {
        #[test]
        fn round_trip(x in prop::num::f64::NORMAL) {
            prop_assert_eq!(decode(x.to_string().as_bytes()), Ok(x));
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..64)) {
            let _ = decode(&bytes);
        }
    }
}
