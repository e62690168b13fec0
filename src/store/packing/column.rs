//! One column of whole numbers, small and exact.
//!
//! What a simple rule foretells of each number is taken off, a common base is
//! taken off the rest, and what is left is written byte by byte in planes: all
//! lowest bytes, then all second ones. Each plane goes through zstd by itself,
//! so that what is noise does not spoil what is regular. All arithmetic wraps:
//! any `i64` comes back.

use super::error::BlockError;
use super::varint;

/// The level of zstd. Choice: measured with `benches/store_pack`; more gains
/// under one part in a hundred here.
const LEVEL: i32 = 5;

/// Begins each of zstd's frames, and is left out.
const MAGIC: [u8; 4] = [0x28, 0xb5, 0x2f, 0xfd];

/// What foretells a number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[repr(u8)]
enum Rule {
    /// Nothing.
    Plain = 0,
    /// The one before.
    Same = 1,
    /// The line through the two before.
    Line = 2,
    /// A grid of equal steps from the first on.
    Grid = 3,
}

const RULES: [Rule; 4] = [Rule::Plain, Rule::Same, Rule::Line, Rule::Grid];

/// How a plane is kept.
const CONSTANT: u8 = 0;
const RAW: u8 = 1;
const ZSTD: u8 = 2;

/// Writes columns; keeps its memory.
pub(super) struct ColumnWriter {
    zstd: zstd::bulk::Compressor<'static>,
    rests: Vec<i64>,
    best: Vec<i64>,
    plane: Vec<u8>,
}

impl ColumnWriter {
    pub(super) fn new() -> Self {
        ColumnWriter {
            zstd: zstd::bulk::Compressor::new(LEVEL).expect("the level is one that zstd has"),
            rests: Vec::new(),
            best: Vec::new(),
            plane: Vec::new(),
        }
    }

    /// Appends the column of at least one number to `out`.
    pub(super) fn write(&mut self, numbers: &[i64], out: &mut Vec<u8>) {
        let step = usual_step(numbers, &mut self.rests);
        let mut chosen = (f64::INFINITY, Rule::Plain, 0);
        for rule in RULES {
            let base = rests(rule, step, numbers, &mut self.rests);
            let cost = cost(&self.rests);
            if cost < chosen.0 {
                chosen = (cost, rule, base);
                std::mem::swap(&mut self.rests, &mut self.best);
            }
            if cost == 0.0 {
                break;
            }
        }
        let (_, rule, base) = chosen;
        out.push(rule as u8);
        if rule == Rule::Grid {
            varint::write_signed(step, out);
        }
        for first in &numbers[..rule.given().min(numbers.len())] {
            varint::write_signed(*first, out);
        }
        varint::write_signed(base, out);
        self.write_planes(out);
    }

    fn write_planes(&mut self, out: &mut Vec<u8>) {
        let all = self.best.iter().fold(0, |all, rest| all | zigzag(*rest));
        let width = (u64::BITS - all.leading_zeros()).div_ceil(8);
        out.push(width as u8);
        for place in 0..width {
            self.plane.clear();
            let bytes = self
                .best
                .iter()
                .map(|rest| (zigzag(*rest) >> (8 * place)) as u8);
            self.plane.extend(bytes);
            self.write_plane(out);
        }
    }

    fn write_plane(&mut self, out: &mut Vec<u8>) {
        let first = self.plane[0];
        if self.plane.iter().all(|byte| *byte == first) {
            out.extend([CONSTANT, first]);
            return;
        }
        match self.zstd.compress(&self.plane) {
            Ok(packed) if packed.len() < self.plane.len() && packed.starts_with(&MAGIC) => {
                out.push(ZSTD);
                varint::write((packed.len() - MAGIC.len()) as u64, out);
                out.extend_from_slice(&packed[MAGIC.len()..]);
            }
            _ => {
                out.push(RAW);
                out.extend_from_slice(&self.plane);
            }
        }
    }
}

impl Rule {
    /// How many numbers stand as they are before it foretells.
    fn given(self) -> usize {
        match self {
            Rule::Plain => 0,
            Rule::Same | Rule::Grid => 1,
            Rule::Line => 2,
        }
    }

    /// What the number at `place` should be, by those before.
    fn foretold(self, before: &[i64], place: usize, step: i64) -> i64 {
        match self {
            Rule::Plain => 0,
            Rule::Same => before[place - 1],
            Rule::Line => {
                let (last, one_before) = (before[place - 1], before[place - 2]);
                last.wrapping_add(last.wrapping_sub(one_before))
            }
            Rule::Grid => before[0].wrapping_add((place as i64).wrapping_mul(step)),
        }
    }
}

/// The median of the steps from number to number.
fn usual_step(numbers: &[i64], steps: &mut Vec<i64>) -> i64 {
    steps.clear();
    steps.extend(numbers.windows(2).map(|two| two[1].wrapping_sub(two[0])));
    median(steps)
}

fn median(numbers: &mut [i64]) -> i64 {
    if numbers.is_empty() {
        return 0;
    }
    let middle = numbers.len() / 2;
    *numbers.select_nth_unstable(middle).1
}

