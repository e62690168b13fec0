//! Numbers for other programs: to the last digit, and no longer than needed.

/// A number that is longer than this is written with its exponent.
const LONGEST: usize = 24;

/// The shortest text that is read as the same number again.
pub fn exact(value: f64) -> String {
    let plain = value.to_string();
    if plain.len() > LONGEST {
        format!("{value:e}")
    } else {
        plain
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn numbers_are_short() {
        let texts = [0.1, -4.0, 1e300, 5e-324, 0.1 + 0.2].map(exact);
        let expected = ["0.1", "-4", "1e300", "5e-324", "0.30000000000000004"];
        assert_eq!(texts, expected);
    }

    proptest! {
        #[test]
        fn numbers_are_exact(
            value in prop::num::f64::NORMAL | prop::num::f64::SUBNORMAL | prop::num::f64::ZERO,
        ) {
            let text = exact(value);
            prop_assert_eq!(text.parse::<f64>().unwrap().to_bits(), value.to_bits());
            prop_assert!(text.len() <= LONGEST, "{}", text);
        }
    }
}
