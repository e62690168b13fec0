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

/// A value that was converted from another unit may lie so many floating-point numbers
/// beside the decimal one.
const BESIDE: i64 = 3;

/// Whole numbers beyond that lie beside a value by chance, and save nothing: 2^40.
const LARGEST_BESIDE: f64 = 1_099_511_627_776.0;

/// Writes the values as whole numbers; gives the power of ten by which they
/// are divided, or [`BITS`]. Where some lie beside the decimal numbers that these give,
/// `beside` has by how many floating-point numbers each does; else it is empty.
pub(super) fn as_numbers(
    values: impl Iterator<Item = f64> + Clone,
    numbers: &mut Vec<i64>,
    beside: &mut Vec<i64>,
) -> u8 {
    numbers.clear();
    beside.clear();
    if let Some(scale) = write_all(values.clone(), scaled, |number| numbers.push(number)) {
        return scale;
    }
    numbers.clear();
    let both = |(number, by)| {
        numbers.push(number);
        beside.push(by);
    };
    if let Some(scale) = write_all(values.clone(), near, both) {
        return scale;
    }
    beside.clear();
    bits(values, numbers)
}

/// Writes all of them by the least power of ten by which `how` can; gives the power.
fn write_all<T>(
    values: impl Iterator<Item = f64> + Clone,
    how: impl Fn(f64, usize) -> Option<T>,
    mut write: impl FnMut(T),
) -> Option<u8> {
    let mut least = 0;
    for value in values.clone() {
        least = (least..SCALES.len()).find(|scale| how(value, *scale).is_some())?;
    }
    for value in values {
        write(how(value, least)?);
    }
    Some(u8::try_from(least).expect("there are few scales"))
}

/// The whole number that gives this value back exactly.
fn scaled(value: f64, scale: usize) -> Option<i64> {
    let scaled = (value * SCALES[scale]).round();
    let number = scaled as i64;
    let back = number as f64 / SCALES[scale];
    (scaled.abs() <= EXACT && back.to_bits() == value.to_bits()).then_some(number)
}

/// The whole number that gives this value back but for a little, and by how many
/// floating-point numbers it lies beside that.
fn near(value: f64, scale: usize) -> Option<(i64, i64)> {
    let scaled = (value * SCALES[scale]).round();
    let number = scaled as i64;
    let back = number as f64 / SCALES[scale];
    let by = place(value).checked_sub(place(back))?;
    (scaled.abs() <= LARGEST_BESIDE && by.abs() <= BESIDE).then_some((number, by))
}

/// The place of a floating-point number among all of them.
fn place(value: f64) -> i64 {
    ordered(value.to_bits().cast_signed())
}

fn bits(values: impl Iterator<Item = f64>, numbers: &mut Vec<i64>) -> u8 {
    numbers.clear();
    numbers.extend(values.map(place));
    BITS
}

/// The bits of a floating-point number so that they grow as it does; the same
/// once more gives them back.
fn ordered(bits: i64) -> i64 {
    bits ^ ((bits >> 63).cast_unsigned() >> 1).cast_signed()
}

/// The floating-point number at this place.
fn at(place: i64) -> f64 {
    f64::from_bits(ordered(place).cast_unsigned())
}

/// The values that lie beside these by so many floating-point numbers.
pub(super) fn moved(values: &[f64], beside: &[i64]) -> Result<Vec<f64>, BlockError> {
    let each = values.iter().zip(beside).map(|(value, by)| {
        let there = place(*value).checked_add(*by);
        there.map(at).ok_or(BlockError::Contents)
    });
    each.collect()
}

/// The values of these whole numbers.
pub(super) fn from_numbers(scale: u8, numbers: &[i64]) -> Result<Vec<f64>, BlockError> {
    if scale == BITS {
        return Ok(numbers.iter().map(|place| at(*place)).collect());
    }
    let by = SCALES.get(usize::from(scale)).ok_or(BlockError::Contents)?;
    Ok(numbers.iter().map(|number| *number as f64 / by).collect())
}
