//! Whole numbers in as few bytes as they need, seven bits in each.

use super::error::BlockError;

/// Appends a number.
pub(super) fn write(mut number: u64, out: &mut Vec<u8>) {
    while number >= 0x80 {
        out.push(number as u8 | 0x80);
        number >>= 7;
    }
    out.push(number as u8);
}

/// Appends a number of either sign, the small ones short.
pub(super) fn write_signed(number: i64, out: &mut Vec<u8>) {
    write(((number << 1) ^ (number >> 63)).cast_unsigned(), out);
}

/// Reads a number from the beginning of `bytes`, which moves on.
pub(super) fn read(bytes: &mut &[u8]) -> Result<u64, BlockError> {
    let mut number = 0;
    for shift in (0..u64::BITS).step_by(7) {
        let (first, rest) = bytes.split_first().ok_or(BlockError::Short)?;
        *bytes = rest;
        number |= u64::from(first & 0x7f) << shift;
        if first & 0x80 == 0 {
            return Ok(number);
        }
    }
    Err(BlockError::Contents)
}

/// The same of either sign.
pub(super) fn read_signed(bytes: &mut &[u8]) -> Result<i64, BlockError> {
    let number = read(bytes)?;
    Ok((number >> 1).cast_signed() ^ -((number & 1).cast_signed()))
}
