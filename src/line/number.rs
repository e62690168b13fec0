//! A decimal number at the front of a text.

/// The number that `text` begins with, and what stands behind it: a sign or
/// none, digits with or without a decimal point, an exponent or none.
pub(super) fn leading(text: &str) -> Option<(f64, &str)> {
    let (number, rest) = text.split_at(len(text.as_bytes()));
    let number: f64 = number.parse().ok()?;
    number.is_finite().then_some((number, rest))
}

/// The number that `text` is as a whole.
pub(super) fn whole(text: &str) -> Option<f64> {
    leading(text)
        .filter(|(_, rest)| rest.is_empty())
        .map(|(number, _)| number)
}

/// How many bytes look like a number.
fn len(text: &[u8]) -> usize {
    let digits = |from: usize| {
        text[from..]
            .iter()
            .take_while(|b| b.is_ascii_digit())
            .count()
    };
    let is = |at: usize, these: &[u8]| text.get(at).is_some_and(|byte| these.contains(byte));
    let mut at = usize::from(is(0, b"+-"));
    at += digits(at);
    if is(at, b".") {
        at += 1 + digits(at + 1);
    }
    if is(at, b"eE") {
        let sign = usize::from(is(at + 1, b"+-"));
        match digits(at + 1 + sign) {
            0 => {}
            exponent => at += 1 + sign + exponent,
        }
    }
    at
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn reads_numbers_and_stops_behind_them() {
        let read = [
            ("4.2 Bx", 4.2, " Bx"),
            ("-0.50;", -0.5, ";"),
            ("+7", 7.0, ""),
            (".5.5", 0.5, ".5"),
            ("5.", 5.0, ""),
            ("1.234E+02x", 123.4, "x"),
            ("3E", 3.0, "E"),
            ("3e+", 3.0, "e+"),
            ("007", 7.0, ""),
        ];
        for (text, number, rest) in read {
            assert_eq!(leading(text), Some((number, rest)), "{text}");
        }
        for text in [
            "", "x", "-", ".", "-.", "e5", "+e5", "nan", "inf", " 1", "1e999",
        ] {
            assert_eq!(leading(text), None, "{text}");
        }
        assert_eq!(whole("4.2"), Some(4.2));
        assert_eq!(whole("4,2"), None);
    }

    proptest! {
        #[test]
        fn numbers_round_trip(number in -1e12..1e12_f64, rest in "[ ;a-df-z][ -~]{0,9}") {
            let text = format!("{number}{rest}");
            prop_assert_eq!(leading(&text), Some((number, rest.as_str())));
            let text = format!("{number:e}{rest}");
            prop_assert_eq!(leading(&text), Some((number, rest.as_str())));
        }

        #[test]
        fn no_text_panics(text: String) {
            let _ = leading(&text);
        }
    }
}
