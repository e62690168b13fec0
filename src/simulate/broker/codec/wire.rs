//! The data types of MQTT 5 (section 1.5): whole numbers, variable numbers,
//! text, binary data.

use super::DecodeError;

/// Largest value of a variable byte integer (MQTT 5, section 1.5.5).
pub(crate) const VAR_MAX: usize = 268_435_455;

/// Takes values from the front of a packet's body.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reader<'a> {
    rest: &'a [u8],
}

impl<'a> Reader<'a> {
    pub(super) fn new(body: &'a [u8]) -> Self {
        Reader { rest: body }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }

    /// All that has not been taken yet.
    pub(super) fn rest(&self) -> &'a [u8] {
        self.rest
    }

    pub(super) fn take(&mut self, len: usize) -> Result<&'a [u8], DecodeError> {
        let (taken, rest) = self
            .rest
            .split_at_checked(len)
            .ok_or(DecodeError::Malformed("the packet ends within a field"))?;
        self.rest = rest;
        Ok(taken)
    }

    pub(super) fn byte(&mut self) -> Result<u8, DecodeError> {
        Ok(self.take(1)?[0])
    }

    pub(super) fn two(&mut self) -> Result<u16, DecodeError> {
        let bytes = self.take(2)?;
        Ok(u16::from_be_bytes([bytes[0], bytes[1]]))
    }

    pub(super) fn four(&mut self) -> Result<u32, DecodeError> {
        let bytes = self.take(4)?;
        Ok(u32::from_be_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]))
    }

    pub(super) fn var(&mut self) -> Result<usize, DecodeError> {
        match var(self.rest)? {
            Some((value, len)) => {
                self.take(len)?;
                Ok(value)
            }
            None => Err(DecodeError::Malformed("the packet ends within a length")),
        }
    }

    pub(super) fn binary(&mut self) -> Result<&'a [u8], DecodeError> {
        let len = self.two()?;
        self.take(usize::from(len))
    }

    pub(super) fn text(&mut self) -> Result<&'a str, DecodeError> {
        let text = std::str::from_utf8(self.binary()?)
            .map_err(|_| DecodeError::Malformed("text that is not UTF-8"))?;
        if text.contains('\0') {
            return Err(DecodeError::Malformed("text with a NUL in it"));
        }
        Ok(text)
    }

    /// A packet identifier, which is never 0 (section 2.2.1).
    pub(super) fn packet_id(&mut self) -> Result<u16, DecodeError> {
        match self.two()? {
            0 => Err(DecodeError::Protocol("packet identifier 0")),
            id => Ok(id),
        }
    }
}

/// A variable byte integer at the front of `bytes` and how many bytes it
/// took; `None` while it is not all there.
pub(super) fn var(bytes: &[u8]) -> Result<Option<(usize, usize)>, DecodeError> {
    let mut value = 0;
    for (place, byte) in bytes.iter().take(4).enumerate() {
        value |= usize::from(byte & 0x7F) << (7 * place);
        if byte & 0x80 == 0 {
            return Ok(Some((value, place + 1)));
        }
    }
    if bytes.len() >= 4 {
        return Err(DecodeError::Malformed("a length of more than four bytes"));
    }
    Ok(None)
}

/// How many bytes a variable byte integer takes.
pub(super) fn var_len(value: usize) -> usize {
    match value {
        0..=127 => 1,
        128..=16_383 => 2,
        16_384..=2_097_151 => 3,
        _ => 4,
    }
}

pub(super) fn put_var(to: &mut Vec<u8>, mut value: usize) {
    debug_assert!(value <= VAR_MAX);
    loop {
        let low = (value & 0x7F) as u8;
        value >>= 7;
        if value == 0 {
            to.push(low);
            return;
        }
        to.push(low | 0x80);
    }
}

/// Writes text that came out of a packet or is shorter than 65,536 bytes.
pub(super) fn put_text(to: &mut Vec<u8>, text: &str) {
    let len = u16::try_from(text.len()).expect("text on the wire is at most 65,535 bytes");
    to.extend_from_slice(&len.to_be_bytes());
    to.extend_from_slice(text.as_bytes());
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn variable_numbers_of_the_standard() {
        // MQTT 5, table 1-1: the borders of each length.
        let table: [(usize, &[u8]); 8] = [
            (0, &[0x00]),
            (127, &[0x7F]),
            (128, &[0x80, 0x01]),
            (16_383, &[0xFF, 0x7F]),
            (16_384, &[0x80, 0x80, 0x01]),
            (2_097_151, &[0xFF, 0xFF, 0x7F]),
            (2_097_152, &[0x80, 0x80, 0x80, 0x01]),
            (VAR_MAX, &[0xFF, 0xFF, 0xFF, 0x7F]),
        ];
        for (value, bytes) in table {
            let mut written = Vec::new();
            put_var(&mut written, value);
            assert_eq!(written, bytes);
            assert_eq!(var(bytes).unwrap(), Some((value, bytes.len())));
            assert_eq!(var_len(value), bytes.len());
        }
        assert!(var(&[0x80, 0x80, 0x80, 0x80]).is_err());
        assert_eq!(var(&[0x80, 0x80]).unwrap(), None);
    }

    proptest! {
        #[test]
        fn variable_numbers_round_trip(value in 0..=VAR_MAX) {
            let mut written = Vec::new();
            put_var(&mut written, value);
            prop_assert_eq!(var(&written).unwrap(), Some((value, written.len())));
            prop_assert_eq!(var_len(value), written.len());
        }
    }
}
