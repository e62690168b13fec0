//! Frames of a serial line: slave, words, check; and their timing.
//!
//! After Modbus over serial line V1.02, section 2.5.1.

use std::time::Duration;

use super::crc::crc16;

/// The longest frame, bytes (V1.02, section 2.5.1).
pub const LONGEST: usize = 256;

/// Slave before and check behind the words of a frame, bytes.
pub const AROUND: usize = 3;

/// The shortest frame: slave, function, one more byte at least, check. An
/// exception has one byte, and no answer has less.
const SHORTEST: usize = AROUND + 2;

/// Why bytes are not a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// Too short or too long.
    #[error("{0} bytes are no frame; it has 5 to 256")]
    Length(usize),
    /// The check says that it was damaged.
    #[error(
        "the frame was damaged on the way: its check is {found:04X}, its bytes give {computed:04X}"
    )]
    Check {
        /// The check that came with it.
        found: u16,
        /// The check of its bytes.
        computed: u16,
    },
}

/// The frame that carries these words to a slave.
pub fn encode(slave: u8, words: &[u8]) -> Vec<u8> {
    let mut frame = Vec::with_capacity(words.len() + AROUND);
    frame.push(slave);
    frame.extend_from_slice(words);
    let check = crc16(&frame);
    frame.extend_from_slice(&check.to_le_bytes());
    frame
}

/// Slave and words of a whole frame.
///
/// # Errors
/// When its length or its check is wrong.
pub fn decode(frame: &[u8]) -> Result<(u8, &[u8]), FrameError> {
    if !(SHORTEST..=LONGEST).contains(&frame.len()) {
        return Err(FrameError::Length(frame.len()));
    }
    let Some((covered, check)) = frame.split_last_chunk::<2>() else {
        return Err(FrameError::Length(frame.len()));
    };
    let (found, computed) = (u16::from_le_bytes(*check), crc16(covered));
    if found != computed {
        return Err(FrameError::Check { found, computed });
    }
    Ok((covered[0], &covered[1..]))
}

/// Bits of a character: start, eight data bits, parity or a second stop bit,
/// stop (V1.02, section 2.5.1).
const BITS_A_CHARACTER: f64 = 11.0;

/// The rate above which the silence does not get shorter, bit/s (V1.02, section
/// 2.5.1.1).
const FAST: u32 = 19_200;

/// The silence above [`FAST`] (V1.02, section 2.5.1.1).
const SILENCE_WHEN_FAST: Duration = Duration::from_micros(1750);

/// The silence between frames, characters (V1.02, section 2.5.1.1).
const SILENT_CHARACTERS: f64 = 3.5;

/// How long things take on a line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    character: Duration,
    silence: Duration,
}

impl Timing {
    /// Of a line with this rate, bit/s, at least 1.
    pub fn of(baud: u32) -> Self {
        let character = BITS_A_CHARACTER / f64::from(baud.max(1));
        let silence = if baud > FAST {
            SILENCE_WHEN_FAST
        } else {
            Duration::from_secs_f64(SILENT_CHARACTERS * character)
        };
        Timing {
            character: Duration::from_secs_f64(character),
            silence,
        }
    }

    /// The silence that parts frames: 3.5 characters, 1.75 ms above 19200 bit/s.
    pub const fn silence(self) -> Duration {
        self.silence
    }

    /// How long so many bytes are on the wire.
    pub fn on_wire(self, bytes: usize) -> Duration {
        self.character * bytes as u32
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn silence_after_the_standard() {
        // 3.5 characters of 11 bits at 9600 bit/s are 4.01 ms; above 19200 it
        // is 1.75 ms for all.
        assert_eq!(Timing::of(9600).silence().as_micros(), 4010);
        assert_eq!(Timing::of(19_200).silence().as_micros(), 2005);
        assert_eq!(Timing::of(38_400).silence().as_micros(), 1750);
        assert_eq!(Timing::of(115_200).silence().as_micros(), 1750);
        assert_eq!(Timing::of(9600).on_wire(256).as_millis(), 293);
    }

    #[test]
    fn a_frame_of_the_standard() {
        let frame = encode(0x11, &[0x03, 0x00, 0x6B, 0x00, 0x03]);
        assert_eq!(frame, [0x11, 0x03, 0x00, 0x6B, 0x00, 0x03, 0x76, 0x87]);
        assert_eq!(decode(&frame), Ok((0x11, &frame[1..6])));
    }

    proptest! {
        #[test]
        fn frames_round_trip_and_damage_is_seen(
            slave: u8,
            words in prop::collection::vec(any::<u8>(), 2..=253),
            at: prop::sample::Index,
            bit in 0..8_u8,
        ) {
            let mut frame = encode(slave, &words);
            prop_assert_eq!(decode(&frame), Ok((slave, &words[..])));
            let at = at.index(frame.len());
            frame[at] ^= 1 << bit;
            let seen = matches!(decode(&frame), Err(FrameError::Check { .. }));
            prop_assert!(seen);
        }

        #[test]
        fn no_bytes_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let _ = decode(&bytes);
        }
    }
}
