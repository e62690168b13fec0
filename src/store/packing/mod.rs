//! Settled values of one series in a block: a few hundred to a few thousand of
//! them in a string of bytes. Pure: no file, no clock.
//!
//! Promises: every value comes back bit for bit, with its time, marks and
//! delay; damaged bytes give a typed error, never a panic, and never more memory
//! than [`MOST`] values need. Refuses: an empty block, one of more than
//! [`MOST`], and times that do not grow.
//!
//! # Formats 1 and 2
//!
//! | bytes | what |
//! | --- | --- |
//! | 1 | the format, 1 or 2 |
//! | varint | number of values |
//! | column | times, ms since 1970 |
//! | 1 + column | values: the power of ten by which they are whole numbers, 0 to 12, or 255: the bits of the floating-point numbers in their order |
//! | column | format 2 only: by how many floating-point numbers each value lies beside that, as conversions of units leave them |
//! | column | marks of quality |
//! | column | delays, ms |
//! | 4 | CRC-32C of all before, little end first |
//!
//! A column begins with the rule that foretells its numbers (0 none, 1 the one
//! before, 2 the line through the two before, 3 a grid), the grid's step, the
//! numbers that the rule needs, and the base that all rests have in common;
//! then the number of bytes of a rest, and a plane for each: 0 and a byte (all
//! are the same), 1 and the bytes, or 2, their length and a zstd frame without its
//! magic number. Numbers are varints of seven bits a byte, the least first;
//! those with a sign are folded (0, −1, 1, −2 …), and so are rests.

mod checksum;
mod column;
mod error;
#[cfg(test)]
mod tests;
mod values;
mod varint;

use column::ColumnWriter;
pub use error::BlockError;

/// Most values of a block.
pub const MOST: usize = 8_192;

const FORMAT: u8 = 1;
/// With values beside decimal numbers.
const BESIDE: u8 = 2;
/// The newest format that is written. A newer one raises the store's schema with it.
pub(super) const NEWEST_FORMAT: u8 = BESIDE;

/// One value in a block.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Packed {
    /// Its time, ms since 1970.
    pub time: i64,
    /// The value.
    pub value: f64,
    /// Its marks, as bits.
    pub quality: u8,
    /// Arrival minus time, ms.
    pub delay: i64,
}

/// Packs blocks; keeps its memory from one to the next.
pub struct Packer {
    columns: ColumnWriter,
    numbers: Vec<i64>,
    beside: Vec<i64>,
}

impl std::fmt::Debug for Packer {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Packer").finish_non_exhaustive()
    }
}

impl Default for Packer {
    fn default() -> Self {
        Packer::new()
    }
}

impl Packer {
    /// A packer.
    pub fn new() -> Self {
        Packer {
            columns: ColumnWriter::new(),
            numbers: Vec::new(),
            beside: Vec::new(),
        }
    }

    /// The block of these values.
    ///
    /// # Panics
    /// When there are none or more than [`MOST`], or their times do not grow.
    pub fn pack(&mut self, values: &[Packed]) -> Vec<u8> {
        assert!(
            (1..=MOST).contains(&values.len()),
            "a block holds 1 to {MOST} values, not {}",
            values.len()
        );
        assert!(
            values.is_sorted_by(|one, next| one.time < next.time),
            "the times of a block grow"
        );
        let mut out = vec![FORMAT];
        varint::write(values.len() as u64, &mut out);
        self.column(values.iter().map(|one| one.time), &mut out);
        let plain = values.iter().map(|one| one.value);
        out.push(values::as_numbers(
            plain,
            &mut self.numbers,
            &mut self.beside,
        ));
        self.columns.write(&self.numbers, &mut out);
        if !self.beside.is_empty() {
            out[0] = BESIDE;
            self.columns.write(&self.beside, &mut out);
        }
        self.column(values.iter().map(|one| i64::from(one.quality)), &mut out);
        self.column(values.iter().map(|one| one.delay), &mut out);
        out.extend(checksum::crc32c(&out).to_le_bytes());
        out
    }

    fn column(&mut self, numbers: impl Iterator<Item = i64>, out: &mut Vec<u8>) {
        self.numbers.clear();
        self.numbers.extend(numbers);
        self.columns.write(&self.numbers, out);
    }
}

/// The values of a block, by time.
///
/// # Errors
/// When the bytes are not a block that [`Packer::pack`] made.
pub fn unpack(block: &[u8]) -> Result<Vec<Packed>, BlockError> {
    let (body, sum) = block.split_last_chunk().ok_or(BlockError::Short)?;
    if checksum::crc32c(body) != u32::from_le_bytes(*sum) {
        return Err(BlockError::Checksum);
    }
    read(body)
}

/// Reads what the checksum is of.
fn read(mut bytes: &[u8]) -> Result<Vec<Packed>, BlockError> {
    let is_beside = match column::take(&mut bytes)? {
        FORMAT => false,
        BESIDE => true,
        other => return Err(BlockError::Format(other)),
    };
    let count = varint::read(&mut bytes)?;
    let count = usize::try_from(count).map_err(|_| BlockError::Contents)?;
    if !(1..=MOST).contains(&count) {
        return Err(BlockError::Contents);
    }
    let times = column::read(&mut bytes, count)?;
    if !times.is_sorted_by(|one, next| one < next) {
        return Err(BlockError::Contents);
    }
    let scale = column::take(&mut bytes)?;
    let numbers = column::read(&mut bytes, count)?;
    let mut values = values::from_numbers(scale, &numbers)?;
    if is_beside {
        values = values::moved(&values, &column::read(&mut bytes, count)?)?;
    }
    let marks = column::read(&mut bytes, count)?;
    let delays = column::read(&mut bytes, count)?;
    if !bytes.is_empty() {
        return Err(BlockError::Contents);
    }
    let together = times.iter().zip(values).zip(marks).zip(delays);
    together
        .map(|(((time, value), quality), delay)| {
            Ok(Packed {
                time: *time,
                value,
                quality: u8::try_from(quality).map_err(|_| BlockError::Contents)?,
                delay,
            })
        })
        .collect()
}
