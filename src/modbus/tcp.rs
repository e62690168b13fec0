//! Frames of Modbus TCP: a header in front of the words.
//!
//! After Modbus messaging on TCP/IP implementation guide V1.0b, section 3.1.3.

/// Bytes of the header: transaction, protocol, length, unit.
pub const HEADER: usize = 7;

/// The most that the length may say: the unit and 253 bytes of words.
const LONGEST_REST: u16 = 254;

/// The least that it may say: the unit, a function and one more byte.
const SHORTEST_REST: u16 = 3;

/// A frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<'a> {
    /// The number that the request bore.
    pub transaction: u16,
    /// The unit: the slave behind a gateway, or any number for a device of its
    /// own.
    pub unit: u8,
    /// The words.
    pub words: &'a [u8],
}

/// Why a stream holds no frame where one must begin. Where the next one begins
/// cannot be known, so that the connection has to be made anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum StreamError {
    /// Another protocol.
    #[error("the far end does not speak Modbus TCP: its protocol number is {0}, not 0")]
    Protocol(u16),
    /// An impossible length.
    #[error(
        "the far end does not speak Modbus TCP: a frame of {0} bytes, where 3 to 254 are possible"
    )]
    Length(u16),
}

/// The frame that carries these words to a unit; at most 253 bytes of words.
pub fn encode(transaction: u16, unit: u8, words: &[u8]) -> Vec<u8> {
    debug_assert!(words.len() < usize::from(LONGEST_REST));
    let mut frame = Vec::with_capacity(HEADER + words.len());
    frame.extend_from_slice(&transaction.to_be_bytes());
    frame.extend_from_slice(&[0, 0]);
    frame.extend_from_slice(&(words.len() as u16 + 1).to_be_bytes());
    frame.push(unit);
    frame.extend_from_slice(words);
    frame
}

/// The frame at the front of `stream` and what it takes there; `None` while it
/// is not all there.
///
/// # Errors
/// When no frame can begin so.
pub fn decode(stream: &[u8]) -> Result<Option<(Frame<'_>, usize)>, StreamError> {
    let Some((header, rest)) = stream.split_first_chunk::<HEADER>() else {
        return Ok(None);
    };
    let [t0, t1, p0, p1, l0, l1, unit] = *header;
    let protocol = u16::from_be_bytes([p0, p1]);
    if protocol != 0 {
        return Err(StreamError::Protocol(protocol));
    }
    let length = u16::from_be_bytes([l0, l1]);
    if !(SHORTEST_REST..=LONGEST_REST).contains(&length) {
        return Err(StreamError::Length(length));
    }
    let words_len = usize::from(length) - 1;
    let frame = rest.get(..words_len).map(|words| Frame {
        transaction: u16::from_be_bytes([t0, t1]),
        unit,
        words,
    });
    Ok(frame.map(|frame| (frame, HEADER + words_len)))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn a_frame_of_the_guide() {
        // V1.0b, section 4.4.2.1: a request to read one register at 4 from unit 0xFF.
        let frame = encode(0x1501, 0xFF, &[0x03, 0x00, 0x04, 0x00, 0x01]);
        let want = [
            0x15, 0x01, 0x00, 0x00, 0x00, 0x06, 0xFF, 0x03, 0x00, 0x04, 0x00, 0x01,
        ];
        assert_eq!(frame, want);
    }

    #[test]
    fn what_is_not_modbus_is_told() {
        let http = b"HTTP/1.1 400";
        assert_eq!(decode(http), Err(StreamError::Protocol(0x5450)));
        let long = [0, 1, 0, 0, 1, 0, 1];
        assert_eq!(decode(&long), Err(StreamError::Length(256)));
    }

    proptest! {
        #[test]
        fn frames_round_trip_in_a_stream(
            transaction: u16,
            unit: u8,
            words in prop::collection::vec(any::<u8>(), 2..=253),
            more in prop::collection::vec(any::<u8>(), 0..20),
        ) {
            let mut stream = encode(transaction, unit, &words);
            let len = stream.len();
            for end in 0..len {
                prop_assert_eq!(decode(&stream[..end]), Ok(None));
            }
            stream.extend(more);
            let frame = Frame { transaction, unit, words: &words };
            prop_assert_eq!(decode(&stream), Ok(Some((frame, len))));
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = decode(&bytes);
        }
    }
}
