//! Floating-point values as whole numbers, and back to the bit.

use super::error::BlockError;

/// Powers of ten that are tried. Instruments show fewer digits.
const SCALES: [f64; 13] = [
    1.0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12,
];

/// Whole numbers beyond are not all exact as floating-point numbers: 2^53.
const EXACT: f64 = 9_007_199_254_740_992.0;

/// Says that the numbers are the bits themselves.
const BITS: u8 = 255;

/// Writes the values as whole numbers; gives the power of ten by which they
/// are divided, or [`BITS`].
pub(super) fn as_numbers(values: impl Iterator<Item = f64> + Clone, numbers: &mut Vec<i64>) -> u8 {
    let mut least = 0;
    for value in values.clone() {
        match (least..SCALES.len()).find(|scale| scaled(value, *scale).is_some()) {
            Some(scale) => least = scale,
            None => return bits(values, numbers),
        }
    }
    numbers.clear();
    for value in values.clone() {
        match scaled(value, least) {
            Some(number) => numbers.push(number),
            None => return bits(values, numbers),
        }
    }
    u8::try_from(least).expect("there are few scales")
}

/// The whole number that gives this value back exactly.
fn scaled(value: f64, scale: usize) -> Option<i64> {
    let scaled = (value * SCALES[scale]).round();
    let number = scaled as i64;
    let back = number as f64 / SCALES[scale];
    (scaled.abs() <= EXACT && back.to_bits() == value.to_bits()).then_some(number)
}

fn bits(values: impl Iterator<Item = f64>, numbers: &mut Vec<i64>) -> u8 {
    numbers.clear();
    numbers.extend(values.map(|value| ordered(value.to_bits().cast_signed())));
    BITS
}

/// The bits of a floating-point number so that they grow as it does; the same
/// once more gives them back.
fn ordered(bits: i64) -> i64 {
    bits ^ ((bits >> 63).cast_unsigned() >> 1).cast_signed()
}

/// The values of these whole numbers.
pub(super) fn from_numbers(scale: u8, numbers: &[i64]) -> Result<Vec<f64>, BlockError> {
    if scale == BITS {
        let bits = numbers
            .iter()
            .map(|number| ordered(*number).cast_unsigned());
        return Ok(bits.map(f64::from_bits).collect());
    }
    let by = SCALES.get(usize::from(scale)).ok_or(BlockError::Contents)?;
    Ok(numbers.iter().map(|number| *number as f64 / by).collect())
}
