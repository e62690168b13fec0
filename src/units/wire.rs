//! JSON for people and other programs: numbers to nine significant digits,
//! which is beyond any instrument, so that none ends in …000000001.

use std::io;

use serde::Serialize;
use serde_json::ser::{CompactFormatter, Formatter, Serializer};

/// Significant digits of a number on the wire.
const DIGITS: usize = 9;

/// The value as one line of JSON.
///
/// # Errors
/// When the value has keys that are no text.
pub fn to_wire(value: &impl Serialize) -> serde_json::Result<String> {
    let mut bytes = Vec::with_capacity(256);
    value.serialize(&mut Serializer::with_formatter(&mut bytes, Rounded))?;
    String::from_utf8(bytes).map_err(serde::ser::Error::custom)
}

struct Rounded;

impl Formatter for Rounded {
    fn write_f64<W: io::Write + ?Sized>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        CompactFormatter.write_f64(writer, rounded(value))
    }
}

fn rounded(value: f64) -> f64 {
    // Every finite number, so written, can be read again.
    format!("{value:.*e}", DIGITS - 1).parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_end_where_instruments_do() {
        let text =
            to_wire(&serde_json::json!({"a": 6.6000000000000005, "b": [0.1 + 0.2, 3], "c": 1e-12}))
                .unwrap();
        assert_eq!(text, r#"{"a":6.6,"b":[0.3,3],"c":1e-12}"#);
    }

    proptest! {
        #[test]
        fn nine_digits_stay(x in prop::num::f64::NORMAL) {
            let y: f64 = serde_json::from_str(&to_wire(&x).unwrap()).unwrap();
            prop_assert!(((x - y) / x).abs() <= 0.5e-8);
        }
    }
}
