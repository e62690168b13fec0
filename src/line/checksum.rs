//! Checks at the end of a line.

use crate::modbus::crc16;

/// How a check is computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckKind {
    /// All bytes combined by exclusive or; two hexadecimal digits.
    Xor,
    /// The sum of all bytes modulo 256; two hexadecimal digits.
    Sum,
    /// CRC-16 as Modbus computes it; four hexadecimal digits, the high byte
    /// first.
    Crc16,
}

impl CheckKind {
    /// Every kind with its name in settings.
    pub const NAMES: [(&'static str, CheckKind); 3] = [
        ("xor", CheckKind::Xor),
        ("sum", CheckKind::Sum),
        ("crc16", CheckKind::Crc16),
    ];

    /// The check of these bytes.
    pub fn of(self, bytes: &[u8]) -> u16 {
        let each = bytes.iter();
        match self {
            CheckKind::Xor => u16::from(each.fold(0, |check, byte| check ^ byte)),
            CheckKind::Sum => u16::from(each.fold(0_u8, |check, byte| check.wrapping_add(*byte))),
            CheckKind::Crc16 => crc16(bytes),
        }
    }

    /// Its hexadecimal digits in a line.
    pub const fn digits(self) -> usize {
        match self {
            CheckKind::Xor | CheckKind::Sum => 2,
            CheckKind::Crc16 => 4,
        }
    }
}

/// Where a line carries its check, and which.
///
/// The check covers what stands between `start` and `mark`, both left out. The
/// digits stand right behind the mark, in upper or lower case, and end the line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Checksum {
    /// How it is computed.
    pub kind: CheckKind,
    /// The character before what is covered, such as `$`; the first one in the
    /// line counts. Without, all from the line's beginning is covered.
    pub start: Option<u8>,
    /// The character before the digits, such as `*`; the last one in the line
    /// counts.
    pub mark: u8,
}

/// Why a line's check does not hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ChecksumError {
    /// The start is not there.
    #[error("the line has no '{}' where what its check covers begins", char::from(*.0))]
    NoStart(u8),
    /// The mark is not there.
    #[error("the line has no '{}' with a check behind it", char::from(*.0))]
    NoMark(u8),
    /// Something else than the digits stands behind the mark.
    #[error("the line does not end in {0} hexadecimal digits behind the check's mark")]
    NoDigits(usize),
    /// Another check comes out.
    #[error(
        "the line was damaged on the way: its check says {found:02X}, its text gives {computed:02X}"
    )]
    Differs {
        /// The check in the line.
        found: u16,
        /// The check of its text.
        computed: u16,
    },
}

impl Checksum {
    /// What the check of a line covers, where the check holds.
    ///
    /// # Errors
    /// When it does not, or there is none.
    pub fn verified<'a>(&self, line: &'a [u8]) -> Result<&'a [u8], ChecksumError> {
        let covered = match self.start {
            None => line,
            Some(start) => {
                let at = line.iter().position(|byte| *byte == start);
                &line[at.ok_or(ChecksumError::NoStart(start))? + 1..]
            }
        };
        let at = covered.iter().rposition(|byte| *byte == self.mark);
        let at = at.ok_or(ChecksumError::NoMark(self.mark))?;
        let (covered, behind) = (&covered[..at], covered[at + 1..].trim_ascii_end());
        let found = self.digits(behind)?;
        let computed = self.kind.of(covered);
        if found == computed {
            Ok(covered)
        } else {
            Err(ChecksumError::Differs { found, computed })
        }
    }

    fn digits(&self, behind: &[u8]) -> Result<u16, ChecksumError> {
        let wanted = self.kind.digits();
        let hex = behind.len() == wanted && behind.iter().all(u8::is_ascii_hexdigit);
        let text = std::str::from_utf8(behind).ok().filter(|_| hex);
        text.and_then(|text| u16::from_str_radix(text, 16).ok())
            .ok_or(ChecksumError::NoDigits(wanted))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const STAR: Checksum = Checksum {
        kind: CheckKind::Xor,
        start: None,
        mark: b'*',
    };

    #[test]
    fn checks_by_hand() {
        // 0x41 ^ 0x42 = 0x03, 0x41 + 0x42 = 0x83.
        assert_eq!(STAR.verified(b"AB*03"), Ok(&b"AB"[..]));
        let sum = Checksum {
            kind: CheckKind::Sum,
            ..STAR
        };
        assert_eq!(sum.verified(b"AB*83 "), Ok(&b"AB"[..]));
        // The standard check string; see tests/reference/modbus_crc.csv.
        let crc = Checksum {
            kind: CheckKind::Crc16,
            ..STAR
        };
        assert_eq!(crc.verified(b"123456789*4b37"), Ok(&b"123456789"[..]));
    }

    #[test]
    fn what_is_covered_may_have_a_start() {
        let dollar = Checksum {
            start: Some(b'$'),
            ..STAR
        };
        assert_eq!(dollar.verified(b"x$AB*03"), Ok(&b"AB"[..]));
        assert_eq!(dollar.verified(b"AB*03"), Err(ChecksumError::NoStart(b'$')));
    }

    #[test]
    fn a_check_that_does_not_hold_is_told() {
        let differs = ChecksumError::Differs {
            found: 4,
            computed: 3,
        };
        assert_eq!(STAR.verified(b"AB*04"), Err(differs));
        assert!(
            differs
                .to_string()
                .ends_with("its check says 04, its text gives 03")
        );
        assert_eq!(STAR.verified(b"AB"), Err(ChecksumError::NoMark(b'*')));
        for short in [&b"AB*3"[..], b"AB*", b"AB*003", b"AB*0G", b"AB*+3"] {
            assert_eq!(STAR.verified(short), Err(ChecksumError::NoDigits(2)));
        }
    }

    proptest! {
        #[test]
        fn damage_of_one_bit_is_seen(
            text in "[ -~]{1,60}", kind in 0..3_usize, at: prop::sample::Index, bit in 0..8_u8,
        ) {
            let (_, kind) = CheckKind::NAMES[kind];
            let checksum = Checksum { kind, ..STAR };
            let digits = kind.digits();
            let mut line = format!("{text}*{:0digits$X}", kind.of(text.as_bytes())).into_bytes();
            prop_assert_eq!(checksum.verified(&line), Ok(text.as_bytes()));
            let at = at.index(text.len());
            line[at] ^= 1 << bit;
            prop_assert!(checksum.verified(&line).is_err());
        }

        #[test]
        fn no_bytes_panic(line in prop::collection::vec(any::<u8>(), 0..60)) {
            let _ = STAR.verified(&line);
            let _ = Checksum { start: Some(b'$'), ..STAR }.verified(&line);
        }
    }
}
