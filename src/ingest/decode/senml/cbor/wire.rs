//! The items of CBOR: RFC 8949, section 3, as much of it as a pack needs.
//!
//! Written here since a pack needs little of it: the crates there are either
//! build whole documents or stand under licences that this house does not
//! have. Bytes and texts are borrowed from the message, nothing is set aside
//! for a length before its bytes are there, and nesting ends at [`DEEPEST`].

use std::borrow::Cow;

use crate::ingest::decode::senml::error::CborFault;

/// How deep items may be nested in the value of an unknown field.
const DEEPEST: usize = 16;

/// How many items an array or a map holds, while it is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Length {
    /// So many are left; in a map, so many pairs.
    Left(u64),
    /// Until a break.
    Indefinite,
}

/// One item; of what holds others, its head.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Item<'p> {
    Integer(i128),
    Float(f64),
    Bytes(Cow<'p, [u8]>),
    Text(Cow<'p, str>),
    Array(Length),
    Map(Length),
    Tag(u64),
    Boolean(bool),
    /// Null, undefined and what has no meaning yet.
    Simple,
    Break,
}

impl Item<'_> {
    pub(super) fn kind(&self) -> &'static str {
        match self {
            Item::Integer(_) => "an integer",
            Item::Float(_) => "a number",
            Item::Bytes(_) => "bytes",
            Item::Text(_) => "a text",
            Item::Array(_) => "an array",
            Item::Map(_) => "a map",
            Item::Tag(_) => "a tagged item",
            Item::Boolean(_) => "true or false",
            Item::Simple => "null",
            Item::Break => "a break",
        }
    }
}

/// What stands in the first byte of an item, and the number after it.
struct Head {
    major: u8,
    info: u8,
    /// The argument; none where the length is indefinite.
    argument: Option<u64>,
}

/// A message that is read item by item.
#[derive(Debug)]
pub(super) struct Wire<'p> {
    bytes: &'p [u8],
    at: usize,
}

impl<'p> Wire<'p> {
    /// RFC 8949, section 3.4.4.
    pub(super) const DECIMAL_FRACTION: u64 = 4;

    const BREAK: u8 = 0xff;
    const INDEFINITE: u8 = 31;

    pub(super) fn new(bytes: &'p [u8]) -> Self {
        Wire { bytes, at: 0 }
    }

    /// How many bytes have been read.
    pub(super) fn at(&self) -> usize {
        self.at
    }

    pub(super) fn is_at_end(&self) -> bool {
        self.at == self.bytes.len()
    }

    /// Whether there is another item or pair; takes it off the length, or the
    /// break off the message.
    pub(super) fn more(&mut self, length: &mut Length) -> Result<bool, CborFault> {
        match length {
            Length::Left(0) => Ok(false),
            Length::Left(left) => {
                *left -= 1;
                Ok(true)
            }
            Length::Indefinite => {
                let next = self.bytes.get(self.at).ok_or(CborFault::CutShort)?;
                let ends = *next == Self::BREAK;
                self.at += usize::from(ends);
                Ok(!ends)
            }
        }
    }

