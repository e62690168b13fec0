//! The encoding of Protocol Buffers: numbered fields of four shapes.
//!
//! Read in place and field by field, so that no message can make more memory
//! of its bytes than they are, and what no channel wants is skipped unread.

/// A field as it stands in the bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Raw<'a> {
    /// Whole numbers and truth values.
    Varint(u64),
    /// `double`, 8 bytes.
    Eight([u8; 8]),
    /// Texts, bytes and messages within.
    Bytes(&'a [u8]),
    /// `float`, 4 bytes.
    Four([u8; 4]),
}

/// Why bytes are not fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum WireError {
    /// They end too early.
    #[error("it ends within a field")]
    Ends,
    /// A number of more than 64 bits.
    #[error("a number in it is longer than 64 bits")]
    Number,
    /// A field number of 0 or beyond 2^29.
    #[error("it has a field number that cannot be")]
    FieldNumber,
    /// Groups were given up before the standard was written.
    #[error("it has a field of a kind that the standard does not use")]
    Shape,
}

/// The largest field number (2^29 − 1).
const LAST_FIELD: u64 = (1 << 29) - 1;

/// The fields of one message, in the order of its bytes; ends after an error.
#[derive(Debug, Clone)]
pub(super) struct Fields<'a> {
    rest: &'a [u8],
}

impl<'a> Fields<'a> {
    pub(super) fn of(message: &'a [u8]) -> Self {
        Fields { rest: message }
    }

    fn field(&mut self) -> Result<(u32, Raw<'a>), WireError> {
        let tag = self.varint()?;
        let number = tag >> 3;
        if !(1..=LAST_FIELD).contains(&number) {
            return Err(WireError::FieldNumber);
        }
        let raw = match tag & 7 {
            0 => Raw::Varint(self.varint()?),
            1 => Raw::Eight(self.array()?),
            2 => {
                let len = usize::try_from(self.varint()?).map_err(|_| WireError::Ends)?;
                Raw::Bytes(self.take(len)?)
            }
            5 => Raw::Four(self.array()?),
            _ => return Err(WireError::Shape),
        };
        Ok((number as u32, raw))
    }

    fn varint(&mut self) -> Result<u64, WireError> {
        let mut value = 0;
        for shift in (0..64).step_by(7) {
            let [byte] = self.array()?;
            let bits = u64::from(byte & 0x7F);
            if shift == 63 && bits > 1 {
                return Err(WireError::Number);
            }
            value |= bits << shift;
            if byte & 0x80 == 0 {
                return Ok(value);
            }
        }
        Err(WireError::Number)
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N], WireError> {
        let (taken, rest) = self.rest.split_first_chunk().ok_or(WireError::Ends)?;
        self.rest = rest;
        Ok(*taken)
    }

    fn take(&mut self, len: usize) -> Result<&'a [u8], WireError> {
        let (taken, rest) = self.rest.split_at_checked(len).ok_or(WireError::Ends)?;
        self.rest = rest;
        Ok(taken)
    }
}

impl<'a> Iterator for Fields<'a> {
    type Item = Result<(u32, Raw<'a>), WireError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.rest.is_empty() {
            return None;
        }
        let field = self.field();
        if field.is_err() {
            self.rest = &[];
        }
        Some(field)
    }
}

/// Writes fields.
#[derive(Debug, Default)]
pub(super) struct Writer {
    bytes: Vec<u8>,
}

impl Writer {
    /// Adds a field.
    pub(super) fn put(&mut self, number: u32, raw: Raw<'_>) -> &mut Self {
        let shape = match raw {
            Raw::Varint(_) => 0,
            Raw::Eight(_) => 1,
            Raw::Bytes(_) => 2,
            Raw::Four(_) => 5,
        };
        self.varint(u64::from(number) << 3 | shape);
        match raw {
            Raw::Varint(value) => self.varint(value),
            Raw::Eight(bytes) => self.bytes.extend(bytes),
            Raw::Four(bytes) => self.bytes.extend(bytes),
            Raw::Bytes(bytes) => {
                self.varint(bytes.len() as u64);
                self.bytes.extend(bytes);
            }
        }
        self
    }

    fn varint(&mut self, mut value: u64) {
        while value >= 0x80 {
            self.bytes.push(value as u8 | 0x80);
            value >>= 7;
        }
        self.bytes.push(value as u8);
    }

    /// What was written.
    pub(super) fn finish(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn one(bytes: &[u8]) -> Result<(u32, Raw<'_>), WireError> {
        Fields::of(bytes).next().unwrap()
    }

    #[test]
    fn the_examples_of_the_encoding_guide() {
        // Protocol Buffers documentation, "Encoding": "A Simple Message" and
        // "Length-Delimited Records" (memory).
        assert_eq!(one(&[0x08, 0x96, 0x01]), Ok((1, Raw::Varint(150))));
        assert_eq!(one(b"\x12\x07testing"), Ok((2, Raw::Bytes(b"testing"))));
    }

    #[test]
    fn what_cannot_be_is_told() {
        assert_eq!(one(&[0x08]), Err(WireError::Ends));
        assert_eq!(one(&[0x12, 0x05, b'a']), Err(WireError::Ends));
        assert_eq!(one(&[0x0D, 1, 2, 3]), Err(WireError::Ends));
        assert_eq!(one(&[0x00, 0x01]), Err(WireError::FieldNumber));
        assert_eq!(one(&[0x0B]), Err(WireError::Shape));
        assert_eq!(one(&[0xFF; 12]), Err(WireError::Number));
        let mut fields = Fields::of(&[0x08]);
        assert!(fields.next().is_some_and(|field| field.is_err()) && fields.next().is_none());
    }

    fn raw() -> impl Strategy<Value = (u32, u8, u64, Vec<u8>)> {
        let bytes = prop::collection::vec(any::<u8>(), 0..200);
        (1..1u32 << 29, 0..4u8, any::<u64>(), bytes)
    }

    proptest! {
        #[test]
        fn what_was_written_is_read(fields in prop::collection::vec(raw(), 0..10)) {
            let fields: Vec<(u32, Raw)> = fields.iter().map(|(number, shape, value, bytes)| {
                (*number, match shape {
                    0 => Raw::Varint(*value),
                    1 => Raw::Eight(value.to_le_bytes()),
                    2 => Raw::Four((*value as u32).to_le_bytes()),
                    _ => Raw::Bytes(bytes),
                })
            }).collect();
            let mut writer = Writer::default();
            for &(number, raw) in &fields {
                writer.put(number, raw);
            }
            let bytes = writer.finish();
            let read: Result<Vec<_>, _> = Fields::of(&bytes).collect();
            prop_assert_eq!(read, Ok(fields));
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..100)) {
            prop_assert!(Fields::of(&bytes).count() <= bytes.len());
        }
    }
}