/// What the rule leaves of the numbers, in `rests`, with the base taken off;
/// gives the base.
fn rests(rule: Rule, step: i64, numbers: &[i64], rests: &mut Vec<i64>) -> i64 {
    let left = |rests: &mut Vec<i64>| {
        rests.clear();
        let places = rule.given().min(numbers.len())..numbers.len();
        rests.extend(
            places.map(|place| numbers[place].wrapping_sub(rule.foretold(numbers, place, step))),
        );
    };
    left(rests);
    let base = median(rests);
    left(rests);
    for rest in rests.iter_mut() {
        *rest = rest.wrapping_sub(base);
    }
    base
}

/// About how many bits the planes of these will take.
fn cost(rests: &[i64]) -> f64 {
    let mut counts = [0u32; 256];
    let mut high = 0u64;
    for rest in rests {
        let rest = zigzag(*rest);
        counts[(rest & 0xff) as usize] += 1;
        high += u64::from((u64::BITS - rest.leading_zeros()).saturating_sub(8));
    }
    let total = rests.len() as f64;
    let low: f64 = (counts.iter().filter(|count| **count > 0))
        .map(|count| f64::from(*count) * (total / f64::from(*count)).log2())
        .sum();
    low + high as f64
}

/// Small numbers of either sign as small ones without.
fn zigzag(number: i64) -> u64 {
    ((number << 1) ^ (number >> 63)).cast_unsigned()
}

fn unzigzag(number: u64) -> i64 {
    (number >> 1).cast_signed() ^ -((number & 1).cast_signed())
}

/// Reads a column of `count` numbers from the beginning of `bytes`, which
/// moves on.
pub(super) fn read(bytes: &mut &[u8], count: usize) -> Result<Vec<i64>, BlockError> {
    let rule = match take(bytes)? {
        0 => Rule::Plain,
        1 => Rule::Same,
        2 => Rule::Line,
        3 => Rule::Grid,
        _ => return Err(BlockError::Contents),
    };
    let step = if rule == Rule::Grid {
        varint::read_signed(bytes)?
    } else {
        0
    };
    let given = rule.given().min(count);
    let mut numbers = Vec::with_capacity(count);
    for _ in 0..given {
        numbers.push(varint::read_signed(bytes)?);
    }
    let base = varint::read_signed(bytes)?;
    let rests = read_planes(bytes, count - given)?;
    // The base and the rest together, for each number that is foretold.
    let rests = rests
        .into_iter()
        .map(|rest| base.wrapping_add(unzigzag(rest)));
    let first = numbers.first().copied().unwrap_or_default();
    let mut last = numbers.last().copied().unwrap_or_default();
    match rule {
        Rule::Plain => numbers.extend(rests),
        Rule::Same => numbers.extend(rests.map(|rest| {
            last = last.wrapping_add(rest);
            last
        })),
        Rule::Line => {
            let mut slope = last.wrapping_sub(first);
            numbers.extend(rests.map(|rest| {
                slope = slope.wrapping_add(rest);
                last = last.wrapping_add(slope);
                last
            }));
        }
        Rule::Grid => numbers.extend(rests.map(|rest| {
            last = last.wrapping_add(step);
            last.wrapping_add(rest)
        })),
    }
    Ok(numbers)
}

fn read_planes(bytes: &mut &[u8], count: usize) -> Result<Vec<u64>, BlockError> {
    let width = take(bytes)?;
    if u32::from(width) > u64::BITS / 8 {
        return Err(BlockError::Contents);
    }
    let mut rests = vec![0u64; count];
    for place in 0..width {
        let shift = 8 * u32::from(place);
        let mut lay = |plane: &[u8]| {
            for (rest, byte) in rests.iter_mut().zip(plane) {
                *rest |= u64::from(*byte) << shift;
            }
        };
        match take(bytes)? {
            CONSTANT => lay(&vec![take(bytes)?; count]),
            RAW => lay(slice(bytes, count)?),
            ZSTD => {
                let length = varint::read(bytes)?;
                let length = usize::try_from(length).map_err(|_| BlockError::Short)?;
                let frame = [&MAGIC[..], slice(bytes, length)?].concat();
                let plane = zstd::bulk::decompress(&frame, count);
                let plane = plane.map_err(|_| BlockError::Contents)?;
                if plane.len() != count {
                    return Err(BlockError::Contents);
                }
                lay(&plane);
            }
            _ => return Err(BlockError::Contents),
        }
    }
    Ok(rests)
}

/// The next byte.
pub(super) fn take(bytes: &mut &[u8]) -> Result<u8, BlockError> {
    let (first, rest) = bytes.split_first().ok_or(BlockError::Short)?;
    *bytes = rest;
    Ok(*first)
}

/// The next `length` bytes.
fn slice<'b>(bytes: &mut &'b [u8], length: usize) -> Result<&'b [u8], BlockError> {
    let (head, rest) = bytes.split_at_checked(length).ok_or(BlockError::Short)?;
    *bytes = rest;
    Ok(head)
}