    /// The next item, or the head of one that holds others.
    pub(super) fn item(&mut self) -> Result<Item<'p>, CborFault> {
        let head = self.head()?;
        match head.major {
            7 => self.simple_or_float(&head),
            major => match (major, head.argument) {
                (0, Some(number)) => Ok(Item::Integer(i128::from(number))),
                (1, Some(number)) => Ok(Item::Integer(-1 - i128::from(number))),
                (2, length) => self.string(2, length).map(Item::Bytes),
                (3, length) => self.text(length).map(Item::Text),
                (4, length) => Ok(Item::Array(Length::of(length))),
                (5, length) => Ok(Item::Map(Length::of(length))),
                (_, Some(tag)) => Ok(Item::Tag(tag)),
                (_, None) => Err(CborFault::Reserved),
            },
        }
    }

    fn head(&mut self) -> Result<Head, CborFault> {
        let first = self.take(1)?[0];
        let (major, info) = (first >> 5, first & 0x1f);
        let argument = match info {
            0..=23 => Some(u64::from(info)),
            24 => Some(self.unsigned(1)?),
            25 => Some(self.unsigned(2)?),
            26 => Some(self.unsigned(4)?),
            27 => Some(self.unsigned(8)?),
            Self::INDEFINITE => None,
            _ => return Err(CborFault::Reserved),
        };
        Ok(Head {
            major,
            info,
            argument,
        })
    }

    /// Major type 7: RFC 8949, section 3.3.
    fn simple_or_float(&self, head: &Head) -> Result<Item<'p>, CborFault> {
        let Some(bits) = head.argument else {
            return Ok(Item::Break);
        };
        match (head.info, bits) {
            (20, _) => Ok(Item::Boolean(false)),
            (21, _) => Ok(Item::Boolean(true)),
            (24, 0..32) => Err(CborFault::Reserved),
            (25, _) => Ok(Item::Float(half(bits as u16))),
            (26, _) => Ok(Item::Float(f64::from(f32::from_bits(bits as u32)))),
            (27, _) => Ok(Item::Float(f64::from_bits(bits))),
            _ => Ok(Item::Simple),
        }
    }

    fn text(&mut self, length: Option<u64>) -> Result<Cow<'p, str>, CborFault> {
        match self.string(3, length)? {
            Cow::Borrowed(bytes) => std::str::from_utf8(bytes)
                .map(Cow::Borrowed)
                .map_err(|_| CborFault::NotUtf8),
            Cow::Owned(bytes) => String::from_utf8(bytes)
                .map(Cow::Owned)
                .map_err(|_| CborFault::NotUtf8),
        }
    }

    /// A string of this major type; the parts of one of indefinite length are
    /// put together (RFC 8949, section 3.2.3).
    fn string(&mut self, major: u8, length: Option<u64>) -> Result<Cow<'p, [u8]>, CborFault> {
        if let Some(length) = length {
            return self.take(length).map(Cow::Borrowed);
        }
        let mut whole = Vec::new();
        while self.more(&mut Length::Indefinite)? {
            let head = self.head()?;
            match head.argument {
                Some(length) if head.major == major => whole.extend_from_slice(self.take(length)?),
                _ => return Err(CborFault::Chunk),
            }
        }
        Ok(Cow::Owned(whole))
    }

    /// What follows the tag: an array of an exponent and a mantissa, which
    /// stand for mantissa · 10^exponent, rounded to the nearest number.
    pub(super) fn decimal_fraction(&mut self) -> Result<f64, CborFault> {
        let array = self.item()?;
        if array != Item::Array(Length::Left(2)) {
            return Err(CborFault::Decimal);
        }
        match (self.item()?, self.item()?) {
            (Item::Integer(exponent), Item::Integer(mantissa)) => format!("{mantissa}e{exponent}")
                .parse()
                .map_err(|_| CborFault::Decimal),
            _ => Err(CborFault::Decimal),
        }
    }

    /// Passes over the next item with all that it holds.
    pub(super) fn skip(&mut self) -> Result<(), CborFault> {
        let item = self.item()?;
        self.skip_rest(item)
    }

    /// Passes over what an item holds whose head has been read.
    pub(super) fn skip_rest(&mut self, item: Item<'p>) -> Result<(), CborFault> {
        self.skip_below(item, DEEPEST)
    }

    fn skip_below(&mut self, item: Item<'p>, depth: usize) -> Result<(), CborFault> {
        let (mut length, parts) = match item {
            Item::Array(length) => (length, 1),
            Item::Map(length) => (length, 2),
            Item::Tag(_) => (Length::Left(1), 1),
            Item::Break => return Err(CborFault::Break),
            _ => return Ok(()),
        };
        let depth = depth.checked_sub(1).ok_or(CborFault::Deep)?;
        while self.more(&mut length)? {
            for _ in 0..parts {
                let item = self.item()?;
                self.skip_below(item, depth)?;
            }
        }
        Ok(())
    }

    fn unsigned(&mut self, bytes: u64) -> Result<u64, CborFault> {
        let bytes = self.take(bytes)?;
        Ok(bytes
            .iter()
            .fold(0, |number, byte| number << 8 | u64::from(*byte)))
    }

    fn take(&mut self, length: u64) -> Result<&'p [u8], CborFault> {
        let rest = &self.bytes[self.at..];
        let length = usize::try_from(length).map_err(|_| CborFault::CutShort)?;
        let taken = rest.get(..length).ok_or(CborFault::CutShort)?;
        self.at += length;
        Ok(taken)
    }
}

impl Length {
    fn of(argument: Option<u64>) -> Self {
        argument.map_or(Length::Indefinite, Length::Left)
    }
}

/// A number of half precision: RFC 8949, appendix D.
fn half(bits: u16) -> f64 {
    let exponent = i32::from(bits >> 10 & 0x1f);
    let mantissa = f64::from(bits & 0x3ff);
    let size = match exponent {
        0 => mantissa * 2f64.powi(-24),
        31 if mantissa == 0.0 => f64::INFINITY,
        31 => f64::NAN,
        _ => (mantissa + 1024.0) * 2f64.powi(exponent - 25),
    };
    if bits >> 15 == 0 { size } else { -size }
}

#[cfg(test)]
mod tests;
